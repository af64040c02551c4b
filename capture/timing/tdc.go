package timing

import (
	"fmt"
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Stop is the positive-stop method: a stop in the plug hole holds the piston
// short of its top, and the encoder is read with the piston against it from
// either side. Top dead centre is the middle of the arc that cannot be reached.
type Stop struct {
	// First and Second are the encoder's readings, one or more a side.
	First, Second []measure.Angle
	// AngleStep is the encoder's degrees a count, default 0: not counted. Repeat
	// is the half width within which the piston comes to rest against the stop,
	// touch for touch. Left out, it is taken from the touches where a side has
	// two or more, else as 0.5 degrees (common practice, no source). PinOffset is
	// how far the wrist pin may stand off the cylinder's axis, either way; with
	// Crank it goes into U.
	AngleStep measure.Angle
	Repeat    measure.Angle
	PinOffset measure.Length
	Crank     *Crank
}

// unknownRepeat is how a stop that was touched once a side is taken to repeat,
// half width in degrees.
const unknownRepeat = 0.5

// Drop is one pair of the indicator-on-piston method: the encoder's readings
// at which the piston stands the same distance below its top before and after.
type Drop struct {
	Before measure.Angle  `json:"before_deg" bound:"crank"`
	After  measure.Angle  `json:"after_deg" bound:"crank"`
	Drop   measure.Length `json:"drop_mm" bound:"drop"`
}

// Piston is the indicator-on-piston method.
type Piston struct {
	Drops []Drop
	// DropU is the expanded uncertainty with which the piston was put at the
	// same height on both sides; Resolution the indicator's step.
	DropU      measure.Length
	Resolution measure.Length
	AngleStep  measure.Angle
	// Crank, where known, gives the piston's slope exactly, and a check of the
	// set-up. Without it the drop is taken to grow with the square of the
	// angle, which is within a few per cent to 30 degrees.
	Crank *Crank
}

// TopDeadCentre is what the encoder shows at top dead centre.
type TopDeadCentre struct {
	Method string `json:"method"`
	// TDC is within [0, 360): which of the two it is, the valves will tell.
	TDC measure.Angle `json:"tdc_deg"`
	// U is expanded, with the factor K.
	U measure.Angle `json:"tdc_u_deg"`
	K float64       `json:"k"`
	// Half is half the arc between the two sides (the mean of several).
	Half     measure.Angle        `json:"half_arc_deg"`
	Says     worksheet.Sentence   `json:"says"`
	Warnings []worksheet.Sentence `json:"warnings,omitempty"`
}

// TDC works out top dead centre from a positive stop.
func (s Stop) TDC() (TopDeadCentre, error) {
	if len(s.First) == 0 || len(s.Second) == 0 {
		return TopDeadCentre{}, worksheet.Wrongf("positive_stop", "a reading against the stop from each side is needed")
	}
	if s.AngleStep < 0 || s.Repeat < 0 || s.AngleStep > 45*measure.Degree || s.Repeat > 45*measure.Degree {
		return TopDeadCentre{}, worksheet.Wrongf("positive_stop", "angle_step_deg and repeat_deg must be from 0 to 45")
	}
	a, uA, err := circularMean(s.First, "first_deg")
	if err != nil {
		return TopDeadCentre{}, err
	}
	b, uB, err := circularMean(s.Second, "second_deg")
	if err != nil {
		return TopDeadCentre{}, err
	}
	half := math.Abs(math.Remainder(b-a, 360)) / 2
	if half < 0.5 {
		return TopDeadCentre{}, worksheet.Wrongf("positive_stop", "both sides read the same (%s and %s): turn the engine the other way round until the piston meets the stop again", plain(a), plain(b))
	}
	if half > 80 {
		return TopDeadCentre{}, worksheet.Wrongf("positive_stop", "the sides stand %s degrees apart, so that it cannot be told on which side top dead centre lies; screw the stop further out", plain(2*half))
	}
	mid := a + math.Remainder(b-a, 360)/2
	repeat, once := s.Repeat.Degrees(), len(s.First) < 2 || len(s.Second) < 2
	if repeat == 0 {
		repeat = unknownRepeat
	}
	// The stop repeats alike on both sides: their scatter is pooled, and carries
	// to a side that was touched but once.
	n, m := float64(len(s.First)), float64(len(s.Second))
	freedom := n + m - 2
	pooled := 0.0
	if freedom > 0 {
		pooled = math.Sqrt((uA*uA*n*(n-1) + uB*uB*m*(m-1)) / freedom)
	}
	share := math.Sqrt(1/n+1/m) / 2
	var parts []component
	switch told := rectangular(repeat); {
	case s.Repeat > 0 || freedom == 0:
		parts = append(parts, component{u: max(told, pooled) * share})
	default:
		parts = append(parts, component{u: pooled * share, freedom: freedom})
	}
	if s.PinOffset > 0 && s.Crank != nil {
		parts = append(parts, component{u: rectangular(s.Crank.pinMoves(half, s.PinOffset.Millimetres()))})
	}
	step := count(s.AngleStep.Degrees()) / 2
	parts = append(parts, component{u: step}, component{u: step})
	t := newTDC("positive stop", mid, half, parts)
	if half < 10 {
		t.warn("the stop meets the piston only %s degrees from its top, where it hardly moves: a longer stop repeats better", plain(half))
	}
	if once && s.Repeat == 0 {
		t.warn("one touch a side cannot show how well the stop repeats: it is taken as ± %s degrees. Touch it twice from each side, or give repeat_deg", plain(unknownRepeat))
	}
	return t, nil
}

// TDC works out top dead centre from equal drops of the piston.
func (p Piston) TDC() (TopDeadCentre, error) {
	if len(p.Drops) == 0 {
		return TopDeadCentre{}, worksheet.Wrongf("piston.drops", "at least one pair of equal drops is needed")
	}
	if p.DropU < 0 || p.Resolution < 0 || p.AngleStep < 0 || p.AngleStep > 45*measure.Degree || p.Resolution > measure.Millimetre || p.DropU > 10*measure.Millimetre {
		return TopDeadCentre{}, worksheet.Wrongf("piston", "drop_u_mm, resolution_mm and angle_step_deg must not be negative or absurd")
	}
	if p.Crank != nil {
		if err := p.Crank.Check(); err != nil {
			return TopDeadCentre{}, within("piston.crank", err)
		}
	}
	var mids, halves []float64
	var warnings []worksheet.Sentence
	byDrop := 0.0 // mean variance of a middle by how well the heights agree
	for i, d := range p.Drops {
		field := dropField(i)
		if d.Drop <= 0 || d.Drop > 500*measure.Millimetre {
			return TopDeadCentre{}, worksheet.Wrongf(field+".drop_mm", "%v: the piston must have gone down, by less than 500 mm", d.Drop)
		}
		arc := math.Remainder((d.After - d.Before).Degrees(), 360)
		half := math.Abs(arc) / 2
		if half < 0.5 || half > 80 {
			return TopDeadCentre{}, worksheet.Wrongf(field, "%v and %v lie %s degrees apart: take heights that the piston passes 2 to 160 degrees apart", d.Before, d.After, plain(2*half))
		}
		mids = append(mids, d.Before.Degrees()+arc/2)
		halves = append(halves, half)
		slope := 2 * d.Drop.Millimetres() / half
		if p.Crank != nil {
			slope = p.Crank.slope(half)
			should := p.Crank.travel(half)
			if off := math.Abs(should/d.Drop.Millimetres() - 1); off > 0.05 {
				warnings = append(warnings, worksheet.Sayf("%s: %s degrees either side should be a drop of %v with this stroke and rod, not %v: check both, and that the indicator stands in line with the bore",
					field, plain(half), worksheet.Rounded(millimetres(should)), d.Drop))
			}
		}
		// One height a side, each uncertain by itself.
		u := math.Hypot(p.DropU.Millimetres()/coverage, count(p.Resolution.Millimetres())) / slope / math.Sqrt2
		byDrop += u*u + 2*sq(count(p.AngleStep.Degrees())/2)
	}
	n := float64(len(mids))
	// All pairs have the same top: their middles may differ by whole turns.
	for i := range mids {
		mids[i] = mids[0] + math.Remainder(mids[i]-mids[0], 360)
		if d := math.Abs(mids[i] - mids[0]); d > 20 {
			return TopDeadCentre{}, worksheet.Wrongf(dropField(i), "its middle lies %s degrees from that of the first pair; one of them is not about top dead centre", plain(d))
		}
	}
	mean, uA := meanTypeA(mids)
	half, _ := meanTypeA(halves)
	// What the indicator and encoder explain shows in the scatter of the pairs
	// already; the larger of the two counts, not both.
	part := component{u: math.Sqrt(byDrop / n / n)}
	if uA > part.u {
		part = component{u: uA, freedom: n - 1}
	}
	t := newTDC("indicator on the piston", mean, half, []component{part})
	t.Warnings = warnings
	if half < 10 {
		t.warn("the heights lie only %s degrees from the top, where the piston hardly moves: take larger drops", plain(half))
	}
	if t.U == 0 {
		t.warn("the pairs do not scatter, and neither the encoder's step nor the drop's uncertainty is known, so no uncertainty can be given")
	}
	return t, nil
}

func dropField(i int) string { return fmt.Sprintf("piston.drops[%d]", i) }

func newTDC(method string, mid, half float64, parts []component) TopDeadCentre {
	u, k := expand(parts...)
	t := TopDeadCentre{Method: method, TDC: degrees(mid).Wrap(measure.Turn), U: degrees(u), K: math.Round(k*100) / 100, Half: degrees(half)}
	t.Says = worksheet.Sayf("the encoder shows %s ± %s degrees at top dead centre", plainer(t.TDC.Degrees()), plainer(u))
	if t.U == 0 {
		t.Says = worksheet.Sayf("the encoder shows %s degrees at top dead centre (± not known)", plainer(t.TDC.Degrees()))
	}
	return t
}

// plainer writes degrees to a hundredth.
func plainer(d float64) string { return fmt.Sprintf("%.2f", d) }

func (t *TopDeadCentre) warn(format string, args ...any) {
	t.Warnings = append(t.Warnings, worksheet.Sayf(format, args...))
}

// circularMean is the mean of readings near one another on the circle, with
// the standard uncertainty of that mean.
func circularMean(readings []measure.Angle, field string) (mean, u float64, err error) {
	first := readings[0].Degrees()
	d := make([]float64, len(readings))
	for i, r := range readings {
		d[i] = math.Remainder(r.Degrees()-first, 360)
		if math.Abs(d[i]) > 20 {
			return 0, 0, worksheet.Wrongf(fmt.Sprintf("positive_stop.%s[%d]", field, i), "%v is not near the first reading of that side, %v", r, readings[0])
		}
	}
	m, u := meanTypeA(d)
	return first + m, u, nil
}
