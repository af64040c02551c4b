package timing_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/timing"
	"lobescribe/device/measure"
)

// evenLobe is a 3-4-5 rise and fall of h mm over 115 crank degrees each, opening at 10
// before top dead centre; its largest velocity is 15/8 h/115 (Norton, Cam Design and
// Manufacturing Handbook, from memory, recomputed).
func evenLobe(h float64) (angles []measure.Angle, lifts []measure.Length) {
	for x := -60.0; x <= 270; x++ {
		u := (x + 10) / 115
		if u > 1 {
			u = 2 - u
		}
		y := 0.0
		if u > 0 {
			y = h * u * u * u * (10 - 15*u + 6*u*u)
		}
		angles, lifts = append(angles, measure.FromDegrees(x)), append(lifts, measure.FromMillimetres(y))
	}
	return angles, lifts
}

func askMore(t *testing.T, in timing.MoreInput, r timing.Request) *timing.More {
	t.Helper()
	angles, lifts := evenLobe(10.5)
	r.Intake = &timing.ValveInput{Angles: angles, Lifts: lifts, Resolution: measure.Micrometre, Ratio: 1.5, RatioU: 0.015, More: &in}
	a, err := timing.Compute(r)
	require.NoError(t, err)
	require.NotNil(t, a.Intake.More)
	return a.Intake.More
}

// Through one number the lobe's motion is the valve's over that number.
func TestTheLobesOwnMotion(t *testing.T) {
	l := askMore(t, timing.MoreInput{Lobe: true}, timing.Request{}).Lobe
	require.NotNil(t, l)
	assert.Equal(t, "one number", l.By)
	assert.InDelta(t, 7, l.MaxLift.Millimetres(), 1e-3)
	require.Len(t, l.Peaks, 3)
	assert.InEpsilon(t, 15./8*7/115, l.Peaks[0].Value, 0.002)
	assert.InDelta(t, -15./8*7/115, l.Peaks[1].Value, 0.002)
	assert.InDelta(t, 47.5, l.Peaks[0].Angle.Degrees(), 2)
	assert.Less(t, l.Peaks[2].Value, 0.0)
}

// Lash on events by solving the polynomial: where 10 u^3 - 15 u^4 + 6 u^5 comes to 1.27
// and 1.3208 of 10.5 mm (halving, derived here); both flanks are alike.
func TestLashOnTheEvents(t *testing.T) {
	at := func(lift float64) float64 {
		low, high := 0.0, 1.0
		for range 60 {
			if u := (low + high) / 2; 10.5*u*u*u*(10-15*u+6*u*u) < lift {
				low = u
			} else {
				high = u
			}
		}
		return 115 * low
	}
	more := askMore(t, timing.MoreInput{LashStep: 2 * measure.Thou}, timing.Request{CheckingLifts: []measure.Length{50 * measure.Thou}})
	require.Len(t, more.Lash, 1)
	want := at(1.3208) - at(1.27)
	assert.InDelta(t, want, more.Lash[0].OpensLater.Degrees(), 0.003)
	assert.InDelta(t, want, more.Lash[0].ClosesEarlier.Degrees(), 0.003)
	assert.InDelta(t, 2*want, more.Lash[0].DurationLess.Degrees(), 0.006)
}

// Lobes that close at 60 degrees after bottom dead centre with 3.48 and 5.70 in leave
// 2.812792 of 3.48 in (slider-crank table, derived apart), so 10 to 1 becomes 8.2745.
func TestEffectiveCompression(t *testing.T) {
	a, err := timing.Compute(timing.Request{
		Intake: &timing.ValveInput{Opens: timing.NewEvent("10"), Closes: timing.NewEvent("60"), TDCU: measure.Degree / 1000, U: new(measure.Degree / 2),
			More: &timing.MoreInput{Cylinder: &timing.CylinderInput{Compression: 10, Bore: measure.FromInches(4)}}},
		Crank: &timing.Crank{Stroke: measure.FromInches(3.48), Rod: measure.FromInches(5.70)},
	})
	require.NoError(t, err)
	require.Len(t, a.Intake.More.Trapped, 1)
	got := a.Intake.More.Trapped[0]
	assert.InDelta(t, 2.812792/3.48, got.Share, 1e-6)
	assert.InDelta(t, 1+9*2.812792/3.48, got.Ratio, 1e-5)
	assert.InEpsilon(t, math.Pi/4*16*2.812792*16.387064, *got.Volume, 1e-5)
}

// A flat seat without width is a ring of height: pi D L; a seat of 45 degrees follows
// Heywood's first stage. At a quarter of its diameter the ring is as large as a throat
// of the same diameter without a stem, whatever the diameter (elementary).
func TestCurtainAgainstThroat(t *testing.T) {
	p := askMore(t, timing.MoreInput{Port: &timing.PortInput{Head: measure.FromMillimetres(36), Throat: measure.FromMillimetres(36), SeatAngle: measure.Degree / 1000}}, timing.Request{}).Port
	require.NotNil(t, p)
	assert.InEpsilon(t, math.Pi*36*10.5, p.Curtain, 1e-3)
	assert.InEpsilon(t, math.Pi/4*36*36, p.Throat, 1e-6)
	require.NotNil(t, p.Even)
	assert.InDelta(t, 9, p.Even.Millimetres(), 0.01)
	assert.Less(t, p.SumLeast, p.Sum)
	// The curtain over the opening is pi D times the area under the lift, 10.5 x 115.
	assert.InEpsilon(t, math.Pi*36*10.5*115, p.Sum, 2e-3)
}

func TestMoreSaysWhatIsWrong(t *testing.T) {
	angles, lifts := evenLobe(10.5)
	for field, ask := range map[string]timing.MoreInput{
		"intake.more.lash_step_mm":         {LashStep: 30 * measure.Millimetre},
		"intake.more.port.throat_mm":       {Port: &timing.PortInput{Head: measure.FromMillimetres(40)}},
		"intake.more.port.stem_mm":         {Port: &timing.PortInput{Head: measure.FromMillimetres(40), Throat: measure.FromMillimetres(30), Stem: measure.FromMillimetres(31)}},
		"intake.more.cylinder.compression": {Cylinder: &timing.CylinderInput{Compression: 1}},
		"crank":                            {Cylinder: &timing.CylinderInput{Compression: 10}},
	} {
		_, err := timing.Compute(timing.Request{Intake: &timing.ValveInput{Angles: angles, Lifts: lifts, More: &ask}})
		assert.ErrorContains(t, err, field)
	}
	_, err := timing.Compute(timing.Request{Intake: &timing.ValveInput{Opens: timing.NewEvent("10"), Closes: timing.NewEvent("60"), More: &timing.MoreInput{Lobe: true}}})
	assert.ErrorContains(t, err, "only a lift curve tells")
	for says, wheel := range map[string]timing.WheelInput{
		"is empty":      {},
		"6 are needed":  {Readings: make([]timing.WheelReading, 3)},
		"spread over":   {Readings: make([]timing.WheelReading, 8)},
		"less than a t": {Index: []measure.Angle{0, measure.Degree}},
		"one reading":   {Index: []measure.Angle{0}},
		"is missing":    {Readings: make([]timing.WheelReading, 8), IndexBack: []measure.Angle{0}},
	} {
		_, err := timing.Compute(timing.Request{Wheel: &wheel})
		assert.ErrorContains(t, err, says)
	}
}

// A printed worked example of a crank and its rod, in inches: J. T. Taylor, "Cotton
// Weaving and Designing", 6th edition (1909; Project Gutenberg 57031), on the sley's
// motion before fig. 60: with a crank of 3 in and an arm of 12 in, which lags by 0.3811 in
// at the quarter turn, the pin goes 2.6189 in in the quarter at its far end and the rest
// of 6 in in the other.
func TestPistonMotionInPrint(t *testing.T) {
	k := timing.Crank{Stroke: measure.FromInches(6), Rod: measure.FromInches(12)}
	require.NoError(t, k.Check())
	assert.InDelta(t, 2.6189, (k.Travel(180*measure.Degree) - k.Travel(90*measure.Degree)).Inches(), 0.00006)
	assert.InDelta(t, 3.3811, k.Travel(90*measure.Degree).Inches(), 0.00006)
}
