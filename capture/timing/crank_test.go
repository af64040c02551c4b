package timing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

func inches(v float64) measure.Length { return measure.FromInches(v) }
func mm(v float64) measure.Length     { return measure.FromMillimetres(v) }
func deg(v float64) measure.Angle     { return measure.FromDegrees(v) }

// Heywood, Internal Combustion Engine Fundamentals, eqs 2.4-2.6 and 2.11 (from
// memory; numbers of the equations unchecked). Two forms of the formula agreed
// to 1e-6, which is the tolerance here.
func TestPistonTravel(t *testing.T) {
	in, metric := Crank{inches(3.48), inches(5.70)}, Crank{mm(86), mm(143)}
	for a, want := range map[float64][2]float64{
		5: {0.008639, 0.212746}, 10: {0.034448, 0.848344}, 710: {0.034448, 0.848344}, 15: {0.077107, 1.898922},
		30: {0.299902, 7.386405}, 45: {0.644008, 15.864311}, 60: {1.072792, 26.433893},
		90: {2.012072, 49.618183}, 120: {2.812792, 69.433893}, 150: {3.313670, 81.864590}, 180: {3.480000, 86.000000},
	} {
		assert.InDelta(t, want[0], in.Travel(deg(a)).Inches(), 1e-6, "at %g", a)
		assert.InDelta(t, want[0], in.Travel(deg(-a)).Inches(), 1e-6, "at %g", -a)
		assert.InDelta(t, want[1], metric.Travel(deg(a)).Millimetres(), 1e-6, "at %g", a)
	}
	// Piston speed over its mean: largest, and where.
	for k, want := range map[Crank][2]float64{in: {1.642877, 74.309}, metric: {1.640755, 74.500}} {
		most, at := 0.0, 0.0
		for a := 0.0; a < 180; a += 0.001 {
			if s := k.SpeedRatio(deg(a)); s > most {
				most, at = s, a
			}
		}
		assert.InDelta(t, want[0], most, 1e-5)
		assert.InDelta(t, want[1], at, 0.01)
	}
	assert.InDelta(t, 1.775608, in.VolumeRatio(10, deg(30)), 1e-6)
	assert.InDelta(t, 6.203635, in.VolumeRatio(10, deg(90)), 1e-6)
	assert.Equal(t, 10.0, in.VolumeRatio(10, deg(180)))
}

// The table of piston positions that handbooks of engineering print, as shares of the
// stroke, for a connecting rod of four cranks: these four are from memory, no book was
// at hand to give the page of.
func TestPistonPositionsAsPrinted(t *testing.T) {
	const printed = 0.00006 // four digits
	k := Crank{mm(100), mm(200)}
	for a, share := range map[float64]float64{30: 0.0827, 60: 0.2974, 90: 0.5635, 120: 0.7974} {
		assert.InDelta(t, share, k.Travel(deg(a)).Millimetres()/100, printed, "%g degrees", a)
		back, err := k.AngleAt(mm(100 * share))
		require.NoError(t, err)
		assert.InDelta(t, a, back.Degrees(), 0.02, "%g of the stroke", share)
	}
}

// An American owner's manual of 1922 gives its valve events in inches of
// piston travel (seen); stroke 4 in, rod 7 in (from memory). The angles are
// derived.
func TestEventsInPistonTravel(t *testing.T) {
	k := Crank{inches(4), inches(7)}
	evo, err := k.AngleBeforeBottom(inches(5. / 16))
	require.NoError(t, err)
	assert.InDelta(t, 37.859, evo.Degrees(), 0.001)
	ivo, err := k.AngleAt(inches(1. / 16))
	require.NoError(t, err)
	assert.InDelta(t, 12.674, ivo.Degrees(), 0.001)
	ivc, err := k.AngleBeforeBottom(inches(9. / 16))
	require.NoError(t, err)
	assert.InDelta(t, 50.813, ivc.Degrees(), 0.001)

	intake := FromEvents(Intake, measure.Millimetre, "", Typed{Opens: FromCard(Intake, Opens, -ivo), Closes: FromCard(Intake, Closes, ivc), U: 0})
	exhaust := FromEvents(Exhaust, measure.Millimetre, "", Typed{Opens: FromCard(Exhaust, Opens, evo), Closes: FromCard(Exhaust, Closes, 0), U: 0})
	assert.InDelta(t, 218.139, intake.Passages[0].Span.Duration.Degrees(), 0.001)
	assert.InDelta(t, 217.859, exhaust.Passages[0].Span.Duration.Degrees(), 0.001)
	assert.InDelta(t, -12.674, Pairs(intake, exhaust)[0].Overlap.Degrees(), 0.001)
	assert.Equal(t, "TDC", exhaust.Passages[0].Closes.Says)
	assert.Equal(t, "12.7 ATDC", intake.Passages[0].Opens.Says)
}

func TestCrankThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stroke := rapid.Float64Range(20, 300).Draw(t, "stroke")
		k := Crank{mm(stroke), mm(stroke * rapid.Float64Range(1.2, 4).Draw(t, "rod over stroke"))}
		require.NoError(t, k.Check())
		a := rapid.Float64Range(0.5, 179.5).Draw(t, "angle")
		s := k.Travel(deg(a))
		back, err := k.AngleAt(s)
		require.NoError(t, err)
		// A nanometre of travel is this many degrees there.
		require.InDelta(t, a, back.Degrees(), 2e-6+2e-6/math.Abs(k.slope(a)))
		// The slope is the travel's derivative.
		const h = 1e-4
		require.InDelta(t, (k.travel(a+h)-k.travel(a-h))/(2*h), k.slope(a), 1e-6*stroke)
		// Twice the engine, twice the travel.
		double := Crank{2 * k.Stroke, 2 * k.Rod}
		require.InDelta(t, 2*k.travel(a), double.travel(a), 1e-9*stroke)
	})
}

func TestCrankSaysWhatIsWrong(t *testing.T) {
	assert.ErrorContains(t, Crank{0, mm(100)}.Check(), "stroke_mm")
	assert.ErrorContains(t, Crank{mm(100), mm(50)}.Check(), "rod_mm")
	_, err := Crank{mm(86), mm(143)}.AngleAt(mm(87))
	assert.ErrorContains(t, err, "stroke")
	_, err = Crank{mm(86), mm(143)}.AngleBeforeBottom(mm(-1))
	assert.ErrorContains(t, err, "stroke")
}
