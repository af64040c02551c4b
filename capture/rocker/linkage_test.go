package rocker

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// printed is the tolerance of outside values given to six decimals.
const printed = 1e-6

// Least tip sweep, lever square to the valve at half lift: a - sqrt(a^2 -
// (L/2)^2). Source: derived apart from this code from the right triangle,
// recomputed with sympy; the square-at-half-lift rule is common practice, no
// source.
func TestLeastSweep(t *testing.T) {
	for _, c := range []struct{ arm, lift, sweep float64 }{
		{1.500, 0.500, 0.020980},
		{1.500, 0.400, 0.013393},
		{1.600, 0.420, 0.013841},
		{1.470, 0.600, 0.030938},
		{1.700, 0.800, 0.047729},
		{40.0, 10.0, 0.313730},
	} {
		assert.InDelta(t, c.sweep, leastSweep(c.arm, c.lift), printed)
	}
}

// Off the optimum by e. Source: derived apart from this code, recomputed with
// scipy: a 1.5, L 0.5 in; width of the path, open against closed, lever angles.
func TestSweepOffTheOptimum(t *testing.T) {
	for _, c := range []struct{ e, width, difference, closed, full float64 }{
		{0, 0.020980, 0, -9.5941, 9.5941},
		{0.025, 0.025424, 0.008453, -8.6269, 10.5640},
		{0.050, 0.030306, 0.016913, -7.6623, 11.5370},
		{0.100, 0.041405, 0.033886, -5.7392, 13.4934},
		{0.150, 0.054317, 0.050980, -3.8226, 15.4660},
		{0.200, 0.069091, 0.068258, -1.9102, 17.4576},
		{0.250, 0.085786, 0.085786, 0, 19.4712},
		{0.300, 0.103638, 0.103638, 1.9102, 21.5102},
	} {
		// A straight rocker of ratio 1.6 whose tip is e off half lift when
		// square has its ends e(1 + 1/R) off level at half lift.
		q := Question{
			ValveArm: measure.FromInches(1.5), RockerRatio: 1.6, Lift: measure.FromInches(0.5),
			AdjusterBelowValve: new(measure.FromInches(-c.e * 1.625)),
		}
		a, err := Solve(q)
		require.NoError(t, err)
		assert.InDelta(t, c.width, a.Now.Sweep.Inches(), printed, "e %v", c.e)
		assert.InDelta(t, c.difference, a.Now.OpenVsClosed.Inches(), printed, "e %v", c.e)
		assert.InDelta(t, c.closed, a.Now.Closed.Angle.Degrees(), 6e-5, "e %v", c.e)
		assert.InDelta(t, c.full, a.Now.Full.Angle.Degrees(), 6e-5, "e %v", c.e)
	}
}

// Whole swing 2 asin(L/2a). Source: derived apart from this code.
func TestSwing(t *testing.T) {
	for _, c := range []struct{ arm, lift, swing float64 }{{1.5, 0.5, 19.1881}, {1.6, 0.42, 15.0837}} {
		a, err := Solve(Question{ValveArm: measure.FromInches(c.arm), RockerRatio: 1.6, Lift: measure.FromInches(c.lift)})
		require.NoError(t, err)
		assert.InDelta(t, c.swing, a.Now.Swing.Degrees(), 6e-5)
	}
}

// Raising the pivot by p with the valve end held: the adjuster's ball rises
// p(1 + 1/R) on a straight rocker, exactly, and p + b[sin(phi+delta) - sin
// delta] on one bent by delta. Source: derived apart from this code; a 1.5 in,
// R 1.6.
func TestBallRisesWithThePivot(t *testing.T) {
	for _, c := range []struct{ p, bend, rise float64 }{
		{0.050, 0, 0.081250}, {0.050, 5, 0.081086}, {0.050, 10, 0.080685}, {0.050, 15, 0.080050},
		{0.100, 0, 0.162500}, {0.100, 5, 0.162080}, {0.100, 10, 0.161188}, {0.100, 15, 0.159831},
	} {
		before := linkage{a: 1.5, b: 1.5 / 1.6, bend: c.bend * math.Pi / 180}
		after := before
		after.pz = c.p
		was, err := before.closed()
		require.NoError(t, err)
		is, err := after.closed()
		require.NoError(t, err)
		_, z0 := before.ball(was)
		_, z1 := after.ball(is)
		assert.InDelta(t, c.rise, z1-z0, printed, "p %v bend %v", c.p, c.bend)
	}
}

// Pushrod change for a pivot raised by 1 mm with a bent beam and a leaning
// pushrod. Source: derived apart from this code; a 38.1 mm, R 1.6, pushrod
// 200 mm: rise of the ball, pushrod change upright, and at 8 deg with the
// lifter's end inboard.
func TestPushrodChangeBentAndLeaning(t *testing.T) {
	for _, c := range []struct{ bend, rise, upright, leaning float64 }{
		{0, 1.625000, 1.62500, 1.60818},
		{10, 1.614080, 1.61411, 1.58243},
		{15, 1.601580, 1.60165, 1.56276},
		{20, 1.584502, 1.58462, 1.53874},
	} {
		for lean, want := range map[float64]float64{0: c.upright, 8: c.leaning} {
			l := linkage{a: 38.1, b: 38.1 / 1.6, bend: c.bend * math.Pi / 180}
			x, z := l.ball(0)
			s, cos := math.Sincos(lean * math.Pi / 180)
			tx, tz := x+200*s, z-200*cos
			l.pz = 1
			theta, err := l.closed()
			require.NoError(t, err)
			x1, z1 := l.ball(theta)
			assert.InDelta(t, c.rise, z1-z, printed)
			assert.InDelta(t, want, math.Hypot(x1-tx, z1-tz)-200, 1e-5, "bend %v lean %v", c.bend, lean)
		}
	}
}

// Pushrod change at 0.100 in of shim, straight beam R 1.6, 8.0 in rod: rise
// 0.162500 upright; at 5 and 10 deg of lean 0.161894 and 0.160080 with the
// ball's rise along the valve axis only. Source: derived apart from this code
// (root form). Here the ball also moves sideways by its arc, so that the check
// takes the sideways part out.
func TestPushrodChangeLeaning(t *testing.T) {
	for lean, want := range map[float64]float64{0: 0.162500, 5: 0.161894, 10: 0.160080} {
		s, c := math.Sincos(lean * math.Pi / 180)
		l := linkage{a: 1.5, b: 1.5 / 1.6}
		_, z := l.ball(0)
		l.pz = 0.1
		theta, err := l.closed()
		require.NoError(t, err)
		_, z1 := l.ball(theta)
		assert.InDelta(t, want, math.Hypot(8*s, 8*c+z1-z)-8, printed, "lean %v", lean)
	}
}

// Ratio curve with an upright pushrod: R cos(theta)/cos(theta+gamma). Source:
// derived apart from this code; R 1.6, gamma 15 deg. The formula holds for a
// pushrod along the lifter's axis, which a rod of great length comes to.
func TestRatioCurve(t *testing.T) {
	for theta, want := range map[float64]float64{-10: 1.58171, -5: 1.61850, 0: 1.65644, 5: 1.69621, 10: 1.73858} {
		l := linkage{a: 40, b: 25, bend: 15 * math.Pi / 180, rod: 1e9}
		l.tx, l.tz = -25*math.Cos(l.bend), 25*math.Sin(l.bend)-1e9
		got, err := l.ratio(theta * math.Pi / 180)
		require.NoError(t, err)
		assert.InDelta(t, want, got, 6e-6, "theta %v", theta)
	}
}

// drawBench draws a bench whose parts go together.
func drawBench(t *rapid.T) bench {
	angle := func(name string, most float64) float64 {
		return rapid.Float64Range(-most, most).Draw(t, name) * math.Pi / 180
	}
	b := bench{
		a:          rapid.Float64Range(20, 60).Draw(t, "a"),
		bend:       angle("bend", 20),
		lash:       rapid.Float64Range(0, 0.8).Draw(t, "lash"),
		rod:        rapid.Float64Range(100, 350).Draw(t, "rod"),
		rodLean:    angle("rod lean", 15),
		lifterLean: angle("lifter lean", 15),
		standLean:  angle("stand lean", 10),
	}
	b.b = b.a / rapid.Float64Range(1, 2).Draw(t, "ratio")
	b.lift = b.a * rapid.Float64Range(0.1, 0.4).Draw(t, "lift of arm")
	b.below = b.a * rapid.Float64Range(-0.3, 0.3).Draw(t, "below of arm")
	return b
}

func TestForwardUndoesInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBench(t)
		s, err := solve(b)
		require.NoError(t, err)
		closed, err := s.now.closed()
		require.NoError(t, err)
		full, err := s.now.atLift(s.lift)
		require.NoError(t, err)
		want := rapid.Float64Range(closed, full).Draw(t, "theta")
		lobe, err := s.now.lobe(want)
		require.NoError(t, err)
		got, err := s.now.theta(lobe)
		require.NoError(t, err)
		assert.InDelta(t, want, got, 1e-10)

		// On the heel the lobe's lift is nothing and the lash is open.
		heel, err := s.now.theta(0)
		require.NoError(t, err)
		assert.InDelta(t, -b.lash, s.now.lift(heel), 1e-9)
		// At the nose the valve has its lift.
		nose, err := s.now.theta(s.lobe)
		require.NoError(t, err)
		assert.InDelta(t, b.lift, s.now.lift(nose), 1e-9)
	})
}

// The ratio is the slope of lift against lobe lift: against a central
// difference of the forward way, which shares no line with it.
func TestRatioIsTheSlope(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, err := solve(drawBench(t))
		require.NoError(t, err)
		lobe := s.lobe * rapid.Float64Range(0.1, 0.9).Draw(t, "of the lobe")
		theta, err := s.now.theta(lobe)
		require.NoError(t, err)
		got, err := s.now.ratio(theta)
		require.NoError(t, err)
		const step = 1e-4
		high, err := s.now.theta(lobe + step)
		require.NoError(t, err)
		low, err := s.now.theta(lobe - step)
		require.NoError(t, err)
		slope := (s.now.lift(high) - s.now.lift(low)) / (2 * step)
		assert.InEpsilon(t, slope, got, 1e-6)
	})
}

// What squared gives is square: same lobe, same lash, same place of the lifter,
// the pivot moved along the stand only.
func TestSquaredIsSquare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBench(t)
		s, err := solve(b)
		require.NoError(t, err)
		sq := s.square
		full, err := sq.theta(s.lobe)
		require.NoError(t, err)
		heel, err := sq.theta(0)
		require.NoError(t, err)
		closed, err := sq.closed()
		require.NoError(t, err)
		assert.InDelta(t, -b.lash, sq.lift(heel), 1e-9, "the lash stayed")
		assert.InDelta(t, -closed, full, 1e-9, "equal and opposite angles")
		half, err := sq.atLift(sq.lift(full) / 2)
		require.NoError(t, err)
		assert.InDelta(t, 0, half, 1e-9, "square at half lift")
		assert.InDelta(t, leastSweep(b.a, s.squareLift), s.squareSweep, 1e-9)
		assert.Equal(t, [2]float64{s.now.tx, s.now.tz}, [2]float64{sq.tx, sq.tz})
		moved := math.Hypot(sq.px-s.now.px, sq.pz-s.now.pz)
		assert.InDelta(t, math.Abs(s.raise), moved, 1e-9)
	})
}

// At one lift no pivot height marks the stem less than the square one, and the
// mark widens with every step away from it.
func TestSquareIsTheLeastSweep(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBench(t)
		least := leastSweep(b.a, b.lift)
		last := least
		for i := range 12 {
			off := float64(i) / 12 * b.a * 0.2
			for _, side := range []float64{1, -1} {
				half := math.Asin(side * off / b.a)
				l, err := fromBench(b, half, b.lift)
				require.NoError(t, err)
				sweep, err := l.sweepOver(b.lift)
				require.NoError(t, err)
				assert.GreaterOrEqual(t, sweep, last-1e-12, "off by %v", side*off)
				if i == 0 {
					assert.InDelta(t, least, sweep, 1e-12)
				}
				if side < 0 {
					last = sweep
				}
			}
		}
	})
}

func TestHalfAngleAgreesWithTheHeights(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBench(t)
		theta, err := halfAngle(b.a, b.b, b.bend, b.below)
		require.NoError(t, err)
		l := linkage{a: b.a, b: b.b, bend: b.bend}
		_, valve := l.tip(theta)
		_, adjuster := l.ball(theta)
		assert.InDelta(t, b.below, valve-adjuster, 1e-10)
	})
}

// A lobe lift in the question gives the valve lift that, put as a valve lift,
// gives that lobe lift.
func TestLiftFromLobeLift(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBench(t)
		s, err := solve(b)
		require.NoError(t, err)
		byLobe := b
		byLobe.byLobe, byLobe.lift = true, s.lobe
		back, err := solve(byLobe)
		require.NoError(t, err)
		assert.InDelta(t, b.lift, back.lift, 1e-9)
		assert.InDelta(t, s.raise, back.raise, 1e-9)
	})
}

func BenchmarkSolve(b *testing.B) {
	for _, byLobe := range []bool{false, true} {
		b.Run(fmt.Sprintf("byLobe=%v", byLobe), func(b *testing.B) {
			q := bench{a: 38.1, b: 27.2, bend: 0.1, below: 3.5, lift: 10.7, byLobe: byLobe, lash: 0.15, rod: 220, rodLean: 0.05, lifterLean: 0.03}
			if byLobe {
				q.lift = 7.7
			}
			for b.Loop() {
				if _, err := solve(q); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkAnswer(b *testing.B) {
	q := Question{RockerRatio: 1.4, Lift: measure.FromMillimetres(10.7), AdjusterBelowValve: new(measure.FromMillimetres(3.5))}
	for b.Loop() {
		if _, err := Solve(q); err != nil {
			b.Fatal(err)
		}
	}
}
