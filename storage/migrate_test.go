package storage

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/storage/chunk"
	"lobescribe/storage/tracefile"
)

const oldStores = "../testdata/storage"

// Stores of every schema there ever was stand in testdata, each with the trace
// that is in it as JSON lines; every one must open, verify and give it back.
func TestStoresOfEarlierSchemas(t *testing.T) {
	for n := 1; n <= schema; n++ {
		name := filepath.Join(oldStores, "schema"+string(rune('0'+n)))
		image, err := os.ReadFile(name + ".lobes")
		require.NoError(t, err, "a store of each schema is kept; LOBESCRIBE_WRITE_TESTDATA=1 writes the present one")
		want, err := tracefile.ReadFile(name + ".jsonl")
		require.NoError(t, err)
		path := filepath.Join(t.TempDir(), "s")
		require.NoError(t, os.WriteFile(path, image, 0o600))
		s, err := Open(path, Options{})
		require.NoError(t, err)
		rep, err := s.Verify(t.Context())
		require.NoError(t, err)
		assert.True(t, rep.Whole(), rep.String())
		list, err := s.Traces(Query{Engine: "v8"})
		require.NoError(t, err)
		require.Len(t, list, 2)
		assert.True(t, list[0].CutShort, "it was in the making when the store was kept")
		for _, l := range list {
			h, got, err := s.Load(l.ID)
			require.NoError(t, err)
			assert.Equal(t, want, got)
			assert.Equal(t, "3I", h.Valve)
			assert.True(t, h.Started.Equal(time.Date(2026, 3, 1, 9, 30, 0, 0, time.UTC)))
		}
		e, err := s.Engine("v8")
		require.NoError(t, err)
		assert.Equal(t, 8, e.Cylinders)
		if n >= 2 {
			assert.Equal(t, &TopDeadCentre{Angle: 12_340_000, U: 50_000, Method: TDCByStop, On: "2026-03-01"}, e.TDC)
		}
		f, err := s.Findings(list[1].ID)
		require.NoError(t, err)
		assert.EqualValues(t, 10_668_000, f.MaxLift)
		require.NoError(t, s.Close())
	}
}

// The kept stores of schemas 1 and 2 were written before a sweep gauge was read. They
// open, have no sweep in them, print none, and take a trace with one beside those they
// had.
func TestStoresFromBeforeTheSweep(t *testing.T) {
	for _, name := range []string{"schema1", "schema2"} {
		image, err := os.ReadFile(filepath.Join(oldStores, name+".lobes"))
		require.NoError(t, err)
		require.NotContains(t, string(image), chunk.Magic+"\x02", "a chunk of the version with a sweep: this is no store from before it")
		require.Contains(t, string(image), chunk.Magic+"\x01")
		path := filepath.Join(t.TempDir(), "s")
		require.NoError(t, os.WriteFile(path, image, 0o600))
		s, err := Open(path, Options{})
		require.NoError(t, err)
		list, err := s.Traces(Query{Engine: "v8"})
		require.NoError(t, err)
		require.Len(t, list, 2)
		_, old, err := s.Load(list[1].ID)
		require.NoError(t, err)
		swept := turned(300, 100, 4)
		for i := range swept {
			swept[i].Sweep, swept[i].Has = measure.Length(i)*1000-5000, measure.HasAll
		}
		id := record(t, s, Head{Engine: "v8", Valve: "3I", Against: AgainstSide}, swept, 100)
		require.NoError(t, s.Close())

		s, err = Open(path, Options{})
		require.NoError(t, err)
		rep, err := s.Verify(t.Context())
		require.NoError(t, err)
		assert.True(t, rep.Whole(), rep.String())
		head, got, err := s.Load(id)
		require.NoError(t, err)
		assert.Equal(t, AgainstSide, head.Against)
		assert.Equal(t, swept, got.Readings)
		_, again, err := s.Load(list[1].ID)
		require.NoError(t, err)
		assert.Equal(t, old, again)
		for _, r := range again.Readings {
			require.Zero(t, r.Has&measure.HasSweep)
			require.Zero(t, r.Sweep)
		}
		for _, c := range []struct {
			trace  measure.Trace
			column bool
		}{{again, false}, {got, true}} {
			var text bytes.Buffer
			require.NoError(t, tracefile.Write(&text, c.trace, tracefile.CSV))
			assert.Equal(t, c.column, bytes.Contains(text.Bytes(), []byte("sweep_mm")), name)
		}
		require.NoError(t, s.Close())
	}
}

// TestWriteTestdata writes the store of the present schema when it is asked to,
// and otherwise proves that what it would write is one.
func TestWriteTestdata(t *testing.T) {
	s := newStore(t, Options{})
	tr := measure.Trace{Readings: turned(700, 100, 1), Resolution: 12_700, AngleStep: 150_000,
		Notes: []measure.Note{{At: 5, Kind: measure.NoteMark, Says: "here"}}}
	h := Head{Started: time.Date(2026, 3, 1, 9, 30, 0, 0, time.UTC), Engine: "v8", Valve: "3I", Resolution: 12_700, AngleStep: 150_000, Source: "live"}
	for _, end := range []bool{true, false} {
		w, err := s.Begin(h)
		require.NoError(t, err)
		require.NoError(t, w.Append(tr.Readings[:300], tr.Notes))
		require.NoError(t, w.Append(tr.Readings[300:], nil))
		if end {
			require.NoError(t, w.End())
			require.NoError(t, s.PutFindings(w.ID(), lift.Findings{Openings: []lift.Opening{{MaxLift: 10_668_000}}, MaxLift: 10_668_000}))
		}
	}
	_, err := s.PutEngine(Engine{ID: "v8", Cylinders: 8, ValvesPerCylinder: 2,
		TDC: &TopDeadCentre{Angle: 12_340_000, U: 50_000, Method: TDCByStop, On: "2026-03-01"}})
	require.NoError(t, err)
	var image, text bytes.Buffer
	_, err = s.Backup(t.Context(), &image)
	require.NoError(t, err)
	require.NoError(t, tracefile.Write(&text, tr, tracefile.JSONLines))
	assert.Less(t, image.Len(), 100_000, "small enough to keep")
	if os.Getenv("LOBESCRIBE_WRITE_TESTDATA") == "" {
		return
	}
	name := filepath.Join(oldStores, "schema"+string(rune('0'+schema)))
	require.NoError(t, os.MkdirAll(oldStores, 0o755))
	require.NoError(t, os.WriteFile(name+".lobes", image.Bytes(), 0o644))
	require.NoError(t, os.WriteFile(name+".jsonl", text.Bytes(), 0o644))
}

// The machinery, through migrations that are made up.
func TestUpgrade(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	s, err := Open(path, Options{})
	require.NoError(t, err)
	rs := turned(500, 100, 1)
	id := record(t, s, Head{Engine: "e"}, rs, 100)
	require.NoError(t, s.Close())

	var steps []string
	step := func(from int, err error) migration {
		return migration{from: from, does: "made up", run: func(tx *bbolt.Tx) error {
			steps = append(steps, fmt.Sprint(from-schema))
			require.NoError(t, tx.Bucket([]byte(bucketAbout)).Put([]byte{byte(from)}, []byte("was here")))
			return err
		}}
	}
	broken := errors.New("a bug")
	_, err = Open(path, Options{migrations: []migration{step(schema, nil), step(schema+1, broken)}})
	require.ErrorIs(t, err, broken)
	assert.Contains(t, err.Error(), "nothing was changed")
	s, err = Open(path, Options{ReadOnly: true})
	require.NoError(t, err, "it is as it was")
	require.NoError(t, s.view(func(r rows) error {
		assert.Nil(t, r.get(bucketAbout, []byte{schema}), "the first step was taken back too")
		return nil
	}))
	require.NoError(t, s.Close())

	_, err = Open(path, Options{ReadOnly: true, migrations: []migration{step(schema, nil)}})
	require.ErrorContains(t, err, fmt.Sprintf("has to be upgraded to %d before it can be read", schema+1))

	steps = nil
	s, err = Open(path, Options{migrations: []migration{step(schema, nil), step(schema+1, nil)}})
	require.NoError(t, err)
	assert.Equal(t, []string{"0", "1"}, steps)
	_, got, err := s.Load(id)
	require.NoError(t, err)
	assert.Equal(t, rs, got.Readings)
	require.NoError(t, s.Close())

	_, err = Open(path, Options{})
	require.ErrorIs(t, err, ErrNewer)
	assert.Contains(t, err.Error(), fmt.Sprintf("its schema is %d, this program knows up to %d; install the newer lobescribe", schema+2, schema))

	backups, err := filepath.Glob(fmt.Sprintf("%s.schema%d.backup*", path, schema))
	require.NoError(t, err)
	require.Len(t, backups, 2, "one of the upgrade that failed, one of that which did not")
	for _, b := range backups {
		old, err := Open(b, Options{})
		require.NoError(t, err)
		_, got, err := old.Load(id)
		require.NoError(t, err)
		assert.Equal(t, rs, got.Readings)
		require.NoError(t, old.Close())
	}
}

func TestBackupFile(t *testing.T) {
	s := newStore(t, Options{})
	rs := turned(500, 100, 1)
	id := record(t, s, Head{}, rs, 100)
	to := filepath.Join(t.TempDir(), "copy")
	n, err := s.BackupFile(t.Context(), to, false)
	require.NoError(t, err)
	info, err := os.Stat(to)
	require.NoError(t, err)
	assert.Equal(t, n, info.Size())
	_, err = s.BackupFile(t.Context(), to, false)
	require.ErrorIs(t, err, ErrExists)
	_, err = s.BackupFile(t.Context(), to, true)
	require.NoError(t, err)
	_, err = s.BackupFile(t.Context(), s.Path(), true)
	require.ErrorContains(t, err, "is the store itself")
	left, err := filepath.Glob(to + ".part-*")
	require.NoError(t, err)
	assert.Empty(t, left)
	copied, err := Open(to, Options{ReadOnly: true})
	require.NoError(t, err)
	defer copied.Close()
	_, got, err := copied.Load(id)
	require.NoError(t, err)
	assert.Equal(t, rs, got.Readings)
	boltCheck(t, to)
}
