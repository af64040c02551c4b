package storage

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"syscall"
	"testing"
	"unsafe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
)

func newContext() context.Context { return context.Background() }

// onWrite puts fn between the database and its file. bbolt has a place for
// that, which only its own tests can reach; should a new version move it, this
// fails at once.
func onWrite(t testing.TB, db *bbolt.DB, fn func(write func([]byte, int64) (int, error), b []byte, at int64) (int, error)) {
	field := reflect.ValueOf(db).Elem().FieldByName("ops").FieldByName("writeAt")
	require.True(t, field.IsValid() && field.CanAddr(), "bbolt has changed: there is no ops.writeAt any more")
	place := (*func([]byte, int64) (int, error))(unsafe.Pointer(field.UnsafeAddr()))
	write := *place
	*place = func(b []byte, at int64) (int, error) { return fn(write, b, at) }
}

// A write as the disk was asked for it. Between two flushes a disk may carry
// out writes in any order, whole, in part, or not at all.
type write struct {
	at   int64
	data []byte
	size int64 // of the file by then; growing is flushed before it is used
	meta bool  // bbolt flushes before and after it writes a head page
}

// sector is what a disk writes in one piece.
const sector = 512

// epochs cuts the log where the database flushes: pages, then the head page.
func epochs(log []write) (out [][2]int) {
	start := 0
	for i, w := range log {
		if w.meta {
			if i > start {
				out = append(out, [2]int{start, i})
			}
			out = append(out, [2]int{i, i + 1})
			start = i + 1
		}
	}
	return out
}

func apply(image []byte, w write, keep func(part int) bool, piece int) []byte {
	if int64(len(image)) < w.size {
		image = append(image, make([]byte, w.size-int64(len(image)))...)
	}
	for part := 0; part*piece < len(w.data); part++ {
		if keep(part) {
			lo := part * piece
			copy(image[w.at+int64(lo):], w.data[lo:min(lo+piece, len(w.data))])
		}
	}
	return image
}

func all(int) bool { return true }

// The power goes at every moment between two flushes, with the writes since
// the last one done in part, torn within sectors' bounds, or missing. From each
// such state the store opens and verifies, and holds everything acknowledged.
func TestPowerFailure(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "s")
	var base []byte
	var log []write
	hook := func(db *bbolt.DB) {
		var err error
		base, err = os.ReadFile(path)
		require.NoError(t, err)
		db.NoSync = true // where it would flush is known from the order of writes
		onWrite(t, db, func(put func([]byte, int64) (int, error), b []byte, at int64) (int, error) {
			info, err := os.Stat(path)
			require.NoError(t, err)
			log = append(log, write{at, bytes.Clone(b), max(info.Size(), at+int64(len(b))), at < 2*pageBytes})
			return put(b, at)
		})
	}
	s, err := Open(path, Options{opened: hook})
	require.NoError(t, err)
	rs := turned(45_000, 1000, 1)
	earlier := turned(3000, 1000, 2)
	begun := len(log)
	first := record(t, s, Head{Engine: "e"}, earlier, 1000)
	firstDone := len(log)
	w, err := s.Begin(Head{Engine: "e"})
	require.NoError(t, err)
	acked := map[int]int{} // length of the log -> readings acknowledged
	for at := 0; at < len(rs); at += 1000 {
		require.NoError(t, w.Append(rs[at:at+1000], nil))
		acked[len(log)] = at + 1000
	}
	require.NoError(t, w.End())
	require.NoError(t, s.Close())

	rng := rand.New(rand.NewPCG(3, 3))
	variants := long(t, 2, 20)
	states := 0
	durable := bytes.Clone(base)
	kept := 0
	for _, e := range epochs(log) {
		for v := range variants {
			image := bytes.Clone(durable)
			for _, wr := range log[e[0]:e[1]] {
				piece := sector
				if wr.meta {
					piece = 8 // finer than any disk: the head page has its own checksum
				}
				chance := []float64{0.5, 0.95, 0, 1}[v%4]
				image = apply(image, wr, func(int) bool { return rng.Float64() < chance }, piece)
			}
			states++
			checkPowerState(t, image, e[0] > begun, e[0] >= firstDone, first, earlier, rs, kept)
		}
		for _, wr := range log[e[0]:e[1]] {
			durable = apply(durable, wr, all, sector)
		}
		if n, ok := acked[e[1]]; ok {
			kept = n
		}
	}
	require.Equal(t, len(rs), kept)
	checkPowerState(t, durable, true, true, first, earlier, rs, kept)
	now, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, now, durable, "the log misses no write")
	t.Logf("%d states opened", states)
}

func checkPowerState(t *testing.T, image []byte, begun, firstDone bool, first ID, earlier, rs []measure.Reading, kept int) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "s")
	require.NoError(t, os.WriteFile(path, image, 0o600))
	defer os.Remove(path)
	s, err := Open(path, Options{opened: func(db *bbolt.DB) { db.NoSync = true }})
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.True(t, rep.Whole(), rep.String())
	if firstDone {
		_, got, err := s.Load(first)
		require.NoError(t, err)
		require.Equal(t, earlier, got.Readings)
	}
	if kept > 0 {
		_, got, err := s.Load(first + 1)
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(got.Readings), kept)
		require.Equal(t, rs[:len(got.Readings)], got.Readings)
	}
}

// Writes fail in every way: nothing written, half of it, or all of it and an
// error all the same. Append says so, and once the disk is well again the
// same readings go in; nothing is lost, nothing is there twice.
func TestWritesThatFail(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "s")
	rng := rand.New(rand.NewPCG(5, 5))
	failing := 0.0
	var failed int
	hook := func(db *bbolt.DB) {
		db.NoSync = true
		onWrite(t, db, func(put func([]byte, int64) (int, error), b []byte, at int64) (int, error) {
			if rng.Float64() >= failing {
				return put(b, at)
			}
			failed++
			n := 0
			switch rng.IntN(3) {
			case 1:
				n, _ = put(b[:len(b)/2/sector*sector], at)
			case 2:
				n, _ = put(b, at)
			}
			return n, syscall.ENOSPC
		})
	}
	s, err := Open(path, Options{opened: hook})
	require.NoError(t, err)
	rs := turned(60_000, 1000, 6)
	w, err := s.Begin(Head{})
	require.NoError(t, err)
	refused, acked := 0, 0
	for at := 0; at < len(rs); {
		failing = 0.1
		n := min(1+rng.IntN(900), len(rs)-at)
		err := w.Append(rs[at:at+n], nil)
		failing = 0
		if err != nil {
			refused++
			require.ErrorIs(t, err, syscall.ENOSPC)
			require.ErrorContains(t, err, "make room on the disk")
			// What was acknowledged is there, whatever the disk did meanwhile.
			if refused%10 == 0 {
				_, got, err := s.Load(w.ID())
				require.NoError(t, err)
				require.GreaterOrEqual(t, len(got.Readings), acked)
				require.Equal(t, rs[:len(got.Readings)], got.Readings)
			}
			continue
		}
		at += n
		acked = at
	}
	require.NoError(t, w.End())
	assert.Positive(t, refused)
	_, got, err := s.Load(w.ID())
	require.NoError(t, err)
	require.Equal(t, rs, got.Readings)
	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.True(t, rep.Whole(), rep.String())
	require.NoError(t, s.Close())
	boltCheck(t, path)
	t.Logf("%d writes failed, %d batches were refused and went in later", failed, refused)
}

// The last flush of a Begin fails with everything written: the trace that
// nobody was told of does not stay.
func TestABeginThatFailedLeavesNothing(t *testing.T) {
	failing := false
	s := newStore(t, Options{opened: func(db *bbolt.DB) {
		db.NoSync = true
		onWrite(t, db, func(put func([]byte, int64) (int, error), b []byte, at int64) (int, error) {
			n, err := put(b, at)
			if failing && at < 2*pageBytes {
				return n, syscall.EIO
			}
			return n, err
		})
	}})
	failing = true
	_, err := s.Begin(Head{Engine: "e", Valve: "1I"})
	require.ErrorIs(t, err, syscall.EIO)
	require.ErrorContains(t, err, "the disk is failing")
	failing = false
	list, err := s.Traces(Query{})
	require.NoError(t, err)
	require.Len(t, list, 1, "the disk has it")
	assert.False(t, list[0].Recording)
	w, err := s.Begin(Head{Engine: "f"})
	require.NoError(t, err)
	list, err = s.Traces(Query{})
	require.NoError(t, err)
	require.Len(t, list, 1)
	assert.Equal(t, w.ID(), list[0].ID)
	assert.True(t, list[0].Recording)
	require.NoError(t, w.End())
	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	assert.True(t, rep.Whole(), rep.String())
}

func TestFaultsFromOutside(t *testing.T) {
	full := errors.New("no room")
	var fail Op
	s := newStore(t, Options{Fault: func(op Op) error {
		if op == fail {
			return fmt.Errorf("%s: %w", op, full)
		}
		return nil
	}})
	fail = OpBegin
	_, err := s.Begin(Head{})
	require.ErrorIs(t, err, full)
	fail = ""
	w, err := s.Begin(Head{})
	require.NoError(t, err)
	rs := turned(100, 10, 1)
	fail = OpAppend
	require.ErrorIs(t, w.Append(rs, nil), full)
	fail = OpAmend
	require.ErrorIs(t, w.Amend(func(h *Head) { h.Engine = "kept" }), full)
	fail = OpBackup
	_, err = s.BackupFile(t.Context(), filepath.Join(t.TempDir(), "b"), false)
	require.ErrorIs(t, err, full)
	fail = OpEnd
	require.ErrorIs(t, w.End(), full)
	fail = ""
	require.NoError(t, w.Append(rs, nil))
	require.NoError(t, w.End())
	sum, err := s.Summary(w.ID())
	require.NoError(t, err)
	assert.Equal(t, "kept", sum.Engine, "what Amend could not write comes with End")
	assert.EqualValues(t, 100, sum.Readings)
	list, err := s.Traces(Query{})
	require.NoError(t, err)
	assert.Len(t, list, 1, "the trace that could not be begun left nothing")
}
