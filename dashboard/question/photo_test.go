package question

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/rocker/photo"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func TestPhotographsAndCalipers(t *testing.T) {
	a := photo.Answer{Adjuster: &photo.AdjusterArm{Below: 3 * measure.Millimetre, BelowU: measure.Millimetre / 2}}
	_, ok := ByCalipers(a, storage.Trial{})
	assert.False(t, ok)
	said, ok := ByCalipers(a, storage.Trial{AdjusterBelowValve: new(3500 * measure.Micrometre)})
	assert.True(t, ok)
	assert.Contains(t, said.String(), "they agree within ± 0.735 mm") // sqrt(0.5^2 + 0.2^2 + 0.5^2)
	said, _ = ByCalipers(a, storage.Trial{AdjusterBelowValve: new(-3 * measure.Millimetre)})
	assert.Contains(t, said.String(), "check which ends were measured and the sign")
}
