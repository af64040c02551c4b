package simulator

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// Laws of dwell-rise-dwell. Formulas: Norton, Cam Design and Manufacturing
// Handbook; Shigley/Uicker: from memory. The values were recomputed from the
// formulas with other software (sympy, scipy), exact to 1e-9; that proves that
// formula and number agree, not that the books print them.
func TestLawsAgainstTable(t *testing.T) {
	const exact = 1e-9
	for _, row := range []struct {
		x                         float64
		shm, cyc, p345, p4567, ms float64
	}{
		{0.1, 0.0244717419, 0.0064510716, 0.0085600000, 0.0027280000, 0.0106972128},
		{0.125, 0.0380602337, 0.0124604605, 0.0160522461, 0.0062389374, 0.0199814087},
		{0.2, 0.0954915028, 0.0486346543, 0.0579200000, 0.0333440000, 0.0683938993},
		{0.25, 0.1464466094, 0.0908450569, 0.1035156250, 0.0705566406, 0.1171784846},
		{0.3, 0.2061073739, 0.1486346543, 0.1630800000, 0.1260360000, 0.1778877626},
		{0.375, 0.3086582838, 0.2624604605, 0.2752075195, 0.2430210114, 0.2874845073},
		{0.5, 0.5, 0.5, 0.5, 0.5, 0.5},
	} {
		for law, want := range map[Textbook]float64{SimpleHarmonic: row.shm, Cycloidal: row.cyc, Polynomial345: row.p345, Polynomial4567: row.p4567, ModifiedSine: row.ms} {
			assert.InDelta(t, want, law.At(row.x), exact, "%v at %v", law, row.x)
			assert.InDelta(t, 1-want, law.At(1-row.x), exact, "%v at %v", law, 1-row.x)
		}
	}
	// Modified trapezoid: formula from memory, numbers recomputed.
	for x, want := range map[float64]float64{0.1: 0.009459064, 0.25: 0.104480194, 0.4: 0.309459064, 0.6: 1 - 0.309459064} {
		assert.InDelta(t, want, ModifiedTrapezoid.At(x), exact)
	}
}

// Peak velocity Cv and acceleration Ca of the laws, h = beta = 1: same sources.
func TestLawsPeakVelocityAndAcceleration(t *testing.T) {
	for law, want := range map[Textbook]struct{ cv, ca, at float64 }{
		SimpleHarmonic:    {math.Pi / 2, math.Pi * math.Pi / 2, 0},
		Cycloidal:         {2, 2 * math.Pi, 0.25},
		Polynomial345:     {1.875, 10 / math.Sqrt(3), 0.2113249},
		Polynomial4567:    {2.1875, 84 * math.Sqrt(5) / 25, 0.2763932},
		ModifiedSine:      {4 * math.Pi / (4 + math.Pi), 4 * math.Pi * math.Pi / (4 + math.Pi), 0.125},
		ModifiedTrapezoid: {2, 4.888124, 0.25},
	} {
		const d = 1e-4
		v := (law.At(0.5+d) - law.At(0.5-d)) / (2 * d)
		assert.InDelta(t, want.cv, v, 1e-6, "%v velocity", law)
		at := max(want.at, d)
		if law == ModifiedSine {
			at -= d // the piece ends there
		}
		a := (law.At(at+d) - 2*law.At(at) + law.At(at-d)) / (d * d)
		assert.InDelta(t, want.ca, a, 1e-3*want.ca, "%v acceleration", law)
	}
}

// Even polynomial lobes: choice of powers from memory, numbers recomputed.
func TestEvenPolynomials(t *testing.T) {
	for _, c := range []struct {
		law  EvenPolynomial
		coef [4]float64
		at   map[float64]float64 // from the nose
		half float64
		mean float64
	}{
		{Even2101826(), [4]float64{-195. / 128, 117. / 128, -65. / 128, 15. / 128},
			map[float64]float64{.25: .904786028, .5: .620031329, .75: .19174372, .9: .01608116}, .574941, .552897},
		{Even2101214(), [4]float64{-7. / 4, 21. / 4, -7, 5. / 2},
			map[float64]float64{.25: .890629599, .5: .566070557, .75: .134081358, .9: .007974867}, .538254, .522145},
	} {
		got := c.law.Coefficients()
		for i := range got {
			assert.InDelta(t, c.coef[i], got[i], 1e-12)
		}
		for x, want := range c.at {
			assert.InDelta(t, want, c.law.At(1-x), 1e-8, "%v at %v", c.law, x)
		}
		lobe := Lobe{Rise: c.law, Lift: 10 * measure.Millimetre, RiseAngle: 60 * measure.Degree, FallAngle: 80 * measure.Degree}
		opening, closing := lobe.HalfLift()
		assert.InDelta(t, -60*c.half, opening, 60*1e-6)
		assert.InDelta(t, 80*c.half, closing, 80*1e-6)
		mean := 0.0
		for i := range 10_000 {
			mean += c.law.At((float64(i)+0.5)/10_000) / 10_000
		}
		assert.InDelta(t, c.mean, mean, 1e-6)
	}
}

// Three-arc cam with a flat follower, the classic case of the theory of
// machines; derived, and agreed by independent code.
func TestThreeArcs(t *testing.T) {
	arcs := ThreeArc{Base: 15, Flank: 60, Nose: 4, Rise: 8}
	assert.InDelta(t, 63.985634, arcs.HalfAngle(), 1e-6)
	assert.InDelta(t, 46.232843, arcs.Junction(), 1e-6)
	assert.InDelta(t, 2.142857, arcs.LiftAt(46.232843), 1e-6)
	for at, want := range map[float64]float64{10: 7.711347, 20: 6.854160, 30: 5.454483, 40: 3.554844, 50: 1.333964, 60: 0.108832} {
		assert.InDelta(t, want, arcs.LiftAt(at), 1e-6, "%v", at)
		assert.InDelta(t, want, arcs.LiftAt(-at), 1e-6)
	}
	lobe := arcs.Lobe()
	for lift, duration := range map[float64]float64{0.5: 221.74622, 1: 207.5366, 2: 187.3577} {
		// Crank duration is four times the cam angle from the nose.
		assert.InDelta(t, lift, lobe.LiftAt(duration/4), 1e-5)
		assert.InDelta(t, lift, lobe.LiftAt(-duration/4), 1e-5)
	}
	v := Valve{Lobe: lobe, Rocker: Rocker{Ratio: 1}}
	opening, closing, err := v.HalfLift()
	require.NoError(t, err)
	assert.InDelta(t, 2*37.863646, closing.Degrees(), 1e-5)
	assert.InDelta(t, 151.4546, (closing - opening).Degrees(), 1e-4)
	lo, hi := lobe.HalfLift()
	assert.InDelta(t, -37.863646, lo, 1e-6)
	assert.InDelta(t, 37.863646, hi, 1e-6)
	train, err := v.train()
	require.NoError(t, err)
	assert.InDelta(t, 255.94254, train.close-train.open, 1e-5)
}

// 3-4-5 rise and fall of 0.420 in that opens 10 degrees before top dead centre:
// crossings derived by root finding with other software, to 1e-6 degrees.
func TestPolynomialLobesAgainstCrossings(t *testing.T) {
	for name, c := range map[string]struct {
		rise, fall measure.Angle // crank
		at         map[float64][2]float64
	}{
		"symmetric": {115 * measure.Degree, 115 * measure.Degree, map[float64][2]float64{
			0.006: {3.788584, 206.211416}, 0.020: {11.371260, 198.628740}, 0.050: {20.382209, 189.617791},
			0.100: {30.466170, 179.533830}, 0.200: {46.039054, 163.960946}, 0.210: {47.5, 162.5}}},
		"asymmetric": {110 * measure.Degree, 125 * measure.Degree, map[float64][2]float64{
			0.006: {3.189081, 210.012408}, 0.020: {10.442075, 201.770369}, 0.050: {19.061243, 191.975860},
			0.100: {28.706772, 181.015032}, 0.200: {43.602573, 164.087985}, 0.210: {45, 162.5}}},
	} {
		v := Valve{
			Lobe:   Lobe{Rise: Polynomial345, Lift: 420 * measure.Thou, RiseAngle: c.rise / 2, FallAngle: c.fall / 2},
			Rocker: Rocker{Ratio: 1}, NoseAt: c.rise - 10*measure.Degree,
		}
		train, err := v.train()
		require.NoError(t, err)
		for lift, at := range c.at {
			for _, crank := range at {
				assert.InDelta(t, lift*25.4, train.lift(crank), 1e-6*25.4, "%s, %v in at %v", name, lift, crank)
			}
		}
		opening, closing, err := v.HalfLift()
		require.NoError(t, err)
		assert.Equal(t, fromDeg(c.at[0.210][0]), v.NoseAt+opening, "half lift in the middle of the flank, to the microdegree")
		assert.Equal(t, fromDeg(c.at[0.210][1]), v.NoseAt+closing)
		top, err := v.MaxLift()
		require.NoError(t, err)
		assert.Equal(t, 420*measure.Thou, top)
	}
}

func anyLaw() *rapid.Generator[Law] {
	return rapid.SampledFrom([]Law{SimpleHarmonic, Cycloidal, Polynomial345, Polynomial4567, ModifiedSine, ModifiedTrapezoid,
		Even2101826(), Even2101214(), ThreeArc{Base: 15, Flank: 60, Nose: 4, Rise: 8}})
}

func TestLawsRise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law := anyLaw().Draw(t, "law")
		x, y := rapid.Float64Range(0, 1).Draw(t, "x"), rapid.Float64Range(0, 1).Draw(t, "y")
		if x > y {
			x, y = y, x
		}
		require.LessOrEqual(t, law.At(x), law.At(y)+1e-12)
		require.InDelta(t, 0, law.At(0), 1e-12)
		require.InDelta(t, 1, law.At(1), 1e-12)
	})
}
