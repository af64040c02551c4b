package simulator

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// What the gauge shows is the slider-crank's law of the mechanism, x = sqrt(a^2 -
// (v0 - v)^2) (plane geometry), turned by its tilt; the tip stands farthest out where
// the truth says that the arm is square.
func TestSweepGauge(t *testing.T) {
	mule := BenchMule().Valves[2]
	mule.Lobe.OpeningRamp, mule.Lobe.ClosingRamp = Ramp{}, Ramp{}
	for _, by := range []float64{0, 1.3, -2.1} {
		v, err := mule.Raised(fromMM(by))
		require.NoError(t, err)
		before, err := mule.SquareAt()
		require.NoError(t, err)
		square, err := v.SquareAt()
		require.NoError(t, err)
		assert.InDelta(t, before.Millimetres()-by, square.Millimetres(), 1e-5, "raised by %v mm", by)
		tr, err := v.train()
		require.NoError(t, err)
		a, v0 := tr.link.a, square.Millimetres()
		for _, g := range []SweepGauge{{Tilt: 2 * measure.Degree}, {Tilt: -measure.Degree, Inwards: true}, {Side: true, Tilt: measure.Degree}} {
			sin, cos := math.Sincos(g.Tilt.Degrees() * math.Pi / 180)
			heights := 0
			out := func(lift float64) float64 { return math.Sqrt(a*a - (v0-lift)*(v0-lift)) }
			from := g.shows(tr, tr.noseAt)
			for crank := -130.0; crank < 130; crank += 5 {
				lift := tr.lift(tr.noseAt + crank)
				if lift < 0.3 { // the lash is open
					continue
				}
				want := cos*(out(lift)-out(tr.max)) - sin*(lift-tr.max)
				if g.Side {
					want = -sin * (lift - tr.max)
				}
				if g.Inwards {
					want = -want
				}
				assert.InDelta(t, want, g.shows(tr, tr.noseAt+crank)-from, 1e-6) // SquareAt is in whole nanometres
				heights++
			}
			require.Greater(t, heights, 20)
		}
	}
	_, err := Scenario{Valve: Valve{}, Sweep: &SweepGauge{}}.Play()
	assert.ErrorContains(t, err, "give the rocker its ValveArm")
}

// A side that runs out moves the gauge by no more than the run-out, and comes back
// with the valve.
func TestSideRunsOut(t *testing.T) {
	tr, err := BenchMule().Valves[0].train()
	require.NoError(t, err)
	g := SweepGauge{Side: true, RunOut: 30 * measure.Micrometre, Turns: 40 * measure.Degree}
	assert.InDelta(t, 0.015*math.Sin(40*math.Pi/180), g.shows(tr, tr.noseAt), 1e-9)
	assert.Zero(t, g.shows(tr, tr.noseAt+180))
}

func TestSessionWithASweepGauge(t *testing.T) {
	s, err := Scenario{Seed: 3, Valve: BenchMule().Valves[0], Sweep: &SweepGauge{Gauge: Indicator{Rate: 80}}, Openings: 1}.Play()
	require.NoError(t, err)
	assert.Len(t, s.SweepLines, len(s.Sweeps))
	assert.InDelta(t, 80*s.Truth.End.Seconds(), len(s.Sweeps), 3)
	without, err := Scenario{Seed: 3, Valve: BenchMule().Valves[0], Openings: 1}.Play()
	require.NoError(t, err)
	assert.Equal(t, without.Trace, s.Trace, "a gauge beside it changes nothing else")
}
