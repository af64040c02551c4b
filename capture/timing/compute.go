package timing

import (
	"fmt"
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Result answers a [Request], part by part.
type Result struct {
	TDC     *TopDeadCentre  `json:"tdc,omitempty"`
	Intake  *ValveTiming    `json:"intake,omitempty"`
	Exhaust *ValveTiming    `json:"exhaust,omitempty"`
	Pairs   []Pair          `json:"pairs,omitempty"`
	Card    *CardComparison `json:"card,omitempty"`

	IntakeDerivatives  *Derivatives `json:"intake_derivatives,omitempty"`
	ExhaustDerivatives *Derivatives `json:"exhaust_derivatives,omitempty"`

	// IntakeRatio and ExhaustRatio are those fitted to a valve's curve and the one
	// of the other end of its rocker.
	IntakeRatio  *RatioCurve `json:"intake_ratio,omitempty"`
	ExhaustRatio *RatioCurve `json:"exhaust_ratio,omitempty"`

	Difference *Difference `json:"difference,omitempty"`

	Ratio  *RatioCurve   `json:"ratio,omitempty"`
	Gain   *Gain         `json:"gain,omitempty"`
	Valves *Comparison   `json:"valves,omitempty"`
	Wheel  *WheelCheck   `json:"wheel,omitempty"`
	Piston []PistonPoint `json:"piston,omitempty"`

	worksheet.Basis
}

// PistonPoint is a crank angle and the piston's travel from its top there.
type PistonPoint struct {
	Angle  measure.Angle  `json:"angle_deg"`
	Travel measure.Length `json:"travel_mm"`
	// FromBottom is the same travel and angle from bottom dead centre.
	AngleFromBottom  measure.Angle  `json:"angle_from_bottom_deg"`
	TravelFromBottom measure.Length `json:"travel_from_bottom_mm"`
}

// Compute answers a request. It is pure. An error that is a
// [*worksheet.Problem] names the field that cannot be; any other says why a
// question that is well put has no answer.
func Compute(r Request) (Result, error) {
	var out Result
	out.Assumes, out.Sources = []worksheet.Sentence{}, []string{}
	if err := r.check(); err != nil {
		return Result{}, err
	}
	for _, part := range []func(Request) error{out.topDeadCentre, out.valves, out.ratio, out.compare, out.engine, out.piston, out.wheel} {
		if err := part(r); err != nil {
			return Result{}, err
		}
	}
	if out.empty() {
		return Result{}, worksheet.Wrongf("", "nothing is asked: give intake, exhaust, tdc, ratio, compare, valves, wheel, or crank with piston_at_deg")
	}
	return out, nil
}

func (out *Result) empty() bool {
	return out.TDC == nil && out.Intake == nil && out.Exhaust == nil && out.Ratio == nil && out.Valves == nil && out.Difference == nil && out.Piston == nil && out.Wheel == nil
}

func (out *Result) topDeadCentre(r Request) error {
	if r.TDC == nil {
		return nil
	}
	var t TopDeadCentre
	var err error
	if s := r.TDC.Stop; s != nil {
		t, err = Stop{First: s.First, Second: s.Second, AngleStep: s.AngleStep, Repeat: s.Repeat, PinOffset: s.PinOffset, Crank: r.Crank}.TDC()
		if s.PinOffset == 0 {
			out.Assume("the wrist pin is not offset: 1 mm of it moves the middle by some 0.05 degrees (pin_offset_mm)")
		}
		out.Assume("the stop meets the piston at the same height from both sides, and lies nearer to the top than to the bottom of the stroke")
		out.Cite("positive stop: middle of the two readings on the circle (geometry; the method is common practice)")
	} else {
		p := r.TDC.Piston
		crank := p.Crank
		if crank == nil {
			crank = r.Crank
		}
		t, err = Piston{Drops: p.Drops, DropU: p.DropU, Resolution: p.Resolution, AngleStep: p.AngleStep, Crank: crank}.TDC()
		out.Assume("the wrist pin is not offset, and both heights were come to in the same direction of turning, so that bearing play does not enter")
		out.Cite("indicator on the piston: mean of the middles of equal drops, Type A uncertainty (JCGM 100:2008, 4.2)")
	}
	if err != nil {
		return within("tdc", err)
	}
	out.TDC = &t
	return nil
}

// curve makes a valve's curve, or nil if only its events were typed.
func (out *Result) curve(field string, v Valve, in *ValveInput) (*Curve, error) {
	o := Options{
		Valve: v, TDC: in.TDC, TDCU: in.TDCU, Period: in.Period, Wraps: in.Wraps, OnCam: in.OnCam, CountsDown: in.CountsDown,
		MeasuredAt: in.MeasuredAt, Ratio: in.Ratio, RatioU: in.RatioU, Lash: in.Lash, Resolution: in.Resolution, AngleStep: in.AngleStep, Limit: in.Limit, Method: in.Method,
	}
	if out.TDC != nil {
		if in.TDC != 0 || in.TDCU != 0 {
			return nil, worksheet.Wrongf(field+".tdc_deg", "is given although tdc says how top dead centre was found: which of the two is meant?")
		}
		o.TDC, o.TDCU = out.TDC.TDC, out.TDC.U
		if out.TDC.K > 2 { // a curve counts in k = 2
			o.TDCU = degrees(out.TDC.U.Degrees() * coverage / out.TDC.K)
		}
	}
	if in.Trace != nil {
		c, err := FromTrace(*in.Trace, o)
		if err != nil {
			return nil, within(field, err)
		}
		out.Assume("the lift and the angle of a reading belong to one moment: 10 ms between them are 0.6 degrees at 60 degrees a second")
		return c, nil
	}
	points, err := in.points(field)
	if err != nil || points == nil {
		return nil, err
	}
	c, err := FromPoints(points, o)
	if err != nil {
		return nil, within(field, err)
	}
	if err := liftOfAValve(c.Nose().MaxLift, len(in.Inches) > 0); err != nil {
		return nil, within(field, err)
	}
	out.Assume("typed lifts are counted from the heel")
	switch c.made.Method {
	case Spline:
		out.Assume("between the points the lift runs as a natural cubic spline")
	case Linear:
		out.Assume("between the points the lift runs straight, which cuts its corners")
	}
	if in.Resolution == 0 {
		out.Assume("%s: the step to which the lifts were rounded is not known (resolution_mm), so no uncertainty comes from it", field)
	}
	return c, nil
}

// liftOfAValve refuses a curve whose lifts, told in one unit and typed in another,
// make no valve's.
func liftOfAValve(top measure.Length, inches bool) error {
	b := worksheet.Bounds()["lift"]
	if mm := top.Millimetres(); mm >= b.Least && mm <= b.Most {
		return nil
	}
	field := "lift_mm"
	if inches {
		field = "lift_in"
	}
	return worksheet.Wrongf(field, "makes a full lift of %v (%s): expected %v mm to %v mm; check the lifts and their unit", worksheet.Rounded(top), top.In(measure.InInches), b.Least, b.Most)
}

// points joins angles and lifts; nil if there are none.
func (in *ValveInput) points(field string) ([]Point, error) {
	n := len(in.Angles)
	switch {
	case n == 0 && len(in.Lifts) == 0 && len(in.Inches) == 0:
		return nil, nil
	case len(in.Lifts) > 0 && len(in.Inches) > 0:
		return nil, worksheet.Wrongf(field+".lift_in", "is given beside lift_mm: which of the two is meant?")
	case len(in.Lifts)+len(in.Inches) != n:
		name := ".lift_mm"
		if len(in.Inches) > 0 {
			name = ".lift_in"
		}
		return nil, worksheet.Wrongf(field+name, "holds %d lifts for %d angles: give one for each", len(in.Lifts)+len(in.Inches), n)
	}
	out := make([]Point, n)
	for i, a := range in.Angles {
		out[i].Angle = a
		if len(in.Lifts) > 0 {
			out[i].Lift = in.Lifts[i]
			continue
		}
		if v := in.Inches[i]; math.IsNaN(v) || math.Abs(v) > 4 {
			return nil, worksheet.Wrongf(fmt.Sprintf("%s.lift_in[%d]", field, i), "%v is no valve's lift (at most 4 in)", v)
		}
		out[i].Lift = measure.FromInches(in.Inches[i])
	}
	return out, nil
}

// parse reads an event of a valve.
func (e *EventInput) parse(field string, v Valve, w Which) (*measure.Angle, error) {
	if e == nil {
		return nil, nil
	}
	a, err := ParseEvent(e.text, v, w)
	if err != nil {
		return nil, worksheet.Wrongf(field, "%s", err)
	}
	if a < -measure.Cycle || a > measure.Cycle {
		return nil, worksheet.Wrongf(field, "%q is more than a whole cycle away from its dead centre", e.text)
	}
	return &a, nil
}

// valves answers for intake and exhaust, each and together, and against the
// card.
func (out *Result) valves(r Request) error {
	var measured [2]*Measured
	for i, side := range []struct {
		v    Valve
		in   *ValveInput
		t    **ValveTiming
		d    **Derivatives
		name string
	}{
		{Intake, r.Intake, &out.Intake, &out.IntakeDerivatives, "intake"},
		{Exhaust, r.Exhaust, &out.Exhaust, &out.ExhaustDerivatives, "exhaust"},
	} {
		if side.in == nil {
			continue
		}
		c, err := out.curve(side.name, side.v, side.in)
		if err != nil {
			return err
		}
		if c == nil {
			t, uTDC, err := out.typed(side.name, side.v, side.in)
			if err != nil {
				return err
			}
			if side.in.More != nil {
				if t.More, err = typedMore(*side.in.More, side.v, t, &out.Basis); err != nil {
					return within(side.name+".more", err)
				}
			}
			*side.t, measured[i] = &t, &Measured{Typed: &t, uTDC: uTDC, ZeroDoubts: side.in.ZeroDoubts, Doubts: side.in.Doubts}
			continue
		}
		if side.in.Opens != nil || side.in.Closes != nil {
			return worksheet.Wrongf(side.name+".opens", "is given beside points: the events come from the points")
		}
		if err := out.through(side.name, side.v, c, side.in); err != nil {
			return err
		}
		t, err := c.Timing(r.CheckingLifts, r.CheckedAt)
		if err != nil {
			return within(side.name, err)
		}
		if side.in.More != nil {
			if t.More, err = c.More(*side.in.More, t, &out.Basis); err != nil {
				return within(side.name+".more", err)
			}
		}
		*side.t, measured[i] = &t, &Measured{Curve: c, ZeroDoubts: side.in.ZeroDoubts, Doubts: side.in.Doubts}
		card := r.cardOf(side.v)
		if c.options.MeasuredAt != r.CheckedAt.or(c.options.MeasuredAt) || card != nil && c.options.MeasuredAt != card.CheckedAt.or(AtLobe) {
			out.sayTransfer(side.name, c)
		}
		if c.options.TDCU == 0 {
			out.Assume("how well top dead centre is known was not told: ± %v (common practice, no source)", UnknownTDCU)
		}
		if d := r.Derivatives; d != nil {
			got, err := c.Derivatives(DeriveOptions(*d))
			if err != nil {
				return err
			}
			*side.d = &got
			out.Cite("derivatives: Savitzky and Golay, Analytical Chemistry 36 (1964), 1627-1639; noise carried through by the weights")
		}
	}
	if out.Intake != nil || out.Exhaust != nil {
		out.Cite("timing: duration, centreline, separation and overlap are ordinary arithmetic; their definitions are common practice")
		out.Cite("uncertainty: JCGM 100:2008, expanded with k = 2")
	}
	if out.Intake != nil && out.Exhaust != nil {
		out.Pairs = Pairs(*out.Intake, *out.Exhaust)
		out.Assume("intake and exhaust were measured against one setting of top dead centre")
	}
	return out.card(r.Card, measured)
}

// card compares what was measured with the cam's card, where there is one.
func (out *Result) card(card *CardInput, measured [2]*Measured) error {
	if card == nil {
		return nil
	}
	o := CardOptions{TwoCams: card.TwoCams, LobeSeparation: card.LobeSeparation, Tolerance: card.Tolerance, LiftTolerance: card.LiftTolerance}
	var err error
	if o.Intake, err = card.Intake.valve("card.intake", Intake); err != nil {
		return err
	}
	if o.Exhaust, err = card.Exhaust.valve("card.exhaust", Exhaust); err != nil {
		return err
	}
	if measured[0] == nil && measured[1] == nil {
		return worksheet.Wrongf("card", "is given without a measured valve to compare it with (intake or exhaust)")
	}
	k, err := CompareCard(measured[0], measured[1], o)
	if err != nil {
		return err
	}
	out.Card = &k
	out.Assume("one turn of the whole cam is looked for; what it does not explain is left over")
	if card.Tolerance == 0 {
		out.Assume("a line of the card may be off by %v degrees either way, a lobe separation by half of that (common practice, no source; tolerance_deg)", plain(CardTolerance.Degrees()))
	}
	if card.LiftTolerance == 0 && len(k.Lifts) > 0 {
		out.Assume("max lift may be off the card by %v either way (common practice, no source; tolerance_mm)", CardLiftTolerance)
	}
	out.Cite("lines of the card: guarded acceptance and rejection by U, JCGM 106:2012, 8.3.2 and 8.3.3")
	out.Cite("advance or retard: weighted least squares of the deviations from the card")
	return nil
}

// typed returns the timing of a valve of which the events were typed, and the
// standard uncertainty of the top dead centre that they are counted from.
func (out *Result) typed(field string, v Valve, in *ValveInput) (ValveTiming, float64, error) {
	if in.Opens == nil && in.Closes == nil {
		return ValveTiming{}, 0, worksheet.Wrongf(field, "is empty: give angle_deg with lift_mm or lift_in, or opens and closes")
	}
	if in.Opens == nil || in.Closes == nil {
		missing := map[bool]string{true: "opens", false: "closes"}[in.Opens == nil]
		return ValveTiming{}, 0, worksheet.Wrongf(field+"."+missing, "is missing: give both events")
	}
	opens, err := in.Opens.parse(field+".opens", v, Opens)
	if err != nil {
		return ValveTiming{}, 0, err
	}
	closes, err := in.Closes.parse(field+".closes", v, Closes)
	if err != nil {
		return ValveTiming{}, 0, err
	}
	if *closes <= *opens || *closes-*opens >= measure.Cycle {
		return ValveTiming{}, 0, worksheet.Wrongf(field+".closes", "%s comes before it opens (%s): is the sign right? A negative figure means the other side of the dead centre", in.Closes.text, in.Opens.text)
	}
	if in.TDC != 0 {
		return ValveTiming{}, 0, worksheet.Wrongf(field+".tdc_deg", "is given beside typed events: events are counted from top dead centre already. Leave it out, or give the points")
	}
	uTDC, err := out.uTDC(in)
	if err != nil {
		return ValveTiming{}, 0, within(field, err)
	}
	u := measure.Degree
	if in.U != nil {
		u = *in.U
	} else {
		out.Assume("typed events are good to 1 crank degree (a degree wheel read with care; common practice, no source)")
	}
	lift := in.CheckingLift
	if lift == 0 {
		lift = 50 * measure.Thou
		out.Assume("typed events are those at 0.050 in")
	}
	return FromEvents(v, lift, in.MeasuredAt.or(AtLobe), Typed{*opens, *closes, u, degrees(coverage * uTDC)}), uTDC, nil
}

// uTDC is the standard uncertainty of the top dead centre that typed events are
// counted from: of how it was found, as told, or as [UnknownTDCU].
func (out *Result) uTDC(in *ValveInput) (float64, error) {
	switch {
	case out.TDC != nil && in.TDCU != 0:
		return 0, worksheet.Wrongf("tdc_u_deg", "is given although tdc says how top dead centre was found: which of the two is meant?")
	case out.TDC != nil:
		out.Assume("typed events are counted from the top dead centre that was found")
		return out.TDC.U.Degrees() / out.TDC.K, nil
	case in.TDCU < 0 || in.TDCU > 90*measure.Degree:
		return 0, worksheet.Wrongf("tdc_u_deg", "%v is no uncertainty of top dead centre (from 0 to 90)", in.TDCU)
	case in.TDCU != 0:
		return in.TDCU.Degrees() / coverage, nil
	}
	out.Assume("how well top dead centre is known was not told: ± %v (common practice, no source)", UnknownTDCU)
	return UnknownTDCU.Degrees() / coverage, nil
}

func (k *CardValveInput) valve(field string, v Valve) (*CardValve, error) {
	if k == nil {
		return nil, nil
	}
	out := CardValve{CheckingLift: k.CheckingLift, CheckedAt: k.CheckedAt, Duration: k.Duration, Centreline: k.Centreline, MaxLift: k.MaxLift, MaxLiftAt: k.MaxLiftAt, Gross: k.Gross}
	var err error
	if out.Opens, err = k.Opens.parse(field+".opens", v, Opens); err != nil {
		return nil, err
	}
	if out.Closes, err = k.Closes.parse(field+".closes", v, Closes); err != nil {
		return nil, err
	}
	return &out, nil
}

func (out *Result) ratio(r Request) error {
	q := r.Ratio
	if q == nil {
		return nil
	}
	curve := func(field string, in *ValveInput) (*Curve, error) {
		c, err := out.curve(field, "", in)
		if err == nil && c == nil {
			err = worksheet.Wrongf(field+".lift_mm", "is missing: a ratio needs the curve, not two events")
		}
		return c, err
	}
	lobe, err := curve("ratio.lobe", q.Lobe)
	if err != nil {
		return err
	}
	valve, err := curve("ratio.valve", q.Valve)
	if err != nil {
		return err
	}
	got, err := Ratio(lobe, valve, RatioOptions{Nominal: q.Nominal, Lash: q.Lash, Degree: q.Degree})
	if err != nil {
		return err
	}
	out.Ratio = &got
	out.Assume("the two traces are of one valve, with nothing changed between them")
	out.Cite("ratio: least squares of valve lift over lobe lift on both flanks; its slope is the ratio")
	if q.Before != nil {
		before, err := curve("ratio.before", q.Before)
		if err != nil {
			return err
		}
		g := GainOf(before, valve, r.CheckingLifts)
		out.Gain = &g
	}
	return nil
}

func (out *Result) engine(r Request) error {
	if len(r.Valves) == 0 {
		return nil
	}
	o := CompareOptions{LiftU: r.LiftU, AngleU: r.AngleU, CardLift: map[Valve]measure.Length{}}
	if r.Card != nil && r.Card.Intake != nil {
		o.CardLift[Intake] = r.Card.Intake.MaxLift
	}
	if r.Card != nil && r.Card.Exhaust != nil {
		o.CardLift[Exhaust] = r.Card.Exhaust.MaxLift
	}
	all := make([]Figures, len(r.Valves))
	for i, f := range r.Valves {
		all[i] = Figures(f)
	}
	c, err := CompareValves(all, o)
	if err != nil {
		return err
	}
	out.Valves = &c
	out.Assume("angles are counted from the top dead centre of each valve's own cylinder")
	out.Cite("odd valves: over 3.5 robust deviations from the median (Iglewicz and Hoaglin 1993; few values corrected by Croux and Rousseeuw 1992; both from memory)")
	return nil
}

func (out *Result) piston(r Request) error {
	if r.Crank == nil || len(r.PistonAt)+len(r.Travels) == 0 {
		return nil
	}
	if err := r.Crank.Check(); err != nil {
		return within("crank", err)
	}
	point := func(a measure.Angle) PistonPoint {
		s := r.Crank.Travel(a)
		b := degrees(180 - math.Abs(math.Remainder(a.Degrees(), 360)))
		return PistonPoint{Angle: a, Travel: s, AngleFromBottom: b, TravelFromBottom: r.Crank.Stroke - s}
	}
	for _, a := range r.PistonAt {
		out.Piston = append(out.Piston, point(a))
	}
	for i, l := range r.Travels {
		a, err := r.Crank.AngleAt(l)
		if err != nil {
			return worksheet.Wrongf(fmt.Sprintf("angle_at_travel_mm[%d]", i), "%s", err)
		}
		p := point(a)
		p.Travel, p.TravelFromBottom = l, r.Crank.Stroke-l
		out.Piston = append(out.Piston, p)
	}
	out.Assume("the wrist pin is not offset")
	out.Cite("piston travel: Heywood, Internal Combustion Engine Fundamentals, eqs 2.4-2.6 (from memory)")
	return nil
}
