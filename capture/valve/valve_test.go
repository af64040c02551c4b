package valve_test

import (
	"encoding/json"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/capture/valve"
)

// names are the cases that this package and the page's valve.js read alike.
type names struct {
	Valves []struct {
		Name     string     `json:"name"`
		Cylinder int        `json:"cylinder"`
		Kind     valve.Kind `json:"kind"`
		Nth      int        `json:"nth"`
		Words    string     `json:"words"`
	} `json:"valves"`
	Refused []string `json:"refused"`
}

func TestNames(t *testing.T) {
	text, err := os.ReadFile("../../testdata/valves/names.json")
	require.NoError(t, err)
	var cases names
	require.NoError(t, json.Unmarshal(text, &cases))
	require.NotEmpty(t, cases.Valves)
	require.NotEmpty(t, cases.Refused)
	for _, c := range cases.Valves {
		v, err := valve.Parse(c.Name)
		require.NoError(t, err, c.Name)
		assert.Equal(t, valve.Valve{Cylinder: c.Cylinder, Kind: c.Kind, Nth: c.Nth}, v)
		assert.Equal(t, c.Name, v.String())
		assert.Equal(t, c.Words, v.Words())
		assert.Equal(t, c.Kind, valve.KindOf(c.Name))
	}
	for _, name := range cases.Refused {
		_, err := valve.Parse(name)
		assert.ErrorContains(t, err, `as in "3I" or "3E"`, "%q", name)
		assert.Empty(t, valve.KindOf(name))
	}
}

func TestPrintedNamesAreReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := valve.Valve{Cylinder: rapid.IntRange(1, 999).Draw(t, "cylinder"),
			Kind: rapid.SampledFrom([]valve.Kind{valve.Intake, valve.Exhaust}).Draw(t, "kind"), Nth: rapid.IntRange(0, 9).Draw(t, "nth")}
		back, err := valve.Parse(v.String())
		require.NoError(t, err)
		assert.Equal(t, v, back)
	})
	assert.Empty(t, valve.Valve{}.String())
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"3I", "12E2", "", "I", "3", "3IE", "03I", "3I0", "9999999999999999999I"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := valve.Parse(s); err == nil && v.String() != s {
			t.Fatalf("%q reads as %q: one valve has two names", s, v)
		}
	})
}

func TestOrderByPlace(t *testing.T) {
	list := []string{"10E", "left", "2E", "10I", "2I2", "2I1", "1E", "1I", "back"}
	slices.SortFunc(list, valve.CompareNames)
	assert.Equal(t, []string{"1I", "1E", "2I1", "2I2", "2E", "10I", "10E", "back", "left"}, list)
}

func TestValvesOfAnEngine(t *testing.T) {
	for _, c := range []struct {
		order []int
		per   int
		want  []string
	}{
		{[]int{1, 3, 2}, 2, []string{"1I", "1E", "3I", "3E", "2I", "2E"}},
		{[]int{1}, 3, []string{"1I1", "1I2", "1E"}},
		{[]int{2, 1}, 4, []string{"2I1", "2I2", "2E1", "2E2", "1I1", "1I2", "1E1", "1E2"}},
		{[]int{1}, 5, []string{"1I1", "1I2", "1I3", "1E1", "1E2"}},
		{[]int{1}, 6, []string{"1I1", "1I2", "1I3", "1E1", "1E2", "1E3"}},
		{nil, 2, []string{}},
	} {
		assert.Equal(t, c.want, valve.Names(valve.Of(c.order, c.per)))
	}
}
