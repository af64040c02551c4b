package storage

import (
	"slices"
	"time"

	"lobescribe/device/measure"
)

// TopDeadCentre is what is known of where an engine's encoder counts from.
type TopDeadCentre struct {
	// Angle is what the encoder counts when the piston of cylinder 1 is at top
	// dead centre of its firing stroke. It may have counted many turns by then.
	Angle measure.Angle `json:"angle_deg"`
	// U is the expanded uncertainty of Angle, k = 2; 0 when nobody could tell.
	U measure.Angle `json:"u_deg,omitempty"`
	// Method is how it was found; "" when that is not known.
	Method TDCMethod `json:"method,omitempty"`
	// On is the day on which it was found, as in "2026-11-25"; "" when that is
	// not known.
	On string `json:"on,omitempty"`
}

// TDCMethod is a way of finding top dead centre.
type TDCMethod string

// The ways, in the words that the calculation of top dead centre has for them.
const (
	TDCByStop   TDCMethod = "positive stop"           // a stop in the plug hole, from both sides
	TDCByPiston TDCMethod = "indicator on the piston" // equal drops before and after
	TDCTyped    TDCMethod = "typed"                   // a person's figure
)

// check says which field cannot be as it is.
func (t TopDeadCentre) check(bad func(field, format string, args ...any) error) error {
	if t.Angle < -mostTurns || t.Angle > mostTurns {
		return bad("tdc.angle_deg", "is %s; it must be within 1000 turns", t.Angle)
	}
	if t.U < 0 || t.U > 90*measure.Degree {
		return bad("tdc.u_deg", "is %s; it must be 0 (not known) to 90 degrees", t.U)
	}
	if !slices.Contains([]TDCMethod{"", TDCByStop, TDCByPiston, TDCTyped}, t.Method) {
		return bad("tdc.method", "is %q; write %q, %q or %q", t.Method, TDCByStop, TDCByPiston, TDCTyped)
	}
	if _, err := time.Parse(time.DateOnly, t.On); t.On != "" && err != nil {
		return bad("tdc.on", "is %q; write a day as in 2026-11-25", t.On)
	}
	return nil
}
