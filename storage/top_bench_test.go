package storage

import (
	"testing"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/storage/pages"
)

// BenchmarkWhatIsCheckedFirst is what each transaction looks at before it is let into
// the database, beside transactions with it, and the same without it: the difference
// is what it costs.
func BenchmarkWhatIsCheckedFirst(b *testing.B) {
	s := newStore(b, Options{flushLate: true})
	_, err := s.PutEngine(Engine{ID: "v8", Name: "V8", Cylinders: 8, Layout: Inline, ValvesPerCylinder: 2})
	require.NoError(b, err)
	var id ID
	for range 1000 {
		id = record(b, s, Head{Engine: "v8", Valve: "1I"}, turned(200, 100, 1), 100)
	}
	w, err := s.Begin(Head{})
	require.NoError(b, err)
	at, last := turned(50, 100, 1), turned(50, 100, 1)
	b.Run("heads", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if err := headsRead(s.file, s.pageSize); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("free pages, of who writes", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if err := pages.FreeInside(s.file, s.pageSize); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("above the buckets", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if err := s.topReads(); err != nil {
				b.Fatal(err)
			}
		}
	})
	summary := func(r rows) error {
		if r.get(bucketSummaries, traceKey(id)) == nil {
			b.Fatal("it is not there")
		}
		return nil
	}
	b.Run("one row read", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if err := s.view(summary); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("one row read, unchecked", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if err := guard(func() error { return s.db.View(func(tx *bbolt.Tx) error { return summary(boltRows{tx}) }) }); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("fifty lines of the list", func(b *testing.B) {
		for b.Loop() {
			if _, err := s.Traces(Query{Limit: 50}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("half a second appended, unflushed", func(b *testing.B) {
		for b.Loop() {
			if err := w.Append(at, nil); err != nil {
				b.Fatal(err)
			}
			for i := range at {
				at[i].At += last[len(last)-1].At + 1000
			}
		}
	})
}
