package storage

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPhotographsGoWithTheirTrial(t *testing.T) {
	s, err := Open(filepath.Join(t.TempDir(), "p.db"), Options{})
	require.NoError(t, err)
	defer s.Close()
	_, err = s.PutEngine(Engine{ID: "e", Cylinders: 1, ValvesPerCylinder: 2})
	require.NoError(t, err)
	one, err := s.PutTrial(Trial{Engine: "e", Valve: "1I"})
	require.NoError(t, err)
	other, err := s.PutTrial(Trial{Engine: "e", Valve: "1I"})
	require.NoError(t, err)

	jpeg := bytes.Repeat([]byte{0xff, 0xd8}, 100)
	for _, trial := range []string{one.ID, one.ID, other.ID} {
		p, err := s.PutPhotograph(Photograph{Trial: trial, JPEG: jpeg, Width: 300, Height: 200, Marks: json.RawMessage(`{"tip_px":[[1,2]]}`)})
		require.NoError(t, err)
		back, err := s.Photograph(p.ID)
		require.NoError(t, err)
		assert.Equal(t, p, back)
	}
	_, err = s.PutPhotograph(Photograph{Trial: "t999", JPEG: jpeg})
	assert.ErrorIs(t, err, ErrNotFound)
	_, err = s.PutPhotograph(Photograph{Trial: one.ID, JPEG: make([]byte, 2<<20)})
	assert.ErrorContains(t, err, "up to 1024")
	_, err = s.PutPhotograph(Photograph{Trial: one.ID})
	assert.Error(t, err)

	had, err := s.Photographs(one.ID)
	require.NoError(t, err)
	require.Len(t, had, 2)
	had[0].Marks = json.RawMessage(`{}`)
	changed, err := s.PutPhotograph(had[0])
	require.NoError(t, err)
	_, err = s.PutPhotograph(had[0])
	assert.ErrorIs(t, err, ErrStale)
	require.NoError(t, s.DeletePhotograph(changed.ID, changed.Rev))

	require.NoError(t, s.DeleteTrial(one.ID, one.Rev))
	had, err = s.Photographs(one.ID)
	require.NoError(t, err)
	assert.Empty(t, had)
	had, err = s.Photographs(other.ID)
	require.NoError(t, err)
	assert.Len(t, had, 1, "those of another trial stay")
	for range MostPhotographs - 1 {
		_, err = s.PutPhotograph(Photograph{Trial: other.ID, JPEG: jpeg, Width: 300, Height: 200})
		require.NoError(t, err)
	}
	_, err = s.PutPhotograph(Photograph{Trial: other.ID, JPEG: jpeg, Width: 300, Height: 200})
	assert.ErrorContains(t, err, "photographs already")
}
