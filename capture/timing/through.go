package timing

import "lobescribe/capture/worksheet"

// cardOf is what the card says of a valve, or nil.
func (r Request) cardOf(v Valve) *CardValveInput {
	switch {
	case r.Card == nil:
		return nil
	case v == Intake:
		return r.Card.Intake
	}
	return r.Card.Exhaust
}

// through gives a valve's curve the ratio that was measured for it.
func (out *Result) through(field string, v Valve, c *Curve, in *ValveInput) error {
	if len(in.RatioCurve) > 0 {
		if err := c.ThroughPoints(in.RatioCurve); err != nil {
			return within(field, err)
		}
		return nil
	}
	if in.Other == nil {
		return nil
	}
	at := AtLobe
	if c.options.MeasuredAt == AtLobe {
		at = AtValve
	}
	other := in.Other.input(at)
	if out.TDC == nil && other.TDC == 0 && other.TDCU == 0 {
		other.TDC, other.TDCU = in.TDC, in.TDCU
	}
	o, err := out.curve(field+".other_end", v, &other)
	switch {
	case err != nil:
		return err
	case o == nil:
		return worksheet.Wrongf(field+".other_end.lift_mm", "is missing: a ratio needs the curve, not two events")
	}
	lobe, valve := o, c
	if c.options.MeasuredAt == AtLobe {
		lobe, valve = c, o
	}
	got, err := Ratio(lobe, valve, RatioOptions{Nominal: in.Ratio})
	if err != nil {
		return within(field+".other_end", err)
	}
	c.Through(got)
	if v == Intake {
		out.IntakeRatio = &got
	} else {
		out.ExhaustRatio = &got
	}
	out.Assume("%s: nothing was changed between the curve at the valve and the one at the lobe", field)
	out.Cite("ratio: least squares of valve lift over lobe lift on both flanks; its slope is the ratio")
	return nil
}

// sayTransfer says by which ratio lifts go from lobe to valve.
func (out *Result) sayTransfer(name string, c *Curve) {
	switch o := c.options; {
	case c.transfer != nil:
		out.Assume("%s: from lobe to valve by the measured ratio", name)
	case o.Ratio == 1 && o.RatioU == 0:
		out.Assume("%s: the cam acts on the valve directly, without a rocker (rocker_ratio)", name)
	default:
		out.Assume("%s: the rocker ratio is constant at %.4g ± %.2g; measured at the lobe as well it would be known better (other_end)", name, o.Ratio, o.RatioU)
	}
}

// compare lays two curves over each other.
func (out *Result) compare(r Request) error {
	if r.Compare == nil {
		return nil
	}
	var curves [2]*Curve
	for i, side := range []struct {
		field string
		in    *ValveInput
	}{{"compare.first", r.Compare.First}, {"compare.second", r.Compare.Second}} {
		c, err := out.curve(side.field, "", side.in)
		if err == nil && c == nil {
			err = worksheet.Wrongf(side.field+".lift_mm", "is missing: a comparison needs the curve, not two events")
		}
		if err != nil {
			return err
		}
		curves[i] = c
	}
	if a, b := curves[0].options.MeasuredAt, curves[1].options.MeasuredAt; a != b {
		return worksheet.Wrongf("compare.second.measured_at", "is %q, of the first %q: compare two curves measured at one end of the rocker", b, a)
	}
	d, err := Differ(curves[0], curves[1])
	if err != nil {
		return err
	}
	out.Difference = &d
	out.Assume("the two curves are laid over each other at the middle of their half-lift flanks, so that a lobe that is turned on its cam shows in that angle only")
	return nil
}
