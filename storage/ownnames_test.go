package storage

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/valve"
)

// What the builder calls the valves is kept as it was written, refused where it could
// be taken for another valve, and comes along in a backup.
func TestOwnNamesAreKept(t *testing.T) {
	s := newStore(t, Options{})
	e := eight()
	e.ValveNames = valve.OwnNames{"1I": "No.1 In", "8E": "Ünten"}
	put, err := s.PutEngine(e)
	require.NoError(t, err)
	got, err := s.Engine(e.ID)
	require.NoError(t, err)
	assert.Equal(t, e.ValveNames, got.ValveNames)

	put.ValveNames = valve.OwnNames{"1I": "1E"}
	_, err = s.PutEngine(put)
	var field *FieldError
	require.ErrorAs(t, err, &field)
	assert.Equal(t, "valve_names", field.Name)
	assert.ErrorContains(t, err, "another valve's name")
	got, err = s.Engine(e.ID)
	require.NoError(t, err)
	assert.Equal(t, e.ValveNames, got.ValveNames, "what was refused changed nothing")

	to := filepath.Join(t.TempDir(), "copy")
	_, err = s.BackupFile(t.Context(), to, false)
	require.NoError(t, err)
	copied, err := Open(to, Options{ReadOnly: true})
	require.NoError(t, err)
	defer copied.Close()
	got, err = copied.Engine(e.ID)
	require.NoError(t, err)
	assert.Equal(t, e.ValveNames, got.ValveNames)

	got.ValveNames, got.Rev = nil, put.Rev
	_, err = s.PutEngine(got)
	require.NoError(t, err)
	got, err = s.Engine(e.ID)
	require.NoError(t, err)
	assert.Empty(t, got.ValveNames, "and they can be taken away")
}

// The kept stores of earlier schemas know no own names: they open without any, and
// take some. A version from before them that changes an engine leaves them in it.
func TestStoresFromBeforeOwnNames(t *testing.T) {
	for _, name := range []string{"schema1", "schema2"} {
		image, err := os.ReadFile(filepath.Join(oldStores, name+".lobes"))
		require.NoError(t, err)
		require.NotContains(t, string(image), "valve_names", "this is no store from before them")
		path := filepath.Join(t.TempDir(), "s")
		require.NoError(t, os.WriteFile(path, image, 0o600))
		s, err := Open(path, Options{})
		require.NoError(t, err)
		e, err := s.Engine("v8")
		require.NoError(t, err)
		assert.Empty(t, e.ValveNames)
		e.ValveNames = valve.OwnNames{"3I": "A3"}
		_, err = s.PutEngine(e)
		require.NoError(t, err)
		require.NoError(t, s.Close())
		s, err = Open(path, Options{})
		require.NoError(t, err)
		e, err = s.Engine("v8")
		require.NoError(t, err)
		assert.Equal(t, valve.OwnNames{"3I": "A3"}, e.ValveNames)
		traces, err := s.Traces(Query{Engine: "v8", Valve: "3I"})
		require.NoError(t, err)
		assert.Len(t, traces, 2, "its traces are of the valve as before")
		rep, err := s.Verify(t.Context())
		require.NoError(t, err)
		assert.True(t, rep.Whole(), rep.String())
		require.NoError(t, s.Close())
	}
	type before struct { // an engine as an earlier version knows it
		ID   string `json:"id"`
		Name string `json:"name"`
	}
	kept, err := keepUnknown([]byte(`{"id":"v8","name":"old","valve_names":{"3I":"A3"}}`), before{"v8", "renamed"})
	require.NoError(t, err)
	var e Engine
	require.NoError(t, json.Unmarshal(kept, &e))
	assert.Equal(t, "renamed", e.Name)
	assert.Equal(t, valve.OwnNames{"3I": "A3"}, e.ValveNames)
}
