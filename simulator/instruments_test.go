package simulator

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

func play(t *testing.T, s Scenario) *Session {
	t.Helper()
	session, err := s.Play()
	require.NoError(t, err)
	return session
}

// readingAt returns the first reading at or after a stamp.
func (s *Session) readingAt(at measure.Stamp) measure.Reading {
	for _, r := range s.Trace.Readings {
		if r.At >= at {
			return r
		}
	}
	return measure.Reading{}
}

func TestDirectionOfTheSpindle(t *testing.T) {
	out := play(t, Scenario{Openings: 1, Indicator: Indicator{Preload: measure.Inch / 10}})
	in := play(t, Scenario{Openings: 1, Indicator: Indicator{Preload: measure.Inch / 10, SpindleIn: true}})
	nose := out.Truth.Openings[0].Nose
	assert.Equal(t, (100-448)*measure.Thou, out.Truth.ShownAt(nose), "over a retainer it runs out")
	assert.Equal(t, (100+448)*measure.Thou, in.Truth.ShownAt(nose))
	assert.Equal(t, 100*measure.Thou, in.Truth.Openings[0].Heel)
	assert.Equal(t, 448*measure.Thou, out.Truth.Openings[0].ShownLift)
}

func TestEndOfTravelIsFlat(t *testing.T) {
	s := play(t, Scenario{Openings: 1, Indicator: Indicator{SpindleIn: true, TravelLeft: 400 * measure.Thou}})
	flat := 0
	for _, r := range s.Trace.Readings {
		require.LessOrEqual(t, r.Lift, 400*measure.Thou)
		if r.Lift == 400*measure.Thou {
			flat++
		}
	}
	assert.Greater(t, flat, 20)
	assert.Equal(t, 400*measure.Thou, s.Truth.Openings[0].ShownLift)
	assert.Equal(t, 448*measure.Thou, s.Truth.Openings[0].MaxLift)
}

func TestNoContactLosesTheFirstLift(t *testing.T) {
	s := play(t, Scenario{Openings: 1, Indicator: Indicator{SpindleIn: true, NoContact: 30 * measure.Thou}})
	o := s.Truth.Openings[0]
	assert.Equal(t, 418*measure.Thou, o.ShownLift)
	for _, r := range s.Trace.Readings {
		if lift := s.Truth.LiftAt(r.At); lift < 29*measure.Thou {
			require.Zero(t, r.Lift)
		}
	}
}

// A plunger leaning by phi on a flat face square to the motion moves by
// 1/cos(phi) of the lift: 5, 10, 15, 20 degrees read 0.3820, 1.5427, 3.5276,
// 6.4178 % high. Derived (geometry).
func TestCosineError(t *testing.T) {
	for lean, percent := range map[measure.Angle]float64{5: 0.3820, 10: 1.5427, 15: 3.5276, 20: 6.4178} {
		s := play(t, Scenario{Openings: 1, Indicator: Indicator{Lean: lean * measure.Degree}})
		o := s.Truth.Openings[0]
		assert.InDelta(t, percent, 100*(float64(o.ShownLift)/float64(o.MaxLift)-1), 1e-4)
	}
}

func TestSlipAndReZero(t *testing.T) {
	plain := play(t, Scenario{Openings: 2})
	nose := plain.Truth.Openings[0].Nose
	slip := play(t, Scenario{Openings: 2, Indicator: Indicator{Slips: []Slip{{nose, -20 * measure.Thou}}}})
	assert.Zero(t, slip.Truth.Openings[0].Heel)
	assert.Equal(t, -20*measure.Thou, slip.Truth.Openings[0].HeelAfter)
	assert.Equal(t, -20*measure.Thou, slip.Truth.Openings[1].Heel)
	for i, r := range slip.Trace.Readings {
		want := plain.Trace.Readings[i].Lift
		if r.At >= nose {
			want -= 20 * measure.Thou
		}
		require.Equal(t, want, r.Lift)
	}
	zero := play(t, Scenario{Openings: 2, Indicator: Indicator{ReZeros: []measure.Stamp{nose}, Slips: []Slip{{nose / 2, measure.Inch}}}})
	assert.Zero(t, zero.readingAt(nose).Lift)
	assert.Equal(t, 448*measure.Thou, zero.Truth.Openings[0].HeelAfter, "zeroed at the nose, the heel reads the lift")
}

func TestSwitchOfUnit(t *testing.T) {
	at := 5 * measure.Second
	n := Indicator{Switches: []measure.Stamp{at}, Preload: measure.Inch}
	said := play(t, Scenario{Openings: 1, Indicator: n})
	require.Len(t, said.Trace.Notes, 1)
	assert.Equal(t, measure.NoteUnitChange, said.Trace.Notes[0].Kind)
	assert.InDelta(t, float64(said.Truth.ShownAt(at)), float64(said.readingAt(at).Lift), 300_000)
	assert.Zero(t, said.readingAt(at).Lift%(10*measure.Micrometre), "0.01 mm goes with 0.0005 in")

	n.Format = Format{Layout: "{lift}"}
	bare := play(t, Scenario{Openings: 1, Indicator: n})
	assert.Empty(t, bare.Trace.Notes, "a bare number does not say")
	assert.InDelta(t, 25.4, float64(bare.readingAt(at).Lift)/float64(said.readingAt(at).Lift), 1e-6)

	for from, to := range map[measure.Length]measure.Length{12_700: 10_000, 1270: 1000, 2540: 2000} {
		_, got := otherUnit(measure.InInches, from)
		assert.Equal(t, to, got)
		_, back := otherUnit(measure.InMillimetres, got)
		assert.Equal(t, from, back)
	}
}

func TestLossLeavesAGap(t *testing.T) {
	s := play(t, Scenario{Indicator: Indicator{Lost: []Loss{{4 * measure.Second, 2 * measure.Second}}}})
	for _, r := range s.Trace.Readings {
		require.False(t, r.At >= 4*measure.Second && r.At < 6*measure.Second)
	}
	require.Len(t, s.Trace.Notes, 1)
	assert.Equal(t, measure.Note{At: 4 * measure.Second, Until: 6 * measure.Second, Kind: measure.NoteGap}, s.Trace.Notes[0])
}

func TestDelayShowsThePast(t *testing.T) {
	const delay = 80 * measure.Millisecond
	s := play(t, Scenario{Openings: 1, Indicator: Indicator{Delay: delay, Resolution: 1000, Unit: measure.InMillimetres}})
	for _, r := range s.Trace.Readings {
		if r.At > delay && math.Abs(float64(s.Truth.ShownAt(r.At-delay)-r.Lift)) > 501 {
			t.Fatalf("at %v", r.At)
		}
	}
}

func TestNoiseIsGaussianOfItsSize(t *testing.T) {
	const sigma = 4000
	s := play(t, Scenario{Indicator: Indicator{Noise: sigma, Resolution: 1, Unit: measure.InMillimetres, Rate: 500}})
	sum, within, n := 0.0, 0, 0
	for _, r := range s.Trace.Readings {
		d := float64(r.Lift - s.Truth.ShownAt(r.At))
		sum += d * d
		if n++; math.Abs(d) < sigma {
			within++
		}
	}
	// 68.27 % of a normal distribution lie within one standard deviation.
	assert.InDelta(t, sigma, math.Sqrt(sum/float64(n)), sigma*0.03)
	assert.InDelta(t, 0.6827, float64(within)/float64(n), 0.015)
}

func TestRateAndJitter(t *testing.T) {
	for _, rate := range []float64{5, 50, 1000} {
		s := play(t, Scenario{Openings: 1, Indicator: Indicator{Rate: rate, Jitter: 0.2}})
		assert.InDelta(t, s.Truth.End.Seconds()*rate, len(s.Trace.Readings), 2)
		least, most := math.Inf(1), 0.0
		for i := range s.Trace.Readings[1:] {
			d := (s.Trace.Readings[i+1].At - s.Trace.Readings[i].At).Seconds() * rate
			least, most = min(least, d), max(most, d)
		}
		assert.InDelta(t, 0.75, least, 0.16)
		assert.InDelta(t, 1.25, most, 0.16)
	}
}

func TestEncoder(t *testing.T) {
	crank := play(t, Scenario{Encoder: &Encoder{}})
	assert.Equal(t, 150_000*measure.Microdegree, crank.Trace.AngleStep, "0.15 degrees a count of 2400")
	cam := play(t, Scenario{Encoder: &Encoder{OnCam: true, Reversed: true, Start: -30 * measure.Degree}})
	assert.Equal(t, 300_000*measure.Microdegree, cam.Trace.AngleStep)
	for _, at := range []measure.Stamp{0, 5 * measure.Second, 40 * measure.Second} {
		assert.InDelta(t, float64(-30*measure.Degree-crank.Truth.CrankAt(at)), float64(cam.Truth.CrankAt(at)), 2, "both give crank degrees")
	}
	a, b := crank.Truth.Openings[0], cam.Truth.Openings[0]
	assert.InDelta(t, 65, (a.NoseAngle - a.OpeningHalfAngle).Degrees(), 1e-5)
	assert.InDelta(t, -65, (b.NoseAngle - b.OpeningHalfAngle).Degrees(), 1e-5)

	require.NotEmpty(t, crank.Encoder)
	assert.Len(t, crank.Counts, len(crank.Encoder))
	apart := crank.Apart()
	assert.Len(t, apart.Readings, len(crank.Counts)+len(crank.Trace.Readings))
	for i, r := range apart.Readings[1:] {
		require.GreaterOrEqual(t, r.At, apart.Readings[i].At)
		require.True(t, r.Has == measure.HasLift || r.Has == measure.HasAngle)
	}
	combined := play(t, Scenario{Encoder: &Encoder{}, Indicator: Indicator{Format: CombinedFormats()[0]}})
	assert.Empty(t, combined.Encoder)
	_, err := Scenario{Indicator: Indicator{Format: CombinedFormats()[0]}}.Play()
	assert.ErrorContains(t, err, "give the scenario an encoder")
}

func TestEncoderWrapsAndMarksItsIndex(t *testing.T) {
	format, err := FormatNamed("count-index")
	require.NoError(t, err)
	s := play(t, Scenario{Openings: 2, Encoder: &Encoder{Wraps: true, Index: true, Format: format}})
	marks := 0
	for i, c := range s.Encoder {
		count, index := parseCount(t, c.Bytes)
		require.GreaterOrEqual(t, count, int64(0))
		require.Less(t, count, int64(2400))
		steps := int64(math.Round(s.Counts[i].Angle.Degrees() / 0.15))
		require.Equal(t, (steps%2400+2400)%2400, count)
		if index {
			marks++
		}
	}
	turned := s.Counts[len(s.Counts)-1].Angle.Degrees()
	assert.Equal(t, int(turned/360), marks, "once a turn")
}

// What one instrument does leaves the others alone.
func TestChancesAreIndependent(t *testing.T) {
	base := Scenario{Seed: 3, Hand: Hand{Style: BackTurning}, Encoder: &Encoder{}, Indicator: Indicator{Noise: 2000}}
	a := play(t, base)
	faster := base
	faster.Indicator.Rate, faster.Indicator.Format = 400, Formats()[3]
	faster.Indicator.Wire.Mischief.Noise = 0.1
	b := play(t, faster)
	assert.Equal(t, a.Truth.path.knots, b.Truth.path.knots)
	assert.Equal(t, a.Encoder, b.Encoder)
	assert.NotEqual(t, a.Indicator, b.Indicator)
}

func TestInstrumentsThatCannotBe(t *testing.T) {
	for says, s := range map[string]Scenario{
		"readings a second": {Indicator: Indicator{Rate: -1}},
		"jitter":            {Indicator: Indicator{Jitter: 0.9}},
		"resolution":        {Indicator: Indicator{Resolution: -1}},
		"below zero":        {Indicator: Indicator{Noise: -1}},
		"leaning":           {Indicator: Indicator{Lean: measure.Turn}},
		"no field":          {Indicator: Indicator{Format: Format{Layout: "{lift} {feet}"}}},
		"closing brace":     {Indicator: Indicator{Format: Format{Layout: "{lift"}}},
		"last some":         {Indicator: Indicator{Lost: []Loss{{}}}},
		"counts a turn":     {Encoder: &Encoder{Counts: 1}},
		"lines a second":    {Encoder: &Encoder{Rate: math.NaN()}},
		"encoder delay":     {Encoder: &Encoder{Delay: -1}},
		"a chance of":       {Indicator: Indicator{Wire: Wire{Mischief: Mischief{Noise: 2}}}},
	} {
		_, err := s.Play()
		assert.ErrorContains(t, err, says)
	}
}
