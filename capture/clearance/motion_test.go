package clearance_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/clearance"
	"lobescribe/capture/timing"
	"lobescribe/device/measure"
)

// cosine is a lift of top (1 + cos)/2 over span crank degrees, about 110.
func cosine(top, span float64) (points []timing.Point) {
	for a := 110 - span/2 - 20; a <= 110+span/2+20; a++ {
		y := 0.0
		if x := a - 110; math.Abs(x) < span/2 {
			y = top / 2 * (1 + math.Cos(2*math.Pi*x/span))
		}
		points = append(points, timing.Point{Angle: measure.FromDegrees(a), Lift: measure.FromMillimetres(y)})
	}
	return points
}

func inMotion(m clearance.MotionQuestion) clearance.SpringQuestion {
	return clearance.SpringQuestion{
		Loads:    []clearance.Load{{Height: 45 * measure.Millimetre, Load: 400}, {Height: 33 * measure.Millimetre, Load: 1000}}, // 50 N/mm
		SeatLoad: 400, Installed: 45 * measure.Millimetre, Lift: 12 * measure.Millimetre, Motion: &m,
	}
}

// A cosine lift has its largest deceleration at the nose, (top/2)(2 pi/span)^2 w^2,
// where the spring's load is largest; and F/(m |y”|) is least there (derived: F grows
// by k top/2 cos(phi), |y”| by cos(phi), so the seat's share makes the quotient grow
// away from the nose). With 12 mm over 240 crank degrees, F = 400 + 50*12 = 1000 N
// and m = 200 g: w^2 = 1000/(0.2 * 0.006 * 1.5^2), w = 608.6 rad/s, 5812 rev/min.
func TestMarginOfACosineLift(t *testing.T) {
	a, err := clearance.SolveSpring(inMotion(clearance.MotionQuestion{Curve: cosine(12, 240), Resolution: 10 * measure.Micrometre, Mass: 150, Rocker: 30, Spring: 60, Speed: 4000}))
	require.NoError(t, err)
	m := a.Motion
	require.NotNil(t, m)
	assert.InDelta(t, 200, m.Mass, 1e-9, "150 + 30 + 60/3")
	want := math.Sqrt(1000/(0.2*0.006*1.5*1.5)) * 30 / math.Pi
	assert.InDelta(t, want, m.UsedUp, 0.01*want)
	assert.InDelta(t, want, m.UsedUp, m.UsedUpU)
	assert.InDelta(t, 110, m.At.Degrees(), 12)
	// At 4000: 1000 - 0.2 * 0.0135 * (418.9)^2 = 526 N.
	w := 4000 * math.Pi / 30
	assert.InDelta(t, 1000-0.2*0.006*1.5*1.5*w*w, float64(*m.Margin), 15)
	assert.True(t, m.Verdict.Good())
	fast, err := clearance.SolveSpring(inMotion(clearance.MotionQuestion{Curve: cosine(12, 240), Resolution: 10 * measure.Micrometre, Mass: 150, Rocker: 30, Spring: 60, Speed: 7500}))
	require.NoError(t, err)
	assert.Equal(t, "fails", string(fast.Motion.Verdict.Kind))
}

// A cosine lift over a whole cycle has one harmonic, its first; over half a cycle
// its coefficients are those of a raised cosine pulse (Fourier series, derived):
// of 12 mm over 360 of 720 degrees the second is 12/4 = 3 mm.
func TestHarmonicsOfTheLift(t *testing.T) {
	a, err := clearance.SolveSpring(inMotion(clearance.MotionQuestion{Curve: cosine(12, 360), Mass: 150, Rocker: 30, Spring: 60, Resolution: measure.Micrometre}))
	require.NoError(t, err)
	m := a.Motion
	// k = 50 N/mm, 0.69 of 60 g: 1/2 sqrt(50000/0.0414) = 549.5 Hz; harmonic 5 at 120*549.5/5.
	assert.InDelta(t, 549.5, *m.Frequency, 0.1)
	for _, h := range m.Meets {
		assert.InDelta(t, 120*549.483/float64(h.Order), h.Speed, 1)
		if h.Order == 6 { // even ones above the second vanish
			assert.Less(t, h.Amplitude, 10*measure.Micrometre)
		}
	}
}

// The spring's own frequency against a chain: 400 masses on 401 springs between two
// walls, its lowest swing found by shooting from one wall to the other. No formula
// is shared.
func TestOwnFrequencyIsAChainsLowest(t *testing.T) {
	const n, k, mass = 400, 50_000.0, 0.06 * 0.69 // of 60 g what is in active coils
	each, stiff := mass/n, k*(n+1)
	end := func(f float64) float64 { // where the far wall would be
		w2 := math.Pow(2*math.Pi*f, 2)
		before, at := 0.0, 1.0
		for range n {
			before, at = at, 2*at-before-each*w2/stiff*at
		}
		return at
	}
	low, high := 10.0, 600.0 // only the lowest lies between
	require.Positive(t, end(low))
	require.Negative(t, end(high))
	for range 60 {
		mid := (low + high) / 2
		if end(mid) > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	a, err := clearance.SolveSpring(inMotion(clearance.MotionQuestion{Curve: cosine(12, 240), Mass: 150, Rocker: 30, Spring: 60, Resolution: measure.Micrometre}))
	require.NoError(t, err)
	assert.InDelta(t, low, *a.Motion.Frequency, 0.003*low)
}

func TestMotionAsksForWhatIsMissing(t *testing.T) {
	for field, m := range map[string]clearance.MotionQuestion{
		"motion.curve":             {Mass: 150},
		"motion.mass_g":            {Curve: cosine(12, 240)},
		"motion.speed_rpm":         {Curve: cosine(12, 240), Mass: 150, Speed: -1},
		"motion.inner_seat_load_n": {Curve: cosine(12, 240), Mass: 150, InnerRate: 10},
		"motion.resolution_mm":     {Curve: cosine(12, 240), Mass: 150, Resolution: -1},
	} {
		_, err := clearance.SolveSpring(inMotion(m))
		assert.ErrorContains(t, err, field)
	}
	q := inMotion(clearance.MotionQuestion{Curve: cosine(12, 240), Mass: 150})
	q.SeatLoad, q.Installed = 0, 0
	_, err := clearance.SolveSpring(q)
	assert.ErrorContains(t, err, "installed_height_mm")
	_, err = clearance.SolveSpring(inMotion(clearance.MotionQuestion{Curve: cosine(0.001, 240), Mass: 150}))
	assert.ErrorContains(t, err, "motion.curve")
}
