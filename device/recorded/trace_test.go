package recorded_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/bytelog"
	"lobescribe/device/measure"
	"lobescribe/device/recorded"
)

// recordedLines is a recording of twenty lines, one of them in two pieces, the
// beginning of another, a lost link, and twenty more.
func recordedLines() string {
	var b strings.Builder
	b.WriteString("lobescribe bytes 1\n# serial:x?baud=9600\n")
	for i := range 20 {
		if i == 10 {
			b.WriteString("1.050000 \"1.\"\n1.055000 \"10 mm\\r\\n\"\n")
			continue
		}
		fmt.Fprintf(&b, "%.6f \"1.%02d mm\\r\\n\"\n", 0.1*float64(i), i)
	}
	b.WriteString("1.950000 \"9.\"\n3.000000 lost\n4.000000 opened\n")
	for i := range 20 {
		fmt.Fprintf(&b, "%.6f \"2.%02d mm\\r\\n\"\n", 5+0.1*float64(i), i)
	}
	return b.String()
}

func TestRecorded(t *testing.T) {
	read := func(text string) (measure.Trace, error) {
		r, err := bytelog.NewReader(strings.NewReader(text))
		require.NoError(t, err)
		a, err := address.Parse("serial:x?baud=9600&invert=true&delay=10ms")
		require.NoError(t, err)
		return recorded.Trace(r, a, device.Options{})
	}
	tr, err := read(recordedLines())
	require.NoError(t, err)
	before, after := 0, 0
	var last measure.Reading
	for _, r := range tr.Readings {
		assert.Greater(t, r.At, last.At)
		lift := -r.Lift.Millimetres()
		var when float64 // in tenths of a second
		if lift >= 2 {
			when = 50 + 100*(lift-2)
			after++
		} else {
			when = 100 * (lift - 1)
			before++
		}
		if math.Abs(lift-1.10) > 1e-9 { // that came in two pieces
			assert.InDelta(t, when/10-0.010, r.At.Seconds(), 0.003, "%v mm, inverted, less the delay", lift)
		}
		last = r
	}
	assert.GreaterOrEqual(t, before, 18, "at most the first line, and the last before the link was lost, are in doubt")
	assert.GreaterOrEqual(t, after, 18)
	require.Len(t, tr.Notes, 1)
	assert.Equal(t, measure.NoteGap, tr.Notes[0].Kind)
	assert.InDelta(t, 1.9, tr.Notes[0].At.Seconds(), 0.15)
	assert.InDelta(t, 5, tr.Notes[0].Until.Seconds(), 0.15)

	whole := len(tr.Readings)
	tr, err = read(recordedLines() + "2.1 \"back\"\n")
	assert.ErrorContains(t, err, "the time goes back")
	assert.Len(t, tr.Readings, whole, "what was read is not lost")

	r, err := bytelog.NewReader(strings.NewReader(recordedLines()))
	require.NoError(t, err)
	a, err := address.Parse("serial:x?format=nonesuch")
	require.NoError(t, err)
	_, err = recorded.Trace(r, a, device.Options{})
	assert.ErrorContains(t, err, "nonesuch")
}
