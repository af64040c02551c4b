package shims

import (
	"encoding/json"
	"fmt"

	"lobescribe/capture/rocker"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Stack is the thicknesses under a stand. In JSON it is a list, or one number
// for the whole.
type Stack []measure.Length

// UnmarshalJSON reads a number of millimetres or a list of them.
func (s *Stack) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] != '[' {
		var one measure.Length
		if err := one.UnmarshalJSON(b); err != nil {
			return &worksheet.Problem{Says: fmt.Sprintf("%s will not do: expected a number of millimetres, or a list of them", b)}
		}
		*s = Stack{one}
		return nil
	}
	var raw []json.RawMessage
	if err := json.Unmarshal(b, &raw); err != nil {
		return err
	}
	*s = make(Stack, len(raw))
	for i, r := range raw {
		if err := (*s)[i].UnmarshalJSON(r); err != nil {
			return &worksheet.Problem{Field: fmt.Sprintf("[%d]", i), Says: fmt.Sprintf("%s will not do: expected a number of millimetres", r)}
		}
	}
	return nil
}

// Total is the thickness of the whole stack.
func (s Stack) Total() measure.Length {
	var total measure.Length
	for _, l := range s {
		total += l
	}
	return total
}

// Trial is one set-up that was looked at, at half lift.
type Trial struct {
	// Stack is everything under the stand; zero or left out: no shim.
	Stack Stack `json:"stack_mm" bound:"stack"`
	// AdjusterBelowValve is above zero when the adjuster's end sits below the
	// valve's end.
	AdjusterBelowValve *measure.Length `json:"adjuster_below_valve_mm" bound:"height"`
	// Mark is the width of the mark that the tip leaves on the stem over one
	// opening. OpenVsClosed is how much nearer the pivot the tip touches at full
	// lift than on the closed valve (below zero: farther away), middle of one
	// line to middle of the other. Both tell of the rocker itself and not of its
	// bend; they need the question's Lift.
	Mark         *measure.Length `json:"mark_mm,omitempty" bound:"mark"`
	OpenVsClosed *measure.Length `json:"open_vs_closed_mm,omitempty" bound:"offset"`
}

// Thickness is a shim on hand and how many there are.
type Thickness struct {
	Thickness measure.Length `json:"thickness_mm" bound:"shim"`
	Count     int            `json:"count" bound:"count"`
}

// Question asks for the next stack.
type Question struct {
	// RockerRatio is that of the arms, valve's over adjuster's. It may be left
	// out when both arms are given.
	RockerRatio float64 `json:"rocker_ratio,omitzero" bound:"ratio" flag:"ratio" help:"rocker ratio of the arms, valve's over adjuster's"`
	Trials      []Trial `json:"trials" flag:"trial" form:"STACK:BELOW" help:"a trial, as in \"0.020 in: 0.140 in\"; a stack of several shims as \"0.050+0.020 in\"; a third figure is how much nearer the pivot the tip touches at full lift than on the closed valve (needs --lift); again for each trial"`
	// OnHand is everything that could go under the stand, shims that are there
	// now among it. Left out, wanted is told and no stack is put together.
	OnHand []Thickness `json:"on_hand_mm,omitempty" flag:"have" form:"COUNT x THICKNESS" help:"shims on hand, as in \"4 x 0.015 in\"; again for each thickness"`
	// ValveArm is from the pivot to the tip's centre, AdjusterArm to the ball.
	ValveArm    measure.Length `json:"valve_arm_mm,omitzero" bound:"arm" flag:"valve-arm" help:"pivot to tip's centre, for a bent rocker"`
	AdjusterArm measure.Length `json:"adjuster_arm_mm,omitzero" bound:"arm" flag:"adjuster-arm" help:"pivot to adjuster's ball, for a bent rocker"`
	// Tip is roller (the default) or pad. The heights of a pad are those of the
	// point where it touches, and ValveArm goes to that point, measured with the
	// rocker near its right angle: TipRadius, which then must be told, takes both to
	// the centre of its curvature. TipRadiusU is its expanded uncertainty (k = 2),
	// default 0.5 mm (a radius gauge).
	Tip        string          `json:"tip,omitzero" flag:"tip" help:"roller or pad (default roller)"`
	TipRadius  measure.Length  `json:"tip_radius_mm,omitzero" bound:"radius" flag:"tip-radius" help:"radius of a pad, which must be told: heights and arm are those of where it touches"`
	TipRadiusU *measure.Length `json:"tip_radius_u_mm,omitempty" bound:"u" flag:"tip-radius-u" help:"how well the pad's radius is measured (k = 2; default 0.5 mm)"`
	// Bend is how far the adjuster's arm stands above the line of the valve's
	// arm; BallAboveLine says the same without an arm, by how far the middle of
	// the adjuster's ball stands above a straight edge through the centres of
	// tip and pivot. One of the two. Left out: the rocker is taken as straight
	// to 10 deg, and the answer's ± holds what that leaves.
	Bend          *measure.Angle  `json:"bend_deg,omitempty" bound:"lean" flag:"bend" help:"how far the adjuster's arm stands above the line of the valve's arm (default unknown, within 10 degrees)"`
	BallAboveLine *measure.Length `json:"ball_above_line_mm,omitempty" bound:"offset" flag:"ball-above-line" help:"how far the middle of the adjuster's ball stands above a straight edge through the centres of tip and pivot; in place of --bend"`
	// BendU and BallU are their expanded uncertainties (k = 2). Default 2 deg
	// (a protractor) and 0.3 mm (a straight edge and a feeler).
	BendU *measure.Angle  `json:"bend_u_deg,omitempty" bound:"angle u" flag:"bend-u" help:"how well the bend was measured (k = 2; default 2 degrees)"`
	BallU *measure.Length `json:"ball_above_line_u_mm,omitempty" bound:"u" flag:"ball-u" help:"how well --ball-above-line was measured (k = 2; default 0.3 mm)"`
	// CentresU is how far the two points whose heights are compared may stand
	// from the centres of tip and ball, in their difference (k = 2), alike in
	// every trial. Default 0.5 mm.
	CentresU *measure.Length `json:"centres_u_mm,omitempty" bound:"u" flag:"centres-u" help:"how near to the centres the heights were taken (k = 2; default 0.5 mm)"`
	// Lift is the valve's full lift, for the marks; ArmsU (default 0.5 mm) and
	// MarkU (default 0.1 mm) are those of the arms and of a mark (k = 2).
	Lift  measure.Length  `json:"lift_mm,omitzero" bound:"lift" flag:"lift" help:"full lift at the valve, for marks on the stem"`
	ArmsU *measure.Length `json:"arms_u_mm,omitempty" bound:"u" flag:"arms-u" help:"how well the arms were measured (k = 2; default 0.5 mm)"`
	MarkU *measure.Length `json:"mark_u_mm,omitempty" bound:"u" flag:"mark-u" help:"how well a mark was measured (k = 2; default 0.1 mm)"`
	// Tolerance is how far off square at half lift, as a height of the stand,
	// the builder calls square. Default 0.381 mm (0.015 in, the thinnest of the
	// usual shims; common practice, no source).
	Tolerance *measure.Length `json:"tolerance_mm,omitempty" bound:"tolerance" flag:"tolerance" help:"how far off square, as a height of the stand, you call square (default 0.381 mm)"`
	// BelowU is how well AdjusterBelowValve was measured (k = 2). Left out, it
	// is judged from the trials.
	BelowU measure.Length `json:"adjuster_below_valve_u_mm,omitzero" bound:"u" flag:"below-u" help:"how well the height difference was measured (k = 2)"`
	// StackLeast and StackMost are what stand and studs allow.
	StackLeast *measure.Length `json:"stack_least_mm,omitempty" bound:"stack" flag:"stack-least" help:"least stack that the stand takes"`
	StackMost  *measure.Length `json:"stack_most_mm,omitempty" bound:"stack" flag:"stack-most" help:"tallest stack that the studs hold"`
	// AdjusterDown and AdjusterUp are how far the adjuster can still be turned
	// from where it stands in the last trial, when the pushrod is to stay. Left
	// out, the pushrod is cut to suit.
	AdjusterDown *measure.Length `json:"adjuster_down_mm,omitempty" bound:"thread" flag:"adjuster-down" help:"how far the adjuster can still go down, if the pushrod is to stay"`
	AdjusterUp   *measure.Length `json:"adjuster_up_mm,omitempty" bound:"thread" flag:"adjuster-up" help:"how far the adjuster can still go up, if the pushrod is to stay"`
}

// mostTrials and mostKinds keep a question to what a bench can hold.
const (
	mostTrials = 50
	mostKinds  = 100
	mostCount  = 1000
)

func (q Question) check() error {
	var c worksheet.Check
	if c.Bounds(q); c.Err() != nil {
		return c.Err()
	}
	haveArms := q.ValveArm != 0 && q.AdjusterArm != 0
	c.That(q.RockerRatio != 0 || haveArms, "rocker_ratio", "is missing: give it, or both valve_arm_mm and adjuster_arm_mm")
	if q.RockerRatio != 0 {
		c.Within("rocker_ratio", q.RockerRatio, 0.2, 5)
	}
	for _, l := range []struct {
		field string
		l     measure.Length
	}{
		{"valve_arm_mm", q.ValveArm}, {"adjuster_arm_mm", q.AdjusterArm},
		{"adjuster_below_valve_u_mm", q.BelowU},
	} {
		c.NotNegative(l.field, l.l)
	}
	for _, l := range []struct {
		field string
		l     *measure.Length
	}{
		{"stack_least_mm", q.StackLeast}, {"stack_most_mm", q.StackMost},
		{"adjuster_down_mm", q.AdjusterDown}, {"adjuster_up_mm", q.AdjusterUp},
		{"ball_above_line_u_mm", q.BallU}, {"centres_u_mm", q.CentresU}, {"tip_radius_u_mm", q.TipRadiusU}, {"arms_u_mm", q.ArmsU}, {"mark_u_mm", q.MarkU},
	} {
		if l.l != nil {
			c.NotNegative(l.field, *l.l)
		}
	}
	if q.StackLeast != nil && q.StackMost != nil {
		c.That(*q.StackLeast <= *q.StackMost, "stack_least_mm", "is %v, above stack_most_mm", *q.StackLeast)
	}
	if q.Bend != nil {
		c.Lean("bend_deg", *q.Bend, 45*measure.Degree)
		c.That(q.BallAboveLine == nil, "ball_above_line_mm", "is given beside bend_deg, which says the same: leave one of the two out")
	}
	if q.BendU != nil {
		c.That(*q.BendU >= 0 && *q.BendU <= 45*measure.Degree, "bend_u_deg", "is %v: expected 0 to 45 deg", *q.BendU)
	}
	if q.BallAboveLine != nil {
		most := measure.FromMillimetres(0.7 * q.adjusterArm())
		c.That(q.BallAboveLine.Abs() <= most, "ball_above_line_mm", "is %v: with this arm expected no more than %v either way", *q.BallAboveLine, most)
	}
	if q.Tolerance != nil {
		c.Positive("tolerance_mm", *q.Tolerance)
	}
	if q.MarkU != nil {
		c.Positive("mark_u_mm", *q.MarkU)
	}
	c.That(q.Tip == "" || q.Tip == rocker.Roller || q.Tip == rocker.Pad, "tip", "is %q: expected %q or %q", q.Tip, rocker.Roller, rocker.Pad)
	c.NotNegative("tip_radius_mm", q.TipRadius)
	if q.Tip == rocker.Pad {
		c.That(q.TipRadius > 0, "tip_radius_mm", "is missing: the point where a pad touches says nothing of its arm or height without the pad's radius (a radius gauge, or the arc drawn on paper)")
		c.That(q.ValveArm == 0 || q.TipRadius < q.ValveArm*9/10, "tip_radius_mm", "is %v, as long as the arm: was the diameter meant?", q.TipRadius)
	}
	c.NotNegative("lift_mm", q.Lift)
	c.That(q.Lift == 0 || q.Lift.Millimetres() < q.valveArm(), "lift_mm", "is %s: more than a rocker with an arm of %s can give", worksheet.InBoth(q.Lift), worksheet.InBoth(worksheet.Rounded(measure.FromMillimetres(q.valveArm()))))
	if haveArms {
		ratio := q.valveArm() / q.AdjusterArm.Millimetres()
		c.That(ratio >= 0.2 && ratio <= 5, "valve_arm_mm", "makes a rocker ratio of %.3g with the adjuster's arm: expected 0.2 to 5", ratio)
		c.That(q.RockerRatio == 0 || q.RockerRatio/ratio > 0.9 && q.RockerRatio/ratio < 1.1, "rocker_ratio",
			"is %v, but the arms make it %.3g: leave out what was not measured", q.RockerRatio, ratio)
	}
	q.checkTrials(&c)
	c.That(len(q.OnHand) <= mostKinds, "on_hand_mm", "has %d thicknesses: no more than %d", len(q.OnHand), mostKinds)
	for i, h := range q.OnHand {
		c.Positive(fmt.Sprintf("on_hand_mm[%d].thickness_mm", i), h.Thickness)
		c.That(h.Count >= 0 && h.Count <= mostCount, fmt.Sprintf("on_hand_mm[%d].count", i),
			"is %d: expected 0 to %d", h.Count, mostCount)
	}
	return c.Err()
}

// checkTrials looks at what was seen at each stack.
func (q Question) checkTrials(c *worksheet.Check) {
	c.That(len(q.Trials) > 0, "trials", "is missing: give at least one trial, its stack_mm and adjuster_below_valve_mm")
	c.That(len(q.Trials) <= mostTrials, "trials", "has %d trials: no more than %d", len(q.Trials), mostTrials)
	for i, t := range q.Trials {
		field := fmt.Sprintf("trials[%d].stack_mm", i)
		for _, l := range t.Stack {
			c.NotNegative(field, l)
		}
		c.That(len(t.Stack) <= mostCount, field, "has %d shims: no more than %d", len(t.Stack), mostCount)
		if c.Err() == nil {
			c.That(t.Stack.Total() <= tallest, field, "is %v high: expected no more than %v", t.Stack.Total(), tallest)
		}
		field = fmt.Sprintf("trials[%d].adjuster_below_valve_mm", i)
		c.That(t.AdjusterBelowValve != nil, field, "is missing: by how much did the adjuster's end sit below the valve's end at half lift?")
		if t.AdjusterBelowValve != nil {
			c.That(t.AdjusterBelowValve.Abs() <= tallest, field, "is %v: expected no more than %v either way", *t.AdjusterBelowValve, tallest)
		}
		for _, m := range []struct {
			name string
			l    *measure.Length
		}{{"mark_mm", t.Mark}, {"open_vs_closed_mm", t.OpenVsClosed}} {
			if m.l == nil {
				continue
			}
			field := fmt.Sprintf("trials[%d].%s", i, m.name)
			c.That(q.Lift > 0, "lift_mm", "is missing: the marks on the stem say nothing without the valve's full lift")
			c.That(m.name != "mark_mm" || *m.l > 0, field, "is %v: a mark has a width above zero; leave it out if it was not measured", *m.l)
			c.That(m.l.Abs() <= q.Lift, field, "is %v, more than the lift: no rocker slides that far", *m.l)
		}
	}
}

// tallest is the largest stack or height difference taken for real.
const tallest = 200 * measure.Millimetre
