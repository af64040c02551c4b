package storage

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// What stands in rescue files is taken in once, however often it is tried and
// wherever it stops, and the files go when all of it is in.
func TestTakeIn(t *testing.T) {
	full := errors.New("no room")
	left := -1 // transactions until the disk is full
	dir := inMemory(t)
	path := filepath.Join(dir, "a[b]s")
	s, err := Open(path, Options{Fault: func(Op) error {
		if left == 0 {
			return full
		}
		left--
		return nil
	}})
	require.NoError(t, err)
	defer s.Close()
	record(t, s, Head{}, turned(10, 10, 1), 10)
	var want [][]measure.Reading
	for i := range 3 {
		r, err := OpenRescue(path, Options{})
		require.NoError(t, err)
		for j := range 2 {
			rs := turned(20_000*i+5+j, 1000, uint64(i+j))
			want = append(want, rs)
			id := record(t, r, Head{Engine: "v8", Valve: "1I", Source: "live", Remark: "goes on"}, rs, 5000)
			assert.EqualValues(t, j+1, id)
		}
		require.NoError(t, r.Close())
	}
	for tries := 0; ; tries++ {
		left = 1
		if _, err := s.TakeIn(t.Context()); err == nil {
			break
		}
		require.Less(t, tries, 20)
	}
	left = -1
	came, err := s.TakeIn(t.Context())
	require.NoError(t, err)
	assert.Empty(t, came)
	list, err := s.Traces(Query{Engine: "v8"})
	require.NoError(t, err)
	require.Len(t, list, len(want))
	for i, rs := range want {
		sum := list[len(want)-1-i]
		h, got, err := s.Load(sum.ID)
		require.NoError(t, err)
		assert.Equal(t, rs, got.Readings)
		assert.Equal(t, "goes on", h.Remark)
	}
	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	assert.True(t, rep.Whole(), rep.String())
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, f := range files {
		assert.NotContains(t, f.Name(), "rescue")
	}
}
