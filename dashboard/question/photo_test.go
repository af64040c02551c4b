package question

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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

func TestAPhotographJustTakenWaitsForItsMarks(t *testing.T) {
	marked := storage.Photograph{Width: 1600, Height: 1200, Marks: json.RawMessage(`{"tip_px":[[1,2]]}`)}
	taken := storage.Photograph{Width: 1600, Height: 1200, Marks: json.RawMessage(`{"at_lift_mm":6}`)}
	trial := storage.Trial{MaxLift: new(12 * measure.Millimetre)}
	q, err := Photographs(storage.Engine{}, trial, []storage.Photograph{taken, marked, {}})
	require.NoError(t, err)
	assert.Len(t, q.Photographs, 1)
	assert.Equal(t, []photo.Point{{X: 1, Y: 2}}, q.Photographs[0].Tip)
	_, err = Photographs(storage.Engine{}, trial, []storage.Photograph{taken})
	assert.ErrorContains(t, err, "no marks yet")
}
