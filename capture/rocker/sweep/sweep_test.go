package sweep

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// The slider-crank's table: how far a piston has come from its top, as a share of
// the stroke, for a rod four cranks long (handbooks of engineering print it; these
// four are from memory). The arm is the rod, v0 - v the crank's offset.
func TestSliderCrankTable(t *testing.T) {
	for _, c := range []struct{ degrees, share float64 }{{30, 0.0827}, {60, 0.2974}, {90, 0.5635}, {120, 0.7974}} {
		sin, cos := math.Sincos(c.degrees * math.Pi / 180)
		s, _, ok := curve(0, [unknowns]float64{atV0: sin, atArm: 4}, 1)
		require.True(t, ok)
		assert.InDelta(t, c.share, (5-cos-s)/2, 0.00006, "%v degrees", c.degrees)
	}
}

// A printed worked example of the same linkage, in inches: J. T. Taylor, "Cotton Weaving
// and Designing", 6th edition (1909; Project Gutenberg 57031), on the sley's motion
// before fig. 60: an arm of 12 in lags a crank of 3 in by 0.3811 in at the quarter turn,
// so that the pin has gone 2.6189 in from its far end.
func TestSliderCrankInPrint(t *testing.T) {
	far, _, ok := curve(0, [unknowns]float64{atV0: 0, atArm: 12}, 1)
	require.True(t, ok)
	quarter, _, ok := curve(0, [unknowns]float64{atV0: 3, atArm: 12}, 1)
	require.True(t, ok)
	assert.InDelta(t, 0.3811, far-quarter, 0.00006)
	assert.InDelta(t, 2.6189, 3-(far-quarter), 0.00006)
}

// exact is a turn without an error in it, by the law of cosines: the tip's way from
// the pivot's foot, turned by the gauge's tilt.
func exact(v0, arm, tilt, sense float64) (turn, side Pass) {
	for i := range 200 {
		v := 12 * math.Sin(math.Pi*(float64(i)+0.5)/200)
		// The tip's place as a complex number, turned by the tilt: its real part is read.
		at := complex(math.Sqrt(arm*arm-(v0-v)*(v0-v)), -v) * cmplx.Rect(1, -tilt)
		turn.Lift, side.Lift = append(turn.Lift, measure.FromMillimetres(v)), append(side.Lift, measure.FromMillimetres(v))
		turn.Sweep = append(turn.Sweep, measure.FromMillimetres(3+sense*real(at)))
		side.Sweep = append(side.Sweep, measure.FromMillimetres(1-sense*v*math.Sin(tilt)))
	}
	return turn, side
}

func TestExactTurn(t *testing.T) {
	for _, sense := range []float64{1, -1} {
		for _, tilt := range []float64{0, 0.03, -0.04} {
			for _, v0 := range []float64{3, 6, 9.5} {
				turn, side := exact(v0, 41, tilt, sense)
				a, err := Solve(Question{Turn: turn, Reference: &side, Lift: 12 * measure.Millimetre, ArmsU: new(5 * measure.Millimetre), ValveArm: 40 * measure.Millimetre, GaugeU: new(100 * measure.Nanometre)})
				require.NoError(t, err)
				assert.InDelta(t, v0, a.SquareAt.Millimetres(), 0.01, "sense %v, tilt %v", sense, tilt)
				assert.InDelta(t, 41, a.ValveArm.Millimetres(), 0.05)
				assert.InDelta(t, v0-6, a.Raise.Millimetres(), 0.01)
			}
		}
	}
}

func TestWhatIsRefused(t *testing.T) {
	good := func() Question {
		turn, side := exact(5, 40, 0.02, 1)
		return Question{Turn: turn, Reference: &side}
	}
	_, err := Solve(good())
	require.NoError(t, err)
	for _, c := range []struct {
		name string
		do   func(q *Question)
		says string
	}{
		{"nothing", func(q *Question) { q.Turn = Pass{} }, "turn.lift_mm: has 0 readings"},
		{"unequal", func(q *Question) { q.Turn.Sweep = q.Turn.Sweep[1:] }, "give one of each at a time"},
		{"on the heel", func(q *Question) { clear(q.Turn.Lift) }, "go through too little of the lift"},
		{"only a part", func(q *Question) { q.Lift = 50 * measure.Millimetre }, "go through too little of the lift"},
		{"reference on the heel", func(q *Question) { clear(q.Reference.Lift) }, "go through too little of the lift"},
		{"arm", func(q *Question) { q.ValveArm = measure.Millimetre }, "valve_arm_mm"},
	} {
		q := good()
		c.do(&q)
		_, err := Solve(q)
		assert.ErrorContains(t, err, c.says, c.name)
	}
}

func TestPair(t *testing.T) {
	var lift, sweep []At
	for i := range 100 {
		lift = append(lift, At{measure.Angle(i) * measure.Degree, measure.Length(i) * measure.Millimetre})
		sweep = append(sweep, At{measure.Angle(i)*measure.Degree + measure.Degree/2, 7})
	}
	p, err := Pair(lift, sweep)
	require.NoError(t, err)
	require.Len(t, p.Lift, 99, "the last has no lift behind it")
	assert.Equal(t, 3500*measure.Micrometre, p.Lift[3])
	_, err = Pair(lift, []At{{500 * measure.Degree, 7}})
	assert.ErrorIs(t, err, errPair)
}

// A gauge's step is found in its readings, and a coarse one counts: a reference pass
// that never leaves one step says nothing of a slope within it.
func TestTheGaugesStep(t *testing.T) {
	turn, side := exact(6, 40, 0, 1)
	fine := Question{Turn: turn, Reference: &side}
	assert.Equal(t, measure.Length(1), fine.step())
	round := func(p Pass, step measure.Length) Pass {
		out := Pass{Lift: p.Lift}
		for _, s := range p.Sweep {
			out.Sweep = append(out.Sweep, (s+step/2)/step*step)
		}
		return out
	}
	coarseSide := round(side, 10*measure.Micrometre)
	coarse := Question{Turn: round(turn, 10*measure.Micrometre), Reference: &coarseSide}
	assert.Equal(t, 10*measure.Micrometre, coarse.step())
	a, err := Solve(fine)
	require.NoError(t, err)
	b, err := Solve(coarse)
	require.NoError(t, err)
	assert.InDelta(t, 6, a.SquareAt.Millimetres(), 0.01)
	// Half a step either way over some 12 mm is 0.024 degrees of the gauge's stand, and
	// its sd times the arm of 40 mm 0.014 mm and more.
	assert.Greater(t, b.TiltU, a.TiltU+measure.FromDegrees(0.01))
	assert.InDelta(t, 6, b.SquareAt.Millimetres(), b.SquareAtU.Millimetres())
}
