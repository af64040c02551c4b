package storage

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/storage/disk"
)

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
		onWrite(t, db, func(put disk.Write, b []byte, at int64) (int, error) {
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
	s, err := Open(path, Options{Opened: hook})
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
	s := newStore(t, Options{Opened: func(db *bbolt.DB) {
		db.NoSync = true
		onWrite(t, db, func(put disk.Write, b []byte, at int64) (int, error) {
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
	assert.Len(t, list, 1, "the trace that could not be started left nothing")
}
