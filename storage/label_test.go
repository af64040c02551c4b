package storage

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCheckLabel(t *testing.T) {
	s := newStore(t, Options{})
	require.ErrorContains(t, s.CheckLabel("mule", ""), "there is no engine yet; make one on the page first")
	for _, id := range []string{"small-block", "mule"} {
		_, err := s.PutEngine(Engine{ID: id, Cylinders: 2, ValvesPerCylinder: 2})
		require.NoError(t, err)
	}
	for _, good := range [][2]string{{"", ""}, {"", "9E"}, {"mule", ""}, {"mule", "2E"}, {"small-block", "1I"}} {
		assert.NoError(t, s.CheckLabel(good[0], good[1]), "%q", good)
	}
	for _, c := range []struct{ engine, valve, field, says string }{
		{"", "left", "valve", `"left" is no valve's name`},
		{"smallblock", "", "engine", `cannot be "smallblock": there is no such engine (did you mean small-block?); there are mule small-block`},
		{"MULE", "1I", "engine", "did you mean mule?"},
		{"zebra", "", "engine", `there is no such engine; there are mule small-block`},
		{"mule", "3I", "valve", `there is no such valve (did you mean 1I?); there are 1I 1E 2I 2E`},
		{"mule", "2e", "valve", `did you mean 2E?`},
		{"mule", "2I1", "valve", `did you mean 2I?`},
	} {
		err := s.CheckLabel(c.engine, c.valve)
		var field *FieldError
		require.ErrorAs(t, err, &field, "%q %q", c.engine, c.valve)
		assert.Equal(t, c.field, field.Field())
		assert.ErrorContains(t, err, c.says)
	}
	// Whoever deletes an engine keeps its traces, and may still write a remark to
	// them: only what is new is checked, by whoever changes it.
	e, err := s.Engine("mule")
	require.NoError(t, err)
	require.NoError(t, s.DeleteEngine("mule", e.Rev))
	assert.ErrorContains(t, s.CheckLabel("mule", ""), "there is small-block")
}
