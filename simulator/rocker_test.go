package simulator

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// mm makes lengths of the tables, which stand in inches, into millimetres; the
// linkage has no unit of its own.
func leverOf(a, ratio, bendDeg float64) linkage {
	return linkage{ratio: ratio, a: a, b: a / ratio, bend: radians(bendDeg)}
}

// width returns how wide a mark the tip leaves on the stem between two angles.
func (l *linkage) width(from, to float64) float64 {
	least, most := math.Inf(1), math.Inf(-1)
	for i := range 100_001 {
		x, _ := l.tip(from + (to-from)*float64(i)/100_000)
		least, most = min(least, x), max(most, x)
	}
	return most - least
}

// Least sweep of the tip, lever square at half lift: a - sqrt(a^2 - (L/2)^2).
// Derived (geometry); tolerance 1e-6.
func TestLeastTipSweep(t *testing.T) {
	for _, c := range []struct{ a, lift, sweep float64 }{
		{1.500, 0.500, 0.020980}, {1.500, 0.400, 0.013393}, {1.600, 0.420, 0.013841},
		{1.470, 0.600, 0.030938}, {1.700, 0.800, 0.047729}, {40.0, 10.0, 0.313730},
	} {
		l := leverOf(c.a, 1.6, 0)
		half := math.Asin(c.lift / 2 / c.a)
		assert.InDelta(t, c.sweep, l.width(-half, half), 1e-6)
	}
	assert.InDelta(t, 19.1881, 2*degrees(math.Asin(0.25/1.5)), 1e-4)
}

// Sweep with the lever square at e off half lift, a = 1.5, L = 0.5: path width
// and lever angles. Derived; tolerance 1e-6 and 1e-4 degrees.
func TestTipSweepOffOptimum(t *testing.T) {
	for _, c := range []struct{ e, width, closed, open float64 }{
		{0, 0.020980, -9.5941, 9.5941}, {0.025, 0.025424, -8.6269, 10.5640}, {0.050, 0.030306, -7.6623, 11.5370},
		{0.100, 0.041405, -5.7392, 13.4934}, {0.150, 0.054317, -3.8226, 15.4660}, {0.200, 0.069091, -1.9102, 17.4576},
		{0.250, 0.085786, 0, 19.4712}, {0.300, 0.103638, 1.9102, 21.5102},
	} {
		l := leverOf(1.5, 1.6, 0)
		// The tip is e lower than square at half lift.
		from, to := math.Asin((c.e-0.25)/1.5), math.Asin((c.e+0.25)/1.5)
		assert.InDelta(t, c.closed, degrees(from), 1e-4)
		assert.InDelta(t, c.open, degrees(to), 1e-4)
		assert.InDelta(t, c.width, l.width(from, to), 1e-6, "e = %v", c.e)
	}
}

// Raising the pivot by p with the valve end held: the pushrod end rises by
// p(1 + 1/R) for a straight lever, exactly, and by p + b(sin(phi + delta) - sin
// delta) for a bent one. Derived; tolerance 1e-6.
func TestRaisingThePivot(t *testing.T) {
	for _, c := range []struct {
		p    float64
		rise [4]float64 // bend 0, 5, 10, 15 degrees
	}{
		{0.050, [4]float64{0.081250, 0.081086, 0.080685, 0.080050}},
		{0.100, [4]float64{0.162500, 0.162080, 0.161188, 0.159831}},
	} {
		for i, bend := range []float64{0, 5, 10, 15} {
			l := leverOf(1.5, 1.6, bend)
			_, before := l.push(0)
			_, after := l.push(math.Asin(c.p / 1.5))
			assert.InDelta(t, c.rise[i], c.p+after-before, 1e-6, "p %v, bend %v", c.p, bend)
		}
	}
}

// How much longer a pushrod must be when the pivot goes up by 1 mm and the
// valve stays: a 38.1, R 1.6, rod 200 mm, upright and leaning by 8 degrees with
// the tappet's end inboard. Derived; tolerance 1e-5.
func TestPushrodToAPivotRaised(t *testing.T) {
	for _, c := range []struct{ bend, dz, upright, leaning float64 }{
		{0, 1.625000, 1.62500, 1.60818}, {10, 1.614080, 1.61411, 1.58243},
		{15, 1.601580, 1.60165, 1.56276}, {20, 1.584502, 1.58462, 1.53874},
	} {
		for lean, want := range map[measure.Angle]float64{0: c.upright, 8 * measure.Degree: c.leaning} {
			r := Rocker{Ratio: 1.6, ValveArm: fromMM(38.1), Bend: fromDeg(c.bend), Square: true, Pushrod: fromMM(200), Lean: lean}
			l := r.linkage()
			_, z0 := l.push(0)
			x, z := l.push(math.Asin(1 / 38.1))
			z++ // with the pivot
			assert.InDelta(t, c.dz, z-z0, 1e-6)
			assert.InDelta(t, want, math.Hypot(x-l.tappetX, z-l.tappetZ)-200, 1e-5, "bend %v, lean %v", c.bend, lean)
		}
	}
}

// Ratio over the lever's angle with an upright pushrod: R cos(theta)/cos(theta
// + gamma), R 1.6, gamma 15. Derived; tolerance 1e-5.
func TestRatioCurve(t *testing.T) {
	for theta, want := range map[float64]float64{-10: 1.58171, -5: 1.61850, 0: 1.65644, 5: 1.69621, 10: 1.73858} {
		r := Rocker{Ratio: 1.6, ValveArm: fromMM(38.1), Bend: 15 * measure.Degree, ClosedAngle: fromDeg(theta), Square: theta == 0, Pushrod: fromMM(200)}
		l := r.linkage()
		const d = 1e-4
		assert.InDelta(t, want, (l.drop(d)-l.drop(-d))/(2*d), 1e-5, "theta %v", theta)
	}
}

func TestLinkageKeepsThePushrodsLength(t *testing.T) {
	r := Rocker{Ratio: 1.6, ValveArm: fromMM(38.1), Bend: 12 * measure.Degree, Lean: 7 * measure.Degree}.withDefaults(fromMM(7))
	l := r.linkage()
	assert.InDelta(t, l.closed, l.theta(0), 1e-12)
	assert.InDelta(t, 0, l.drop(0), 1e-12)
	for _, lobe := range []float64{0.5, 3, 7} {
		x, z := l.push(l.theta(lobe))
		assert.InDelta(t, l.rod, math.Hypot(x-l.tappetX, z-l.tappetZ-lobe), 1e-9)
	}
	// Straight, upright and with a long rod, the default stands square at half
	// lift, and the lift is then R times the lobe's.
	plain := Rocker{Ratio: 1.6, ValveArm: 1500 * measure.Thou, Pushrod: 1000 * measure.Inch}
	assert.InDelta(t, 0.448*25.4, plain.Tip(280*measure.Thou, 280*measure.Thou), 1e-3)
}

func TestValvesThatCannotBe(t *testing.T) {
	for says, v := range map[string]Valve{
		"it locks":     {Rocker: Rocker{ValveArm: 3 * measure.Millimetre}},
		"lobe lift":    {Lobe: Lobe{Lift: -1}},
		"a heel":       {Lobe: Lobe{RiseAngle: 170 * measure.Degree}},
		"small part":   {Lobe: Lobe{OpeningRamp: Ramp{Height: measure.Inch}}},
		"shorter than": {Lobe: Lobe{OpeningRamp: Ramp{Height: measure.Thou, Angle: 80 * measure.Degree}}},
		"no lift":      {Lash: measure.Inch},
		"above zero":   {Rocker: Rocker{Ratio: -1}},
	} {
		_, err := Scenario{Valve: v}.Play()
		require.ErrorContains(t, err, says, says)
	}
}
