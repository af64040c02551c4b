package worksheet_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

type trial struct {
	Stack measure.Length  `json:"stack_mm"`
	Below *measure.Length `json:"adjuster_below_valve_mm"`
}

type question struct {
	Ratio  float64       `json:"rocker_ratio"`
	Trials []trial       `json:"trials"`
	Tip    string        `json:"tip"`
	Bend   measure.Angle `json:"bend_deg"`
	Count  int           `json:"count"`
}

func TestReadFillsEveryField(t *testing.T) {
	var q question
	err := worksheet.Read(strings.NewReader(` {"rocker_ratio":1.4, "tip":"pad","bend_deg":12.5,"count":2,
		"trials":[{"stack_mm":0.381,"adjuster_below_valve_mm":0},{"stack_mm":1e-1}]} `), &q)
	require.NoError(t, err)
	assert.Equal(t, question{
		Ratio: 1.4, Tip: "pad", Bend: 12_500_000, Count: 2,
		Trials: []trial{{Stack: 381_000, Below: new(measure.Length(0))}, {Stack: 100_000}},
	}, q)
}

func TestReadNamesTheField(t *testing.T) {
	for _, c := range []struct{ text, says string }{
		{``, "the question is empty"},
		{"  \n", "the question is empty"},
		{`[]`, "expected an object"},
		{`3`, "expected an object"},
		{`null`, "is null"},
		{`{"rocker_ratoi":1.4}`, "rocker_ratoi: is not a field here: did you mean rocker_ratio?"},
		{`{"Rocker_Ratio":1.4}`, "did you mean rocker_ratio?"},
		{`{"trials":[{"stack":1}]}`, "trials[0].stack: is not a field here: did you mean stack_mm?"},
		{`{"trials":[{},{"stak_mm":1}]}`, "trials[1].stak_mm: is not a field here: did you mean stack_mm?"},
		{`{"colour":1}`, "the fields are bend_deg, count, rocker_ratio, tip, trials"},
		{`{"rocker_ratio":1.4,"rocker_ratio":1.5}`, "rocker_ratio: is given twice"},
		{`{"rocker_ratio":null}`, "rocker_ratio: is null"},
		{`{"rocker_ratio":"1.4"}`, `rocker_ratio: "1.4" will not do: expected a number`},
		{`{"rocker_ratio":1e999}`, "rocker_ratio: 1e999 will not do: expected a number"},
		{`{"rocker_ratio":NaN}`, "rocker_ratio: NaN is not a number"},
		{`{"trials":[{"stack_mm":1},{"stack_mm":-Infinity}]}`, "trials[1].stack_mm: -Infinity is not a number"},
		{`{"trials":[{"stack_mm":0.381,"adjuster_below_valve_mm":}]}`, "trials[0].adjuster_below_valve_mm: this is not JSON"},
		{`{"trials":[{"stack_mm":"0.015 in"}]}`, `trials[0].stack_mm: "0.015 in" will not do: expected a number of millimetres`},
		{`{"trials":[{"stack_mm":1e300}]}`, "trials[0].stack_mm: 1e300 is too large"},
		{`{"trials":{"stack_mm":1}}`, "trials: {\"stack_mm\":1} will not do: expected a list"},
		{`{"trials":[1]}`, "trials[0]: 1 will not do: expected an object"},
		{`{"bend_deg":true}`, "bend_deg: true will not do: expected a number of degrees"},
		{`{"count":1.5}`, "count: 1.5 will not do: expected a whole number"},
		{`{"tip":3}`, "tip: 3 will not do: expected a text"},
		{`{"rocker_ratio":1.4`, "breaks off here"},
		{`{"rocker_ratio":1.4} {}`, "something stands behind the end"},
		{`{"rocker_ratio":1.4} x`, "something stands behind the end"},
		{`not json`, "this is not JSON"},
	} {
		var q question
		err := worksheet.Read(strings.NewReader(c.text), &q)
		var p *worksheet.Problem
		if assert.ErrorAs(t, err, &p, "%s", c.text) {
			assert.Contains(t, err.Error(), c.says, "%s", c.text)
			assert.NotContains(t, err.Error(), "\n", "%s", c.text)
		}
	}
}

func TestReadRefusesAFlood(t *testing.T) {
	var q question
	err := worksheet.Read(bytes.NewReader(make([]byte, worksheet.MostBytes+1)), &q)
	assert.ErrorContains(t, err, "longer than 8 MB")
}

// What Read accepts, the strict standard decoder accepts with the same
// outcome, unless a key differs by case only, which the standard decoder
// takes: Read is never the more lenient of the two.
func FuzzRead(f *testing.F) {
	seeds := []string{
		`{"rocker_ratio":1.4,"trials":[{"stack_mm":0.381,"adjuster_below_valve_mm":3.5}]}`,
		`{"rocker_ratio":NaN}`, `{"trials":[[]]}`, `{"a":{"b":[1,{"c":null}]}}`, `{"\u0074ip":"pad"}`, `{`, `]`, ``,
	}
	for _, s := range seeds {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var q question
		err := worksheet.Read(bytes.NewReader(b), &q)
		if err != nil {
			var p *worksheet.Problem
			require.ErrorAs(t, err, &p)
			require.NotEmpty(t, p.Says)
			return
		}
		var want question
		dec := json.NewDecoder(bytes.NewReader(bytes.TrimPrefix(b, []byte("\ufeff"))))
		dec.DisallowUnknownFields()
		require.NoError(t, dec.Decode(&want))
		require.Equal(t, want, q)
	})
}
