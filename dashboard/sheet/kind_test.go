package sheet

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/valve"
	"lobescribe/device/measure"
)

func TestOffKind(t *testing.T) {
	const um = measure.Micrometre
	off := OffKind([]KindLift{
		{"1I", valve.Intake, 11_000 * um, 10 * um}, {"2I", valve.Intake, 11_004 * um, 10 * um}, {"3I", valve.Intake, 10_800 * um, 10 * um},
		{"1E", valve.Exhaust, 9_000 * um, 10 * um},
	})
	assert.Len(t, off, 3, "a valve alone of its kind is compared with nothing")
	assert.Equal(t, -202*um, off["3I"].By, "the median of 11.000 and 11.004 is 11.002")
	assert.True(t, off["3I"].Beyond)
	assert.Equal(t, 104*um, off["2I"].By, "the median of 11.000 and 10.800 is 10.900")
	assert.Empty(t, OffKind(nil))
}
