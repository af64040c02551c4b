package shims

import (
	"encoding/json"
	"fmt"

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
	Stack Stack `json:"stack_mm"`
	// AdjusterBelowValve is above zero when the adjuster's end sits below the
	// valve's end.
	AdjusterBelowValve *measure.Length `json:"adjuster_below_valve_mm"`
}

// Thickness is a shim on hand and how many there are.
type Thickness struct {
	Thickness measure.Length `json:"thickness_mm"`
	Count     int            `json:"count"`
}

// Question asks for the next stack.
type Question struct {
	// RockerRatio is that of the arms, valve's over adjuster's. It may be left
	// out when both arms are given.
	RockerRatio float64 `json:"rocker_ratio,omitzero"`
	Trials      []Trial `json:"trials"`
	// OnHand is everything that could go under the stand, shims that are there
	// now among it. Left out, wanted is told and no stack is put together.
	OnHand []Thickness `json:"on_hand_mm,omitempty"`
	// ValveArm, AdjusterArm and Bend (how far the adjuster's arm stands above
	// the line of the valve's arm) make the geometry exact for a bent rocker.
	ValveArm    measure.Length `json:"valve_arm_mm,omitzero"`
	AdjusterArm measure.Length `json:"adjuster_arm_mm,omitzero"`
	Bend        measure.Angle  `json:"bend_deg,omitzero"`
	// BelowU is how well AdjusterBelowValve was measured (k = 2). Left out, it
	// is judged from the trials.
	BelowU measure.Length `json:"adjuster_below_valve_u_mm,omitzero"`
	// StackLeast and StackMost are what stand and studs allow.
	StackLeast *measure.Length `json:"stack_least_mm,omitempty"`
	StackMost  *measure.Length `json:"stack_most_mm,omitempty"`
	// AdjusterDown and AdjusterUp are how far the adjuster can still be turned
	// from where it stands in the last trial, when the pushrod is to stay. Left
	// out, the pushrod is cut to suit.
	AdjusterDown *measure.Length `json:"adjuster_down_mm,omitempty"`
	AdjusterUp   *measure.Length `json:"adjuster_up_mm,omitempty"`
}

// mostTrials and mostKinds keep a question to what a bench can hold.
const (
	mostTrials = 50
	mostKinds  = 100
	mostCount  = 1000
)

func (q Question) check() error {
	var c worksheet.Check
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
	} {
		if l.l != nil {
			c.NotNegative(l.field, *l.l)
		}
	}
	if q.StackLeast != nil && q.StackMost != nil {
		c.That(*q.StackLeast <= *q.StackMost, "stack_least_mm", "is %v, above stack_most_mm", *q.StackLeast)
	}
	c.Lean("bend_deg", q.Bend, 45*measure.Degree)
	if haveArms {
		ratio := float64(q.ValveArm) / float64(q.AdjusterArm)
		c.That(ratio >= 0.2 && ratio <= 5, "valve_arm_mm", "makes a rocker ratio of %.3g with the adjuster's arm: expected 0.2 to 5", ratio)
		c.That(q.RockerRatio == 0 || q.RockerRatio/ratio > 0.9 && q.RockerRatio/ratio < 1.1, "rocker_ratio",
			"is %v, but the arms make it %.3g: leave out what was not measured", q.RockerRatio, ratio)
	}
	c.That(q.Bend == 0 || q.ValveArm != 0 || q.AdjusterArm != 0, "bend_deg",
		"needs an arm: give valve_arm_mm, or leave the bend out")

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
	}
	c.That(len(q.OnHand) <= mostKinds, "on_hand_mm", "has %d thicknesses: no more than %d", len(q.OnHand), mostKinds)
	for i, h := range q.OnHand {
		c.Positive(fmt.Sprintf("on_hand_mm[%d].thickness_mm", i), h.Thickness)
		c.That(h.Count >= 0 && h.Count <= mostCount, fmt.Sprintf("on_hand_mm[%d].count", i),
			"is %d: expected 0 to %d", h.Count, mostCount)
	}
	return c.Err()
}

// tallest is the largest stack or height difference taken for real.
const tallest = 200 * measure.Millimetre
