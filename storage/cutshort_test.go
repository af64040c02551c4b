package storage

import (
	"errors"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCutShort(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := filepath.Join(dir, "s")
	s, err := Open(path, Options{})
	require.NoError(t, err)
	rs := turned(20_000, 100, 3)
	w, err := s.Begin(Head{Engine: "v8", Valve: "1I"})
	require.NoError(t, err)
	for at := 0; at < len(rs); at += 100 {
		require.NoError(t, w.Append(rs[at:at+100], nil))
	}
	empty, err := s.Begin(Head{})
	require.NoError(t, err)
	require.NoError(t, s.Close())

	s, err = Open(path, Options{ReadOnly: true})
	require.NoError(t, err)
	_, got, err := s.Load(w.ID())
	require.NoError(t, err)
	assert.Equal(t, rs, got.Readings, "readable before anybody has put it in order")
	sum, err := s.Summary(w.ID())
	require.NoError(t, err)
	assert.True(t, sum.CutShort)
	assert.False(t, sum.Recording)
	h, err := s.Head(w.ID())
	require.NoError(t, err)
	assert.True(t, h.CutShort)
	require.NoError(t, s.Close())

	// On a full disk the store opens all the same, and puts it off.
	full := errors.New("no room")
	s, err = Open(path, Options{Fault: func(Op) error { return full }})
	require.NoError(t, err)
	sum, err = s.Summary(w.ID())
	require.NoError(t, err)
	assert.True(t, sum.CutShort)
	require.NoError(t, s.Close())

	s, err = Open(path, Options{})
	require.NoError(t, err)
	defer s.Close()
	h, got, err = s.Load(w.ID())
	require.NoError(t, err)
	assert.Equal(t, rs, got.Readings)
	assert.True(t, h.CutShort)
	list, err := s.Traces(Query{})
	require.NoError(t, err)
	require.Len(t, list, 2)
	assert.Equal(t, empty.ID(), list[0].ID)
	assert.True(t, list[1].CutShort)
	assert.False(t, list[1].Recording)
	assert.EqualValues(t, len(rs), list[1].Readings)
	require.NoError(t, s.view(func(r rows) error {
		r.ascend(bucketTail, nil, func([]byte, []byte) bool { t.Error("the tail was not merged"); return false })
		return nil
	}))
}

func TestManyAtOnce(t *testing.T) {
	t.Parallel()
	s := newStore(t, Options{})
	rs := turned(20_000, 1000, 4)
	var writers, readers sync.WaitGroup
	stop := make(chan struct{})
	for range 2 {
		writers.Go(func() {
			w, err := s.Begin(Head{Engine: "e"})
			if !assert.NoError(t, err) {
				return
			}
			for at := 0; at < len(rs); at += 500 {
				assert.NoError(t, w.Append(rs[at:at+500], nil))
			}
			assert.NoError(t, w.End())
		})
	}
	for range 3 {
		readers.Go(func() {
			for n := 0; ; n++ {
				select {
				case <-stop:
					return
				default:
				}
				list, err := s.Traces(Query{Engine: "e"})
				assert.NoError(t, err)
				for _, l := range list {
					_, got, err := s.Load(l.ID)
					assert.NoError(t, err)
					if !assert.GreaterOrEqual(t, len(got.Readings), int(l.Readings)) {
						return
					}
					assert.Equal(t, rs[:len(got.Readings)], got.Readings)
				}
				if n%4 == 0 {
					p := filepath.Join(t.TempDir(), "copy")
					_, err := s.BackupFile(t.Context(), p, false)
					if !assert.NoError(t, err) {
						return
					}
					boltCheck(t, p)
				}
			}
		})
	}
	writers.Wait()
	close(stop)
	readers.Wait()
	list, err := s.Traces(Query{})
	require.NoError(t, err)
	for _, l := range list {
		assert.EqualValues(t, len(rs), l.Readings)
	}
}
