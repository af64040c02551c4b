package sweep

import (
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Pass is a turn's readings in the order in which they came, one of each at a time.
type Pass struct {
	// Lift is above the heel, Sweep as the gauge reads it.
	Lift  []measure.Length `json:"lift_mm" bound:"reading"`
	Sweep []measure.Length `json:"sweep_mm" bound:"reading"`
}

// Question asks where the arm is square.
type Question struct {
	// Turn is against the tip; Reference against the side of stem, lash cap or
	// retainer with the gauge where it was.
	Turn      Pass  `json:"turn"`
	Reference *Pass `json:"reference,omitempty"`
	// Lift is the valve's full lift; left out, the most that the turn shows. LiftU
	// is its expanded uncertainty (k = 2, default 0.02 mm).
	Lift  measure.Length  `json:"lift_mm,omitzero" bound:"lift" flag:"lift" help:"full lift at the valve (default: the most that the turn shows)"`
	LiftU *measure.Length `json:"lift_u_mm,omitempty" bound:"u" flag:"lift-u" help:"how well that is known (k = 2; default 0.02 mm)"`
	// ValveArm is from pivot to tip's centre, ArmsU its uncertainty (k = 2, default
	// 0.5 mm). Left out: 38 mm give or take 8, and what the curve says.
	ValveArm measure.Length  `json:"valve_arm_mm,omitzero" bound:"arm" flag:"valve-arm" help:"pivot to the tip's centre (default 38 mm to 8 mm, and what the curve says)"`
	ArmsU    *measure.Length `json:"arms_u_mm,omitempty" bound:"u" flag:"arms-u" help:"how well the arm is measured (k = 2; default 0.5 mm)"`
	// TiltWithin is how far off square to the stem the gauge may stand, either way.
	// Default 3 deg.
	TiltWithin *measure.Angle `json:"tilt_within_deg,omitempty" bound:"tilt" flag:"tilt-within" help:"how far off square to the stem the gauge may stand, either way (default 3 degrees)"`
	// GaugeU is how well a gauge reads over its travel (k = 2): linearity and what
	// else neighbouring readings share. Default twice the step of its readings, 0.005
	// mm at least.
	GaugeU *measure.Length `json:"gauge_u_mm,omitempty" bound:"u" flag:"gauge-u" help:"how well the gauge reads over its travel (k = 2; default twice its step, 0.005 mm at least)"`
	// SideU is how parallel to the valve's travel the side of the reference pass
	// stays (k = 2): its taper, and the stem's play in its guide. Default 0.03 deg.
	SideU *measure.Angle `json:"side_u_deg,omitempty" bound:"angle u" flag:"side-u" help:"how parallel to the valve's travel the side of the reference pass stays, taper and play in the guide (k = 2; default 0.03 degrees)"`
	// RunOut is the total run-out of that side and TurnsWithin how far it may turn
	// over an opening, either way; RollerRunOut that of the tip's roller. Default
	// 0.03 mm, 20 deg and 0.02 mm.
	RunOut       *measure.Length `json:"run_out_mm,omitempty" bound:"run-out" flag:"run-out" help:"total run-out of that side (default 0.03 mm)"`
	TurnsWithin  *measure.Angle  `json:"turns_within_deg,omitempty" bound:"turning" flag:"turns-within" help:"how far the side may turn about the stem's axis over an opening (default 20 degrees)"`
	RollerRunOut *measure.Length `json:"roller_run_out_mm,omitempty" bound:"run-out" flag:"roller-run-out" help:"total run-out of the tip's roller (default 0.02 mm)"`
	// Bend, BendU and PushrodLean say how full lift changes when the stand is
	// raised; left out, straight to 10 deg and along the stem to 5 deg.
	Bend        *measure.Angle `json:"bend_deg,omitempty" bound:"lean" flag:"bend" help:"the rocker's bend (default straight, within 10 degrees)"`
	BendU       *measure.Angle `json:"bend_u_deg,omitempty" bound:"angle u" flag:"bend-u" help:"how well the bend was measured (k = 2; default 2 degrees)"`
	PushrodLean *measure.Angle `json:"pushrod_lean_deg,omitempty" bound:"lean" flag:"lean" help:"the pushrod's lean at half lift, lower end towards the pivot"`
	StandLean   measure.Angle  `json:"stand_lean_deg,omitzero" bound:"lean" flag:"stand-lean" help:"the stand's lean against the stem"`
	// Tolerance is how far off square at half lift, as a height of the stand, the
	// builder calls square. Default 0.381 mm (0.015 in; common practice, no source).
	Tolerance *measure.Length `json:"tolerance_mm,omitempty" bound:"tolerance" flag:"tolerance" help:"how far off square, as a height of the stand, you call square (default 0.381 mm)"`
}

// What was not told. Common practice, no source.
const (
	usualArm, usualArmU = 38.0, 8.0 // mm
	defaultArmU         = 500 * measure.Micrometre
	defaultLiftU        = 20 * measure.Micrometre
	defaultTilt         = 3 * measure.Degree
	leastGaugeU         = 5 * measure.Micrometre    // of a good gauge of a micrometre's step
	defaultSideU        = 30_000 * measure.Angle(1) // 0.03 deg
	defaultRunOut       = 30 * measure.Micrometre
	defaultTurns        = 20 * measure.Degree
	defaultRollerOut    = 20 * measure.Micrometre
	unknownBend         = 10 * measure.Degree
	measuredAngle       = 2 * measure.Degree
	unknownLean         = 5 * measure.Degree
	defaultSquare       = 381 * measure.Micrometre
	fewest              = 20
	mostReadings        = 2_000_000
	counts              = 3.0 // readings of a gauge's own uncertainty that a pass is worth
	left                = 0.02
	leastSpan           = 0.4 // of full lift, that a pass must go through
)

func (q Question) check() error {
	var c worksheet.Check
	if c.Bounds(q); c.Err() != nil {
		return c.Err()
	}
	for _, p := range []struct {
		field string
		pass  *Pass
	}{{"turn", &q.Turn}, {"reference", q.Reference}} {
		if p.pass == nil {
			continue
		}
		n := len(p.pass.Lift)
		c.That(n == len(p.pass.Sweep), p.field+".sweep_mm", "has %d readings and lift_mm %d: give one of each at a time", len(p.pass.Sweep), n)
		c.That(n >= fewest, p.field+".lift_mm", "has %d readings: a pass needs at least %d", n, fewest)
		c.That(n <= mostReadings, p.field+".lift_mm", "has %d readings: no more than %d", n, mostReadings)
		for i := range min(n, len(p.pass.Sweep)) {
			c.Sane(p.field+".lift_mm", p.pass.Lift[i])
			c.Sane(p.field+".sweep_mm", p.pass.Sweep[i])
		}
	}
	c.NotNegative("lift_mm", q.Lift)
	c.That(q.ValveArm == 0 || q.ValveArm >= 5*measure.Millimetre && q.ValveArm <= 500*measure.Millimetre, "valve_arm_mm", "is %v: expected 5 mm to 500 mm", q.ValveArm)
	for _, l := range []struct {
		field string
		l     *measure.Length
	}{{"lift_u_mm", q.LiftU}, {"arms_u_mm", q.ArmsU}, {"gauge_u_mm", q.GaugeU}, {"run_out_mm", q.RunOut}, {"roller_run_out_mm", q.RollerRunOut}} {
		c.That(l.l == nil || *l.l >= 0 && *l.l <= 20*measure.Millimetre, l.field, "is outside of 0 to 20 mm")
	}
	for _, a := range []struct {
		field string
		a     *measure.Angle
		most  measure.Angle
	}{{"tilt_within_deg", q.TiltWithin, 15 * measure.Degree}, {"side_u_deg", q.SideU, 5 * measure.Degree}, {"turns_within_deg", q.TurnsWithin, 180 * measure.Degree}, {"bend_u_deg", q.BendU, 45 * measure.Degree}} {
		c.That(a.a == nil || *a.a >= 0 && *a.a <= a.most, a.field, "is outside of 0 to %v", a.most)
	}
	for _, a := range []struct {
		field string
		a     *measure.Angle
	}{{"bend_deg", q.Bend}, {"pushrod_lean_deg", q.PushrodLean}, {"stand_lean_deg", &q.StandLean}} {
		if a.a != nil {
			c.Lean(a.field, *a.a, 45*measure.Degree)
		}
	}
	if q.Tolerance != nil {
		c.Positive("tolerance_mm", *q.Tolerance)
	}
	return c.Err()
}

func or[T any](v *T, otherwise T) T {
	if v != nil {
		return *v
	}
	return otherwise
}

func radians(a measure.Angle) float64 { return a.Degrees() * math.Pi / 180 }
