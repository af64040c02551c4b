package timing

import (
	"fmt"
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// LashEffect is what a change of the lash at the valve does to the events at one
// checking lift. More lash takes that much off every lift at the valve, so that the
// valve then opens where this curve stands at the checking lift and the change.
type LashEffect struct {
	Change       measure.Length `json:"lash_change_mm"`
	CheckingLift measure.Length `json:"checking_lift_mm"`
	// OpensLater and ClosesEarlier are crank degrees, DurationLess both together;
	// below zero the other way about. The heel's level and top dead centre, which
	// the events share, are not in their U (expanded, k = 2).
	OpensLater     measure.Angle      `json:"opens_later_deg"`
	OpensLaterU    measure.Angle      `json:"opens_later_u_deg"`
	ClosesEarlier  measure.Angle      `json:"closes_earlier_deg"`
	ClosesEarlierU measure.Angle      `json:"closes_earlier_u_deg"`
	DurationLess   measure.Angle      `json:"duration_less_deg"`
	DurationLessU  measure.Angle      `json:"duration_less_u_deg"`
	Says           worksheet.Sentence `json:"says"`
}

// lashEffect compares a passage with the one at the lift which a change of lash
// puts in its place.
func (c *Curve) lashEffect(p Passage, change measure.Length) (LashEffect, error) {
	e := LashEffect{Change: change, CheckingLift: p.CheckingLift}
	if p.Opens == nil || p.Closes == nil {
		return e, fmt.Errorf("the curve does not come down to %v on both sides", p.CheckingLift)
	}
	if p.CheckedAt == AtLobe {
		return e, fmt.Errorf("events at %v of the lobe do not hang on the lash; ask for a checking lift at the valve", p.CheckingLift)
	}
	then := p.Level + change
	if c.options.MeasuredAt == AtLobe {
		// Lash at the valve is lash over the ratio at the lobe, at that lift.
		l, err := c.level(p.CheckingLift+change, AtValve)
		if err != nil {
			return e, fmt.Errorf("lash %v less: %w", change.Abs(), err)
		}
		then = l.lift
	}
	if then <= 0 || then >= c.Nose().MaxLift {
		return e, fmt.Errorf("with the lash changed by %v the valve does not pass %v", change, p.CheckingLift)
	}
	nose := c.Nose().Angle.Degrees()
	moved := func(from *Event, side int) (by, u float64, ok bool) {
		to := c.event(nose, level{then, 0, true}, side)
		if to == nil {
			return 0, 0, false
		}
		by = float64(-side) * (to.Angle - from.Angle).Degrees()
		// Both places are read off one piece of curve: what is off at one of them is
		// off at the other, and what is left is how well the slope between them is
		// known. That of a local cubic over h either side scatters by 2.9/h of what its
		// level does (least squares over evenly spaced readings, derived here), that of
		// a line through typed points by both of its ends.
		slope := math.Abs(c.line.Slope(from.Angle.Degrees()))
		uSlope := max(c.uLift(from.Angle.Degrees()), c.uLift(to.Angle.Degrees()))
		if c.rows != nil {
			uSlope *= 2.9 / max(c.options.HalfWidth.Degrees(), math.Abs(by)/2)
		} else {
			uSlope *= math.Sqrt2 / max(c.spacing(), math.Abs(by))
		}
		// A heel that stands elsewhere moves both to where the slope is another.
		heel := c.uHeel * math.Abs(1/max(slope, 1e-9)-1/max(math.Abs(c.line.Slope(to.Angle.Degrees())), 1e-9))
		u = math.Hypot(math.Abs(by)*uSlope/max(slope, 1e-9), heel)
		if c.options.MeasuredAt == AtLobe {
			u = math.Hypot(u, math.Abs(by)*c.options.RatioU/c.options.Ratio/coverage)
		}
		return by, u, true
	}
	opens, uOpens, ok1 := moved(p.Opens, -1)
	closes, uCloses, ok2 := moved(p.Closes, +1)
	if !ok1 || !ok2 {
		return e, fmt.Errorf("with the lash changed by %v the curve does not come down to %v on both sides", change, p.CheckingLift)
	}
	e.OpensLater, e.OpensLaterU = degrees(opens), degrees(coverage*uOpens)
	e.ClosesEarlier, e.ClosesEarlierU = degrees(closes), degrees(coverage*uCloses)
	e.DurationLess, e.DurationLessU = degrees(opens+closes), degrees(coverage*math.Hypot(uOpens, uCloses))
	e.Says = worksheet.Sayf("%v %s lash: at %v opens %.2f %s degrees %s, closes %.2f %s %s, duration %.2f %s %s",
		change.Abs(), moreOrLess(float64(change), "more", "less"), p.CheckingLift,
		math.Abs(opens), give(e.OpensLaterU), moreOrLess(opens, "later", "earlier"),
		math.Abs(closes), give(e.ClosesEarlierU), moreOrLess(closes, "earlier", "later"),
		math.Abs(opens+closes), give(e.DurationLessU), moreOrLess(opens+closes, "less", "more"))
	return e, nil
}

// spacing is the mean distance of the curve's points in crank degrees.
func (c *Curve) spacing() float64 { return (c.x[len(c.x)-1] - c.x[0]) / float64(len(c.x)-1) }

// give writes an uncertainty in degrees; none at all means that no step of lift or
// angle is known that it could be made of.
func give(u measure.Angle) string {
	if u == 0 {
		return "(± not known)"
	}
	return fmt.Sprintf("± %.2f", max(u.Degrees(), 0.01))
}
