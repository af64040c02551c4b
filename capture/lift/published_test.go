package lift_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// played turns lift in mm against crank angle into a trace, the crank turning
// evenly at so many degrees a second, read at a rate by an indicator of a step
// whose reading falls as the valve opens (sign -1) or grows.
func played(liftAt func(crank float64) float64, from, to, speed, rate float64, step measure.Length, sign float64) measure.Trace {
	tr := measure.Trace{Resolution: step}
	for i := 0; ; i++ {
		t := float64(i) / rate
		crank := from + speed*t
		if crank > to {
			return tr
		}
		counts := math.Round(sign * liftAt(crank) * 1e6 / float64(step))
		tr.Readings = append(tr.Readings, measure.Reading{
			At:    measure.Stamp(math.Round(t * 1e6)),
			Lift:  measure.Length(counts) * step,
			Angle: measure.FromDegrees(crank),
			Has:   measure.HasLift | measure.HasAngle,
		})
	}
}

// A real engine: the intake valve of the ASTM octane-rating (CFR) engine, SAE
// 2018-01-0848, Fig. 3 (accepted manuscript OSTI 1501884), as digitised in
// public. Linear interpolation of the figure's points gives the peak 6.0022 mm
// near -246 degrees and half lift at -313.418 and -184.738.
func TestRealEngine(t *testing.T) {
	crank, mm := readCurve(t, "../../testdata/capture/cfr-intake-lift.csv")
	at := func(c float64) float64 {
		if c <= crank[0] || c >= crank[len(crank)-1] {
			return 0
		}
		i := int(math.Floor(c - crank[0]))
		return mm[i] + (c-crank[i])*(mm[i+1]-mm[i])
	}
	for _, sign := range []float64{1, -1} {
		for _, c := range []struct {
			speed, rate float64
			step        measure.Length
		}{{30, 50, 1000}, {60, 50, 1270}, {60, 100, 10_000}, {20, 20, 12_700}} {
			f, err := lift.Analyse(played(at, -420, -20, c.speed, c.rate, c.step, sign), lift.Options{})
			require.NoError(t, err)
			require.Len(t, f.Openings, 1, "%+v", c)
			o := f.Openings[0]
			if c.step < 2000 {
				// The two highest points are 6.0022 at -246 and 6.0021 at -245. A step
				// of 0.01 mm is as high as the three degrees about the nose.
				assert.InDelta(t, -245.5, o.NoseAngle.Degrees(), 0.3, "%+v", c)
			}
			assert.InDelta(t, -313.418, o.OpeningHalf.Angle.Degrees(), 0.3, "%+v", c)
			assert.InDelta(t, -184.738, o.ClosingHalf.Angle.Degrees(), 0.3, "%+v", c)
			assert.InDelta(t, 6.0022, o.MaxLift.Millimetres(), 1.5*c.step.Millimetres(), "%+v", c)
			assert.Empty(t, f.Faults, "%+v", c)
		}
	}
}

// The bare curve, as somebody would hand it over: no rest on the heel, one
// reading a degree.
func TestRealEngineAsPublished(t *testing.T) {
	crank, mm := readCurve(t, "../../testdata/capture/cfr-intake-lift.csv")
	var tr measure.Trace
	for i := range crank {
		tr.Readings = append(tr.Readings, measure.Reading{At: measure.Stamp(i) * 20_000, Lift: measure.FromMillimetres(mm[i]), Angle: measure.FromDegrees(crank[i]), Has: measure.HasLift | measure.HasAngle})
	}
	f, err := lift.Analyse(tr, lift.Options{})
	require.NoError(t, err)
	require.Len(t, f.Openings, 1)
	assert.InDelta(t, -313.418, f.Openings[0].OpeningHalf.Angle.Degrees(), 0.3)
	assert.InDelta(t, -184.738, f.Openings[0].ClosingHalf.Angle.Degrees(), 0.3)
	assert.InDelta(t, 6.0022, f.MaxLift.Millimetres(), 0.003)
}

func readCurve(t *testing.T, path string) (x, y []float64) {
	t.Helper()
	file, err := os.Open(path)
	require.NoError(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	for _, row := range rows[1:] {
		a, err := strconv.ParseFloat(row[0], 64)
		require.NoError(t, err)
		b, err := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err)
		x, y = append(x, a), append(y, b)
	}
	require.Len(t, x, 248)
	return x, y
}

// The handbook: rise h over beta by the cycloidal and the 3-4-5 law, dwell,
// rise, dwell (Norton, Cam Design & Mfg Handbook; Shigley/Uicker: from memory).
// Both laws pass half of their rise at half of beta, exactly.
func TestHandbookLaws(t *testing.T) {
	laws := map[string]func(x float64) float64{
		"cycloidal": func(x float64) float64 { return x - math.Sin(2*math.Pi*x)/(2*math.Pi) },
		"3-4-5":     func(x float64) float64 { return x * x * x * (10 + x*(-15+6*x)) },
	}
	for name, law := range laws {
		for _, beta := range [][2]float64{{115, 115}, {110, 125}} { // crank degrees up and down
			at := func(c float64) float64 {
				switch {
				case c <= 0 || c >= beta[0]+beta[1]:
					return 0
				case c < beta[0]:
					return 10.668 * law(c/beta[0])
				}
				return 10.668 * law((beta[0]+beta[1]-c)/beta[1])
			}
			f, err := lift.Analyse(played(at, -100, 340, 45, 50, 12_700, -1), lift.Options{})
			require.NoError(t, err)
			require.Len(t, f.Openings, 1, name)
			o := f.Openings[0]
			assert.InDelta(t, beta[0]/2, o.OpeningHalf.Angle.Degrees(), 0.3, name)
			assert.InDelta(t, beta[0]+beta[1]/2, o.ClosingHalf.Angle.Degrees(), 0.3, name)
			assert.InDelta(t, 10.668, o.MaxLift.Millimetres(), 1.5*0.0127, name)
		}
	}
}

// The simulator's own lobes give their half-lift angles back.
func TestSimulatedHandbookLobe(t *testing.T) {
	for _, law := range []simulator.Law{simulator.Cycloidal, simulator.Polynomial345} {
		s := simulator.Scenario{
			Valve:     simulator.Valve{Lobe: simulator.Lobe{Rise: law, RiseAngle: 57_500_000, FallAngle: 62_500_000}},
			Indicator: simulator.Indicator{Rate: 50},
			Encoder:   &simulator.Encoder{},
		}
		ses, err := s.Play()
		require.NoError(t, err)
		f := analysed(ses.Trace)
		require.Len(t, f.Openings, 3)
		for _, o := range f.Openings {
			// A plain rocker ratio leaves half lift at half of the rise's angle:
			// 57.5 and 62.5 crank degrees from the nose.
			nose := ses.Truth.Whole()[0].NoseAngle.Degrees()
			opening := math.Mod(o.OpeningHalf.Angle.Degrees()-nose+7200+360, 720) - 360
			closing := math.Mod(o.ClosingHalf.Angle.Degrees()-nose+7200+360, 720) - 360
			assert.InDelta(t, -57.5, opening, 0.3)
			assert.InDelta(t, 62.5, closing, 0.3)
		}
	}
}

// The trade: 4 turns of a 0.100 in dial and 0.020 is 0.420; half is 0.210, that
// is two turns and 0.010 back from the nose (common practice, no source).
func TestNeedleCounting(t *testing.T) {
	turns := func(n int, rest measure.Length) measure.Length { return measure.Length(n)*measure.Inch/10 + rest }
	require.Equal(t, 420*measure.Thou, turns(4, 20*measure.Thou))
	at := func(c float64) float64 {
		x := min(max(1-math.Abs(c)/120, 0), 1)
		return turns(4, 20*measure.Thou).Millimetres() * x * x * x * (10 + x*(-15+6*x))
	}
	f, err := lift.Analyse(played(at, -200, 200, 30, 50, measure.Thou/2, 1), lift.Options{})
	require.NoError(t, err)
	assert.InDelta(t, float64(420*measure.Thou), float64(f.MaxLift), float64(measure.Thou)/4)
	assert.InDelta(t, float64(turns(2, 10*measure.Thou)), float64(f.HalfLift), float64(measure.Thou)/4)
	o := f.Openings[0]
	assert.InDelta(t, float64(o.Heel+o.MaxLift-turns(2, 10*measure.Thou)), float64(o.ClosingHalf.Reading), float64(measure.Thou)/4, "so far back from the nose")
}
