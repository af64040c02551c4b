package storage

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
	"lobescribe/storage/chunk"
	"lobescribe/storage/tracefile"
)

// BenchmarkAppend1000 is one acknowledged batch, two flushes of the disk
// included; "unflushed" shows what of it is ours.
func BenchmarkAppend1000(b *testing.B) {
	for _, unflushed := range []bool{false, true} {
		b.Run(map[bool]string{false: "flushed", true: "unflushed"}[unflushed], func(b *testing.B) {
			s := newStore(b, Options{flushLate: unflushed})
			w, err := s.Begin(Head{})
			require.NoError(b, err)
			rs := turned(1000, 1000, 1)
			span := rs[len(rs)-1].At + 1000
			for b.Loop() {
				if err := w.Append(rs, nil); err != nil {
					b.Fatal(err)
				}
				for i := range rs {
					rs[i].At += span
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N*len(rs)), "µs/reading")
		})
	}
}

func BenchmarkLoadMillion(b *testing.B) {
	s := newStore(b, Options{flushLate: true})
	id := record(b, s, Head{}, turned(1_000_000, 1000, 1), 50_000)
	b.Run("whole", func(b *testing.B) {
		for b.Loop() {
			if _, t, err := s.Load(id); err != nil || len(t.Readings) != 1_000_000 {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e6, "ns/reading")
	})
	b.Run("one second of it", func(b *testing.B) {
		for b.Loop() {
			if _, _, err := s.LoadSpan(id, 500e6, 501e6); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkListNewest50(b *testing.B) {
	for _, n := range []int{100, 10_000} {
		s := newStore(b, Options{flushLate: true})
		rs := turned(10, 10, 1)
		for i := range n {
			record(b, s, Head{Engine: fmt.Sprint("e", i%3), Valve: "1I"}, rs, 10)
		}
		for name, q := range map[string]Query{"all": {Limit: 50}, "of an engine": {Engine: "e1", Limit: 50}} {
			b.Run(fmt.Sprintf("%s of %d", name, n), func(b *testing.B) {
				for b.Loop() {
					if _, err := s.Traces(q); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}

func BenchmarkOpen(b *testing.B) {
	path := filepath.Join(b.TempDir(), "s")
	s, err := Open(path, Options{flushLate: true})
	require.NoError(b, err)
	for range 20 {
		record(b, s, Head{}, turned(200_000, 1000, 1), 50_000)
	}
	require.NoError(b, s.Close())
	info, err := os.Stat(path)
	require.NoError(b, err)
	for b.Loop() {
		s, err := Open(path, Options{})
		if err != nil {
			b.Fatal(err)
		}
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(info.Size())/1e6, "MB")
}

// BenchmarkAppendDuringBackup shows the time of an Append, median and the
// longest of a hundred, alone and while backups run one after the other.
func BenchmarkAppendDuringBackup(b *testing.B) {
	s := newStore(b, Options{})
	for range 10 {
		record(b, s, Head{}, turned(1_000_000, 1000, 1), 50_000)
	}
	w, err := s.Begin(Head{})
	require.NoError(b, err)
	rs := turned(500, 1000, 1)
	span := rs[len(rs)-1].At + 1000
	for _, backups := range []bool{false, true} {
		b.Run(map[bool]string{false: "alone", true: "during backups"}[backups], func(b *testing.B) {
			stop, done := make(chan struct{}), make(chan int)
			go func() {
				n := 0
				for backups {
					select {
					case <-stop:
						done <- n
						return
					default:
					}
					_, err := s.Backup(b.Context(), io.Discard)
					if err != nil {
						b.Error(err)
					}
					n++
				}
				<-stop
				done <- n
			}()
			var took []time.Duration
			for b.Loop() {
				began := time.Now()
				if err := w.Append(rs, nil); err != nil {
					b.Fatal(err)
				}
				took = append(took, time.Since(began))
				for i := range rs {
					rs[i].At += span
				}
			}
			close(stop)
			n := <-done
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)/2].Microseconds()), "p50-µs")
			b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "p99-µs")
			b.ReportMetric(float64(n), "backups")
		})
	}
}

// BenchmarkBytes is about bytes, not time: what a reading takes on disk, pages
// and all, against the same trace as CSV. Batches are half a second.
func BenchmarkBytes(b *testing.B) {
	for _, c := range []struct {
		name    string
		rate    float64
		seconds int
		angle   bool
	}{
		{"10 a second, lift", 10, 600, false},
		{"100 a second, lift", 100, 600, false},
		{"100 a second, lift and angle", 100, 600, true},
		{"1000 a second, lift and angle", 1000, 600, true},
		{"100 a second, lift and angle, a minute", 100, 60, true},
	} {
		b.Run(c.name, func(b *testing.B) {
			rs := turned(int(c.rate)*c.seconds, c.rate, 1)
			if !c.angle {
				for i := range rs {
					rs[i].Angle, rs[i].Has = 0, measure.HasLift
				}
			}
			var csv bytes.Buffer
			require.NoError(b, tracefile.Write(&csv, measure.Trace{Readings: rs}, tracefile.CSV))
			const traces = 30 // what the file itself takes is shared
			var inUse int64
			for b.Loop() {
				s := newStore(b, Options{flushLate: true})
				for range traces {
					record(b, s, Head{Engine: "v8", Valve: "1I"}, rs, max(int(c.rate/2), 1))
				}
				require.NoError(b, s.db.View(func(tx *bbolt.Tx) error {
					inUse = tx.Size() - int64(s.freePages(b))*pageBytes
					return nil
				}))
			}
			var alone []byte
			var enc chunk.Encoder
			for rest := rs; len(rest) > 0; rest = rest[min(len(rest), mergeReadings):] {
				alone = enc.Append(alone, 1, 0, rest[:min(len(rest), mergeReadings)])
			}
			b.ReportMetric(float64(len(alone))/float64(len(rs)), "bytes/reading-in-chunks")
			perReading := float64(inUse) / traces / float64(len(rs))
			b.ReportMetric(perReading, "bytes/reading")
			b.ReportMetric(float64(csv.Len())/float64(len(rs)), "csv-bytes/reading")
			b.ReportMetric(float64(csv.Len())/float64(len(rs))/perReading, "times-smaller")
		})
	}
}

func (s *Store) freePages(b testing.TB) int {
	rep, err := s.Verify(b.Context())
	require.NoError(b, err)
	require.True(b, rep.Whole(), rep.String())
	return rep.FreePages
}
