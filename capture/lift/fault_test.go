package lift_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// A fault's sentence is printed in the unit that is asked for, also after its findings
// were stored and read again; in JSON it is a sentence that anybody can read.
func TestAFaultKeepsItsLengths(t *testing.T) {
	f := lift.Fault{Kind: lift.ZeroShift, At: 2 * measure.Second, Says: worksheet.Sayf("100 %% sure: off by %v within %s", 50*measure.Thou, "2 s")}
	b, err := json.Marshal(f)
	require.NoError(t, err)
	assert.JSONEq(t, `{"kind":"zero-shift","t_s":2,"says":"100 % sure: off by 1.27 mm (0.0500 in) within 2 s","sentence":"100 % sure: off by {} within 2 s","lengths_mm":[1.27]}`, string(b))
	var read lift.Fault
	require.NoError(t, json.Unmarshal(b, &read))
	assert.Equal(t, "100 % sure: off by 1.27 mm within 2 s", read.Says.In(measure.InMillimetres))
	assert.Equal(t, "100 % sure: off by 0.0500 in within 2 s", read.Says.In(measure.InInches))
	again, err := json.Marshal(read)
	require.NoError(t, err)
	assert.Equal(t, string(b), string(again))
}

// Findings of a version that had only the text still read, and so do parts that do not
// belong together.
func TestAFaultOfEarlierVersionsReads(t *testing.T) {
	const says = "the heel came back 0.400 mm (0.0157 in) from where it was, 5 % or {} more"
	for _, more := range []string{"", `,"sentence":"off by {}","lengths_mm":[1,2]`, `,"sentence":"off","lengths_mm":[]`} {
		var f lift.Fault
		require.NoError(t, json.Unmarshal([]byte(`{"kind":"zero-shift","t_s":2,"says":"`+says+`"`+more+`}`), &f))
		assert.Equal(t, says, f.Says.In(measure.InInches))
		assert.Equal(t, says, f.Says.InBoth())
	}
	assert.Error(t, json.Unmarshal([]byte(`{"says":5}`), new(lift.Fault)))
}

// What a trace's faults say is in one unit, and comes back from JSON as it was.
func TestFaultsOfATraceReadBack(t *testing.T) {
	tr := turned(-200, 50, leg{rest: 2}, leg{to: 200, speed: 40}, leg{rest: 2}, leg{to: 920, speed: 40}, leg{rest: 2})
	for i := range tr.Readings {
		if tr.Readings[i].At > 12*measure.Second {
			tr.Readings[i].Lift += 400 * measure.Micrometre // the base slipped while the valve was open
		}
	}
	f, err := lift.Analyse(tr, lift.Options{})
	require.NoError(t, err)
	require.NotEmpty(t, f.Faults)
	b, err := json.Marshal(f)
	require.NoError(t, err)
	var read lift.Findings
	require.NoError(t, json.Unmarshal(b, &read))
	require.Equal(t, f.Faults, read.Faults)
	lengths := 0
	for _, fault := range f.Faults {
		assert.NotContains(t, fault.Says.In(measure.InInches), " mm")
		assert.NotRegexp(t, `\d in\b`, fault.Says.In(measure.InMillimetres))
		_, parts := fault.Says.Parts()
		lengths += len(parts)
	}
	assert.NotZero(t, lengths, "a fault with a length in it: %v", f.Faults)
}
