package valve_test

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/valve"
)

// ownNames are the cases that this package and the page's valve.js take and refuse
// alike.
type ownNames struct {
	Valves  []string         `json:"valves"`
	Most    int              `json:"most"`
	Good    []valve.OwnNames `json:"good"`
	Refused []struct {
		Names valve.OwnNames `json:"names"`
		Says  string         `json:"says"`
	} `json:"refused"`
}

func TestOwnNames(t *testing.T) {
	text, err := os.ReadFile("../../testdata/valves/own.json")
	require.NoError(t, err)
	var cases ownNames
	require.NoError(t, json.Unmarshal(text, &cases))
	require.NotEmpty(t, cases.Good)
	require.NotEmpty(t, cases.Refused)
	assert.Equal(t, valve.MostOwn, cases.Most)
	var all []valve.Valve
	for _, name := range cases.Valves {
		v, err := valve.Parse(name)
		require.NoError(t, err)
		all = append(all, v)
	}
	for _, names := range cases.Good {
		assert.NoError(t, names.Check(all), names)
		for name, own := range names {
			v, ok := names.Find(own, all)
			assert.True(t, ok, own)
			assert.Equal(t, name, v.String(), "%q finds its own valve", own)
		}
		for _, v := range all {
			found, ok := names.Find(v.String(), all)
			assert.True(t, ok)
			assert.Equal(t, v, found, "the standard name goes on standing for its valve")
		}
	}
	for _, c := range cases.Refused {
		assert.ErrorContains(t, c.Names.Check(all), c.Says, "%v", c.Names)
	}
}

func TestOwnNamesAreFoundAsTheyAreSaid(t *testing.T) {
	all := valve.Of([]int{1, 2}, 2)
	names := valve.OwnNames{"1I": "No.1 In", "2E": "B2"}
	for text, want := range map[string]string{"no1in": "1I", "NO.1 IN": "1I", "b2": "2E", "B-2": "2E", "2I": "2I"} {
		v, ok := names.Find(text, all)
		assert.True(t, ok, text)
		assert.Equal(t, want, v.String(), text)
	}
	for _, text := range []string{"", "B3", "i2", "3I"} {
		_, ok := names.Find(text, all)
		assert.False(t, ok, text)
	}
}
