package simulator

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

func TestProvingShowsBothStopsAndTheRetainer(t *testing.T) {
	for _, p := range []Proving{
		{},
		{Indicator: Indicator{Unit: measure.InMillimetres, Rate: 5, Preload: -3 * measure.Millimetre}, Sticks: 30 * measure.Micrometre},
		{Indicator: Indicator{Rate: 200, Noise: 2 * measure.Micrometre}, Averages: 80 * measure.Millisecond, Travel: 12 * measure.Millimetre, Out: 5 * measure.Millimetre},
	} {
		out, err := p.Play()
		require.NoError(t, err)
		low, high := out.Trace.Readings[0].Lift, out.Trace.Readings[0].Lift
		for _, r := range out.Trace.Readings {
			low, high = min(low, r.Lift), max(high, r.Lift)
		}
		slack := float64(out.Trace.Resolution + p.Sticks + 5*p.Indicator.Noise)
		assert.InDelta(t, float64(out.Hangs), float64(low), slack)
		assert.InDelta(t, float64(out.Home), float64(high), slack)
		last := out.Trace.Readings[len(out.Trace.Readings)-1].Lift
		assert.InDelta(t, float64(p.Indicator.Preload), float64(last), slack, "it ends on the retainer")
		again, err := p.Play()
		require.NoError(t, err)
		assert.Equal(t, out, again, "the same seed gives the same proving")
	}
}

// A mean of exponential weight is late by its time constant behind what moves
// steadily (the final value theorem on a ramp; derived here).
func TestProvingAveragesLate(t *testing.T) {
	p := Proving{Averages: 100 * measure.Millisecond}
	way := make([]float64, 3000)
	for i := range way {
		way[i] = 0.01 * float64(i)
	}
	shown := p.shown(way, 0)
	assert.InDelta(t, 100, (way[2999]-shown[2999])/0.01, 1, "milliseconds")
}

func TestProvingSticksBetweenTheDirections(t *testing.T) {
	p := Proving{Sticks: 40 * measure.Micrometre}
	shown := p.shown([]float64{0, 1, 2, 1, 0, 1}, 0)
	assert.InDelta(t, 0.04, math.Abs(shown[3]-shown[1]), 1e-9)
}

func TestProvingThatCannotBe(t *testing.T) {
	for _, p := range []Proving{
		{Travel: 5 * measure.Millimetre, Out: 4 * measure.Millimetre},
		{Averages: -1}, {Snaps: -1}, {Indicator: Indicator{Rate: -3}},
		{Indicator: Indicator{Format: CombinedFormats()[0]}},
	} {
		_, err := p.Play()
		assert.Error(t, err)
	}
}
