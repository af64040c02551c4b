package timing

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

const data = "../../testdata/timing"

// columns reads a CSV file with a header row.
func columns(t testing.TB, name string) map[string][]float64 {
	t.Helper()
	f, err := os.Open(filepath.Join(data, name))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 20, "the file must hold data")
	out := map[string][]float64{}
	for _, r := range rows[1:] {
		for i, field := range r {
			v, err := strconv.ParseFloat(field, 64)
			require.NoError(t, err)
			out[rows[0][i]] = append(out[rows[0][i]], v)
		}
	}
	return out
}

func points(degs []float64, lift []float64, unit measure.Length) []Point {
	out := make([]Point, len(degs))
	for i := range out {
		out[i] = Point{measure.FromDegrees(degs[i]), measure.Length(math.Round(lift[i] * float64(unit)))}
	}
	return out
}

func synthetic(t testing.TB, name, column string, o Options) *Curve {
	c := columns(t, name)
	o.TDCU = measure.Microdegree // a table's top dead centre is exact
	curve, err := FromPoints(points(c["crank_deg_ATDC"], c[column], measure.Inch), o)
	require.NoError(t, err)
	return curve
}

// True answers of the 3-4-5 rise and fall of 0.420 in (derived, by root
// finding to 1e-12): checking lift in inches, opens and closes ATDC.
var truth = map[string]struct {
	nose, area float64 // degrees, in·deg
	events     [][3]float64
	shape      func(deg float64) float64
}{
	"sym": {105, 48.30, [][3]float64{
		{0.006, 3.788584, 206.211416}, {0.020, 11.371260, 198.628740}, {0.050, 20.382209, 189.617791},
		{0.100, 30.466170, 179.533830}, {0.200, 46.039054, 163.960946}, {0.210, 47.5, 162.5},
	}, lobe345(115, 115)},
	"asym": {100, 49.35, [][3]float64{
		{0.006, 3.189081, 210.012408}, {0.020, 10.442075, 201.770369}, {0.050, 19.061243, 191.975860},
		{0.100, 28.706772, 181.015032}, {0.200, 43.602573, 164.087985}, {0.210, 45, 162.5},
	}, lobe345(110, 125)},
}

// lobe345 is that shape: lift in mm at crank degrees ATDC.
func lobe345(rise, fall float64) func(float64) float64 {
	s := laws()[2].s
	return func(deg float64) float64 {
		x := (deg + 10) / rise
		if deg > rise-10 {
			x = (rise + fall - 10 - deg) / fall
		}
		return 0.420 * 25.4 * s(min(max(x, 0), 1))
	}
}

// From points 5 degrees apart the crossings lie within: exact column, spline
// 0.001 (a natural spline was tried in scipy, its largest error was that),
// linear 0.41; rounded to 0.0005 in, spline 0.15 and at 0.050 in and above
// 0.04, linear 0.29. Half lift was not among the lifts tried.
func TestTypedPointsGiveTheTrueAnswers(t *testing.T) {
	for name, want := range truth {
		for _, c := range []struct {
			column     string
			method     Method
			low, high  float64 // tolerance under and from 0.050 in
			resolution measure.Length
		}{
			{"lift_in_exact", Spline, 0.0015, 0.0015, 0},
			{"lift_in_exact", Linear, 0.42, 0.42, 0},
			{"lift_in_rounded_0.0005", Spline, 0.15, 0.04, measure.Thou / 2},
			{"lift_in_rounded_0.0005", Linear, 0.29, 0.29, measure.Thou / 2},
		} {
			curve := synthetic(t, "synthetic-345-"+name+".csv", c.column, Options{Valve: Intake, Method: c.method, Resolution: c.resolution})
			for _, e := range want.events {
				tol := c.high
				if e[0] < 0.050 {
					tol = c.low
				}
				p, err := curve.Passage(measure.FromInches(e[0]), AtValve)
				require.NoError(t, err)
				require.NotNil(t, p.Span)
				assert.InDelta(t, e[1], p.Opens.Angle.Degrees(), tol, "%s %s %s opens at %g", name, c.column, c.method, e[0])
				assert.InDelta(t, e[2], p.Closes.Angle.Degrees(), tol, "%s %s %s closes at %g", name, c.column, c.method, e[0])
				assert.InDelta(t, e[2]-e[1], p.Span.Duration.Degrees(), 2*tol)
				assert.InDelta(t, (e[1]+e[2])/2, p.Span.Centreline.Degrees(), tol)
				// The error must lie within what is claimed; points at half lift
				// hit the crossing exactly, and there is nothing to claim.
				assert.LessOrEqual(t, math.Abs(e[1]-p.Opens.Angle.Degrees()), 1.1*p.Opens.U.Degrees()+1e-5, "%s %s %s at %g", name, c.column, c.method, e[0])
				assert.LessOrEqual(t, math.Abs(e[2]-p.Closes.Angle.Degrees()), 1.1*p.Closes.U.Degrees()+1e-5, "%s %s %s at %g", name, c.column, c.method, e[0])
				if c.method == Spline {
					assert.Less(t, p.Opens.U.Degrees(), 1.0)
				}
			}
			mmDeg, _ := curve.area()
			assert.InEpsilon(t, want.area*25.4, mmDeg, 0.002)
		}
	}
}

// The middle between the events and the highest point are two things.
func TestCentrelineAndNoseAreKeptApart(t *testing.T) {
	curve := synthetic(t, "synthetic-345-asym.csv", "lift_in_exact", Options{Valve: Intake})
	n := curve.Nose()
	// A 3-4-5 nose has no curvature: a quarter of a degree from it the lift is
	// lower by 10·h·(0.25/125)³, which is under a nanometre, and so beyond what
	// the points hold.
	const tol = 0.25
	assert.InDelta(t, 100, n.Angle.Degrees(), tol)
	assert.InDelta(t, 0.420, n.MaxLift.Inches(), 1e-6)
	assert.LessOrEqual(t, n.MaxLift-curve.At(deg(100)), 2*measure.Nanometre)
	for lift, mid := range map[float64]float64{0.006: 106.600744, 0.020: 106.106222, 0.050: 105.518552, 0.100: 104.860902, 0.200: 103.845279, 0.210: 103.75} {
		p, err := curve.Passage(measure.FromInches(lift), "")
		require.NoError(t, err)
		assert.InDelta(t, mid, p.Span.Centreline.Degrees(), 0.002)
		assert.InDelta(t, mid-100, p.Span.Asymmetry.Degrees(), tol)
	}
	// 0.370 in, 0.050 below the nose: the middle still leans to the lazy flank.
	require.NotNil(t, n.EqualDrop)
	assert.Greater(t, n.EqualDrop.Degrees(), 101.0)
	assert.Less(t, n.EqualDrop.Degrees(), 103.0)

	sym := synthetic(t, "synthetic-345-sym.csv", "lift_in_rounded_0.0005", Options{Valve: Intake, Resolution: measure.Thou / 2})
	ns := sym.Nose()
	assert.InDelta(t, 105, ns.Angle.Degrees(), ns.U.Degrees())
	assert.Greater(t, ns.U.Degrees(), 2.0, "a rounded nose is flat over degrees; to claim more would be false")
	assert.InDelta(t, 105, ns.EqualDrop.Degrees(), 0.1)
	assert.Less(t, ns.EqualDropU.Degrees(), 0.5)
}

// The intake valve of the octane-rating engine; source in the data folder's
// README. Linear interpolation gives the figures below; the paper's own table
// at 0.008 in, as quoted, says -344 and -152.
func TestOctaneRatingEngine(t *testing.T) {
	c := columns(t, "cfr-intake-lift.csv")
	pts := points(c["angle_deg"], c["lift_mm"], measure.Millimetre)
	for method, tol := range map[Method]float64{Linear: 0.001, Spline: 0.12} {
		curve, err := FromPoints(pts, Options{Valve: Intake, Method: method})
		require.NoError(t, err)
		for _, e := range []struct{ mm, opens, closes, duration, tol float64 }{
			{0.006 * 25.4, -345.716, -150.986, 194.73, 0.0011},
			{0.008 * 25.4, -344.188, -152.921, 191.27, 0.002},
			{1, -332.995, -165.350, 167.65, 0.006},
			{0.050 * 25.4, -330.374, -168.194, 162.18, 0.0011},
			{6.0022 / 2, -313.418, -184.738, 128.68, 0.001},
		} {
			p, err := curve.Passage(measure.FromMillimetres(e.mm), "")
			require.NoError(t, err)
			// The file counts from firing, timing from the overlap.
			assert.InDelta(t, e.opens+360, p.Opens.Angle.Degrees(), tol, "%s opens at %g mm", method, e.mm)
			assert.InDelta(t, e.closes+360, p.Closes.Angle.Degrees(), tol, "%s closes at %g mm", method, e.mm)
			assert.InDelta(t, e.duration, p.Span.Duration.Degrees(), tol+e.tol)
		}
		n := curve.Nose()
		assert.InDelta(t, 6.0022, n.MaxLift.Millimetres(), 0.0005)
		assert.InDelta(t, -246+360, n.Angle.Degrees(), 1)
		// ASTM D2699 A2.1.2 wants 0.054 in at 30 ± 2 ATDC (as quoted); the
		// data give 30.6.
		p, err := curve.Passage(54*measure.Thou, "")
		require.NoError(t, err)
		assert.InDelta(t, 30.6, p.Opens.Angle.Degrees(), 0.1)
		assert.Equal(t, "30.6 ATDC", p.Opens.Says)
	}
}

// Three-arc cam with a flat follower, a classic of theory of machines:
// derived, and agreed by independent code. Base radius 15, flank 60, nose 4,
// rise 8 mm; cam degrees from the nose.
func threeArc(t float64) float64 {
	const rb, rf, rn, rise = 15., 60., 4., 8.
	const c = rb + rise - rn
	t0, junction := 63.985634*math.Pi/180, 46.232843*math.Pi/180
	switch t = math.Abs(t) * math.Pi / 180; {
	case t < junction:
		return c*math.Cos(t) + rn - rb
	case t < t0:
		return (rf - rb) * (1 - math.Cos(t0-t))
	}
	return 0
}

func TestThreeArcCam(t *testing.T) {
	for deg, want := range map[float64]float64{10: 7.711347, 20: 6.854160, 30: 5.454483, 40: 3.554844, 46.232843: 2.142857, 50: 1.333964, 60: 0.108832} {
		assert.InDelta(t, want, threeArc(deg), 1e-6)
	}
	var pts []Point
	for i := -150; i <= 150; i++ { // crank degrees from an intake nose at 110
		pts = append(pts, Point{measure.FromDegrees(float64(110 + i)), measure.FromMillimetres(threeArc(float64(i) / 2))})
	}
	c, err := FromPoints(pts, Options{Valve: Intake})
	require.NoError(t, err)
	for mm, duration := range map[float64]float64{0.5: 221.74622, 1: 207.5366, 2: 187.3577, 4: 151.4546} {
		p, err := c.Passage(measure.FromMillimetres(mm), "")
		require.NoError(t, err)
		assert.InDelta(t, duration, p.Span.Duration.Degrees(), 0.002, "at %g mm", mm)
		assert.InDelta(t, 0, p.Span.Asymmetry.Degrees(), 0.01)
	}
}

// Even polynomial lobes, s = 1 + Σ C x^p (choice of powers from memory;
// numbers recomputed).
func TestEvenPolynomialLobes(t *testing.T) {
	for _, l := range []struct {
		powers, c  []float64
		at         map[float64]float64
		half, mean float64
	}{
		{[]float64{2, 10, 18, 26}, []float64{-195. / 128, 117. / 128, -65. / 128, 15. / 128},
			map[float64]float64{.25: .904786028, .5: .620031329, .75: .19174372, .9: .01608116}, .574941, .552897},
		{[]float64{2, 10, 12, 14}, []float64{-7. / 4, 21. / 4, -7, 5. / 2},
			map[float64]float64{.25: .890629599, .5: .566070557, .75: .134081358, .9: .007974867}, .538254, .522145},
	} {
		s := func(x float64) float64 {
			if math.Abs(x) > 1 {
				return 0
			}
			y := 1.0
			for i, p := range l.powers {
				y += l.c[i] * math.Pow(math.Abs(x), p)
			}
			return y
		}
		for x, want := range l.at {
			assert.InDelta(t, want, s(x), 1e-8)
		}
		const side, lift = 140., 12.
		var pts []Point
		for i := -160; i <= 160; i += 2 {
			pts = append(pts, Point{measure.FromDegrees(float64(i - 110)), measure.FromMillimetres(lift * s(float64(i)/side))})
		}
		c, err := FromPoints(pts, Options{Valve: Exhaust})
		require.NoError(t, err)
		tm, err := c.Timing(nil, "")
		require.NoError(t, err)
		assert.InDelta(t, 2*side*l.half, tm.HalfLift.Span.Duration.Degrees(), 0.002)
		assert.InEpsilon(t, 2*side*l.mean*lift, tm.Area, 1e-4)
		assert.InDelta(t, -110, tm.Nose.Angle.Degrees(), 0.01)
		assert.Equal(t, "110 BTDC", tm.Nose.Says)
	}
}

// Typed lifts that scatter by more than they were rounded: their scatter is found, goes
// into the ± and the nose is fitted. The highest of them is too high by about as much as
// they scatter. The lobe is a power of a sine, which is no polynomial.
func TestTypedPointsThatScatter(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 7))
	const scatter, draws = 0.012, 60
	lobe := func(x float64) float64 { return 10 * math.Pow(math.Cos(math.Pi*(x-108)/250), 2.4) }
	var off float64
	covered := 0
	for range draws {
		var points []Point
		for x := -10.0; x <= 226; x += 2 {
			points = append(points, Point{Angle: measure.FromDegrees(x), Lift: measure.FromMillimetres(math.Round((lobe(x)+scatter*r.NormFloat64())/0.01) * 0.01)})
		}
		c, err := FromPoints(points, Options{Resolution: 10 * measure.Micrometre})
		require.NoError(t, err)
		n := c.Nose()
		off += n.MaxLift.Millimetres() - 10
		if math.Abs(n.MaxLift.Millimetres()-10) <= n.MaxLiftU.Millimetres() {
			covered++
		}
	}
	assert.InDelta(t, 0, off/draws, 0.003, "no bias towards the highest reading")
	assert.GreaterOrEqual(t, covered, draws*85/100)
}
