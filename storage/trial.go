package storage

import (
	"errors"
	"fmt"
	"time"

	"lobescribe/device/measure"
)

// Trial is one set-up of a valve, and what it gave.
type Trial struct {
	ID     string    `json:"id"`
	Rev    Rev       `json:"rev,omitempty"`
	Engine string    `json:"engine"`
	Valve  string    `json:"valve"`
	At     time.Time `json:"at"`
	// Stack are the shims under the stand, from the head up.
	Stack         []measure.Length `json:"stack_mm,omitempty"`
	PushrodLength measure.Length   `json:"pushrod_length_mm,omitempty"`
	Lash          measure.Length   `json:"lash_mm,omitempty"`
	// AdjusterBelowValve is how much lower the adjuster's contact stands than
	// the valve tip's at half lift, negative when it stands higher; nil when
	// it was not measured.
	AdjusterBelowValve *measure.Length `json:"adjuster_below_valve_mm,omitempty"`
	// Sweep is how far the contact wanders over the valve tip; nil when it was
	// not measured.
	Sweep *measure.Length `json:"sweep_mm,omitempty"`
	// OpenVsClosed is how much nearer the pivot the tip touches at full lift than
	// on the closed valve, negative when farther away; nil when it was not
	// measured.
	OpenVsClosed *measure.Length `json:"open_vs_closed_mm,omitempty"`
	MaxLift      *measure.Length `json:"max_lift_mm,omitempty"`
	Traces       []ID            `json:"traces,omitempty"`
	Remark       string          `json:"remark,omitempty"`
}

// Height returns the height of the shim stack.
func (t Trial) Height() measure.Length {
	var sum measure.Length
	for _, shim := range t.Stack {
		sum += shim
	}
	return sum
}

// Validate says which field is wrong and what it should be; the error is a
// [*FieldError].
func (t Trial) Validate() error {
	bad := badField("trial", t.ID)
	if !slug.MatchString(t.ID) {
		return bad("id", `must be of small letters, digits, "-", "_" and ".", beginning with a letter or digit, at most 64`)
	}
	if !slug.MatchString(t.Engine) {
		return bad("engine", "is %q; name the engine that it belongs to", t.Engine)
	}
	if err := errors.Join(checkName(bad, "valve", t.Valve), checkText(bad, "remark", t.Remark)); err != nil {
		return err
	}
	if t.Valve == "" {
		return bad("valve", `is missing; name it like "3I" or "3E"`)
	}
	for i, shim := range t.Stack {
		if shim <= 0 {
			return bad(fmt.Sprintf("stack_mm[%d]", i), "is %s; a shim's thickness must be above 0", shim)
		}
	}
	if t.PushrodLength < 0 {
		return bad("pushrod_length_mm", "is %s; it cannot be below 0", t.PushrodLength)
	}
	if t.Lash < 0 {
		return bad("lash_mm", "is %s; it cannot be below 0 (preload is not lash)", t.Lash)
	}
	return nil
}

// Bench is what the bench is set to: what the next trace is of, and through
// which devices it comes.
type Bench struct {
	Rev    Rev    `json:"rev,omitempty"`
	Engine string `json:"engine,omitempty"`
	Valve  string `json:"valve,omitempty"`
	Trial  string `json:"trial,omitempty"`
	// Against is what the sweep gauge lies against; empty: the tip.
	Against Against `json:"against,omitempty"`
	// Devices is role ("indicator", "encoder", "sweep") to address.
	Devices map[string]string `json:"devices,omitempty"`
	// Units in which the page shows lengths: "in" or "mm".
	Units string `json:"units,omitempty"`
}
