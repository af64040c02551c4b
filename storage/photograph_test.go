package storage

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"os"
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

// A backup has the pictures, and verify reads them: a flipped byte is told.
func TestPhotographsAreBackedUpAndVerified(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(filepath.Join(dir, "p.db"), Options{})
	require.NoError(t, err)
	_, err = s.PutEngine(Engine{ID: "e", Cylinders: 1, ValvesPerCylinder: 2})
	require.NoError(t, err)
	trial, err := s.PutTrial(Trial{Engine: "e", Valve: "1I"})
	require.NoError(t, err)
	jpeg := make([]byte, 300_000)
	for i := range jpeg {
		jpeg[i] = byte(i * i >> 5)
	}
	p, err := s.PutPhotograph(Photograph{Trial: trial.ID, JPEG: jpeg, Width: 300, Height: 200, Marks: json.RawMessage(`{"tip_px":[[1,2]]}`)})
	require.NoError(t, err)
	copied := filepath.Join(dir, "copy.db")
	_, err = s.BackupFile(t.Context(), copied, false)
	require.NoError(t, err)
	require.NoError(t, s.Close())

	b, err := Open(copied, Options{})
	require.NoError(t, err)
	back, err := b.Photograph(p.ID)
	require.NoError(t, err)
	assert.Equal(t, p, back)
	report, err := b.Verify(t.Context())
	require.NoError(t, err)
	assert.Empty(t, report.Damages)
	assert.Equal(t, 3, report.Documents, "engine, trial and photograph")
	require.NoError(t, b.Close())

	raw, err := os.ReadFile(copied)
	require.NoError(t, err)
	// The picture stands in base64, in the middle of its pages.
	text := []byte(base64.StdEncoding.EncodeToString(jpeg))
	at := bytes.Index(raw, text[len(text)/2:][:200])
	require.Positive(t, at)
	raw[at+100] ^= 1
	require.NoError(t, os.WriteFile(copied, raw, 0o600))
	b, err = Open(copied, Options{ReadOnly: true})
	require.NoError(t, err)
	defer b.Close()
	report, err = b.Verify(t.Context())
	require.NoError(t, err)
	require.NotEmpty(t, report.Damages)
	assert.Contains(t, report.String(), p.ID)
}
