package rocker

import (
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// The tips a rocker can have.
const (
	Roller = "roller" // rolls over the stem
	Pad    = "pad"    // slides over it
)

// Question is a rocker as it can be measured on the bench. What is required: a
// lift and two of valve arm, adjuster arm and ratio (one of them alone will do,
// with the other taken at a usual value). All else may be left out.
type Question struct {
	// ValveArm is from the pivot to the tip's centre, the axle of a roller. A
	// pad's centre of curvature is nowhere to be touched: for a pad it is from
	// the pivot to the point that touches the stem at half lift, and TipRadius
	// takes it to the centre.
	ValveArm measure.Length `json:"valve_arm_mm,omitzero" bound:"arm" flag:"valve-arm" help:"pivot to the tip's centre; of a pad to where it touches at half lift"`
	// AdjusterArm is from the pivot to the middle of the adjuster's ball.
	AdjusterArm measure.Length `json:"adjuster_arm_mm,omitzero" bound:"arm" flag:"adjuster-arm" help:"pivot to the adjuster's ball"`
	RockerRatio float64        `json:"rocker_ratio,omitzero" bound:"ratio" flag:"ratio" help:"rocker ratio, in place of an arm"`
	// Bend is by how much the adjuster's arm stands above the line of the
	// valve's arm. Left out: straight to 10 deg, which stands in the ±.
	Bend *measure.Angle `json:"bend_deg,omitempty" bound:"lean" flag:"bend" help:"how far the adjuster's arm stands above the line of the valve's arm (default straight, within 10 degrees)"`
	// Tip is Roller (the default) or Pad, TipRadius its radius: for a roller
	// only the drawing needs it, a pad's must be told. TipRadiusU is its expanded
	// uncertainty (k = 2), default 0.5 mm (a radius gauge).
	Tip        string          `json:"tip,omitzero" flag:"tip" help:"roller or pad (default roller)"`
	TipRadius  measure.Length  `json:"tip_radius_mm,omitzero" bound:"radius" flag:"tip-radius" help:"radius of the tip: a pad's must be told, a roller's is for the drawing"`
	TipRadiusU *measure.Length `json:"tip_radius_u_mm,omitempty" bound:"u" flag:"tip-radius-u" help:"how well the pad's radius is measured (k = 2; default 0.5 mm)"`
	// Lift is the valve's full lift, or LobeLift the lifter's. One of the two.
	Lift     measure.Length `json:"lift_mm,omitzero" bound:"lift" flag:"lift" help:"full lift at the valve"`
	LobeLift measure.Length `json:"lobe_lift_mm,omitzero" bound:"lift" flag:"lobe-lift" help:"full lift at the lifter, in place of --lift"`
	// Lash is at the valve, on the heel.
	Lash measure.Length `json:"lash_mm,omitzero" bound:"lash" flag:"lash" help:"lash at the valve, on the heel"`
	// AdjusterBelowValve is by how much the adjuster's end of the rocker sits
	// below the valve's end at half lift; below zero when it sits above. The
	// valve's end is the tip's centre, of a pad the point that touches. Left
	// out: the rocker is taken to be square there.
	AdjusterBelowValve *measure.Length `json:"adjuster_below_valve_mm,omitempty" bound:"height" flag:"below" help:"by how much the adjuster's end sits below the valve's end at half lift"`
	// Pushrod is from the middle of its upper ball to that of the lower.
	Pushrod measure.Length `json:"pushrod_mm,omitzero" bound:"pushrod" flag:"pushrod" help:"pushrod between the middles of its balls"`
	// PushrodLean is against the valve axis at half lift, above zero with the
	// lower end towards the pivot. LifterLean likewise; left out, the lifter's
	// bore is in line with the pushrod at half lift.
	PushrodLean *measure.Angle `json:"pushrod_lean_deg,omitempty" bound:"lean" flag:"lean" help:"the pushrod's lean at half lift, lower end towards the pivot"`
	LifterLean  *measure.Angle `json:"lifter_lean_deg,omitempty" bound:"lean" flag:"lifter-lean" help:"the lifter bore's lean (default in line with the pushrod)"`
	// StandLean is that of the stand's studs against the valve axis, above zero
	// when raising the stand takes it towards the valve.
	StandLean measure.Angle `json:"stand_lean_deg,omitzero" bound:"lean" flag:"stand-lean" help:"the stand's lean against the valve axis"`
	// PivotToStem is from the pivot, level, to the middle of the stem. Left
	// out, contact is told from the middle of its own mark.
	PivotToStem measure.Length `json:"pivot_to_stem_mm,omitzero" bound:"arm" flag:"pivot-to-stem" help:"pivot, level, to the middle of the stem"`
	// AtLift asks for poses at further valve lifts, AtLobeLift at lobe lifts
	// (within the lash the valve's lift is below zero there: the gap that is
	// left). Beyond full lift there is full lift.
	AtLift     []measure.Length `json:"at_lift_mm,omitempty" bound:"at lift" flag:"at-lift" help:"further lifts to give the pose at, by commas"`
	AtLobeLift []measure.Length `json:"at_lobe_lift_mm,omitempty" bound:"at lift" flag:"at-lobe-lift" help:"further lobe lifts to give the pose at, by commas"`
	// Points is how many points the ratio curve has. Default 25.
	Points int `json:"points,omitzero" bound:"points"`
	// ArmsU and BelowU are the expanded uncertainties (k = 2) of the arms and
	// of the height difference, CentresU that of the two points whose heights
	// are compared against the centres, BendU that of the bend. Default 0.5 mm
	// (a caliper on rounded ends), 0.2 mm, 0.5 mm and 2 deg (10 deg where the
	// bend was not told).
	ArmsU    *measure.Length `json:"arms_u_mm,omitempty" bound:"u" flag:"arms-u" help:"how well the arms are measured (k = 2; default 0.5 mm)"`
	BelowU   *measure.Length `json:"adjuster_below_valve_u_mm,omitempty" bound:"u" flag:"below-u" help:"how well --below is measured (k = 2; default 0.2 mm)"`
	CentresU *measure.Length `json:"centres_u_mm,omitempty" bound:"u" flag:"centres-u" help:"how near to the centres the heights were taken (k = 2; default 0.5 mm)"`
	BendU    *measure.Angle  `json:"bend_u_deg,omitempty" bound:"angle u" flag:"bend-u" help:"how well the bend was measured (k = 2; default 2 degrees)"`
	// Tolerance is how far off square at half lift, as a height of the stand,
	// the builder calls square. Default 0.381 mm (0.015 in, the thinnest of the
	// usual shims; common practice, no source).
	Tolerance *measure.Length `json:"tolerance_mm,omitempty" bound:"tolerance" flag:"tolerance" help:"how far off square, as a height of the stand, you call square (default 0.381 mm)"`
}

// What an unmeasured quantity is taken to be, and its expanded uncertainty.
// Common practice, no source: they cover what is found on engines with
// pushrods, and the answer shows what hangs on each.
const (
	usualArm       = 38.0 // mm, an inch and a half
	usualArmU      = 8.0
	usualRod       = 220.0
	usualRodU      = 60.0
	nominalRatioU  = 0.03 // of itself: a ratio stamped on a rocker
	unknownBendU   = 10 * math.Pi / 180
	measuredAngleU = 2 * math.Pi / 180
	unknownLeanU   = 5 * math.Pi / 180
	defaultArmsU   = 500 * measure.Micrometre
	defaultBelowU  = 200 * measure.Micrometre
	defaultCentreU = 500 * measure.Micrometre
	defaultRadiusU = 500 * measure.Micrometre
	defaultSquare  = 381 * measure.Micrometre
	defaultPoints  = 25
	mostPoints     = 2001
	steepest       = 45 * measure.Degree
)

// check finds the first field that cannot be.
func (q Question) check() error {
	var c worksheet.Check
	if c.Bounds(q); c.Err() != nil {
		return c.Err()
	}
	c.NotNegative("valve_arm_mm", q.ValveArm)
	c.NotNegative("adjuster_arm_mm", q.AdjusterArm)
	if q.RockerRatio != 0 {
		c.Within("rocker_ratio", q.RockerRatio, 0.2, 5)
	}
	c.That(q.RockerRatio != 0 || q.ValveArm != 0 && q.AdjusterArm != 0, "rocker_ratio",
		"is missing: give it, or both valve_arm_mm and adjuster_arm_mm")
	for _, arm := range []struct {
		field string
		l     measure.Length
	}{{"valve_arm_mm", q.ValveArm}, {"adjuster_arm_mm", q.AdjusterArm}} {
		c.That(arm.l == 0 || arm.l >= measure.Millimetre && arm.l <= 1000*measure.Millimetre, arm.field,
			"is %v: expected 1 mm to 1000 mm", arm.l)
	}
	if q.ValveArm != 0 && q.AdjusterArm != 0 {
		ratio := float64(q.ValveArm) / float64(q.AdjusterArm)
		c.That(ratio >= 0.2 && ratio <= 5, "valve_arm_mm", "makes a rocker ratio of %.3g with the adjuster's arm: expected 0.2 to 5", ratio)
		c.That(q.RockerRatio == 0 || math.Abs(q.RockerRatio/ratio-1) < 0.1, "rocker_ratio",
			"is %v, but the arms make it %.3g: leave out what was not measured", q.RockerRatio, ratio)
	}
	c.That((q.Lift != 0) != (q.LobeLift != 0), "lift_mm", "give lift_mm (at the valve) or lobe_lift_mm, one of the two")
	c.NotNegative("lift_mm", q.Lift)
	c.NotNegative("lobe_lift_mm", q.LobeLift)
	arm := q.usualArm()
	for _, l := range []struct {
		field string
		l     measure.Length
	}{{"lift_mm", q.Lift}, {"lobe_lift_mm", measure.FromMillimetres(q.LobeLift.Millimetres() * max(q.RockerRatio, 1))}} {
		c.That(l.l.Millimetres() < arm, l.field, "makes a lift of %v at the valve, more than a rocker with an arm of %s can give: check both and their units", worksheet.InBoth(worksheet.Rounded(l.l)), inBoth(arm))
	}
	c.NotNegative("lash_mm", q.Lash)
	c.NotNegative("tip_radius_mm", q.TipRadius)
	c.NotNegative("pushrod_mm", q.Pushrod)
	c.NotNegative("pivot_to_stem_mm", q.PivotToStem)
	c.That(q.Tip == "" || q.Tip == Roller || q.Tip == Pad, "tip", "is %q: expected %q or %q", q.Tip, Roller, Pad)
	if q.Tip == Pad {
		c.That(q.TipRadius > 0 || q.ValveArm == 0 && q.AdjusterBelowValve == nil, "tip_radius_mm",
			"is missing: the point where a pad touches says nothing of its arm or height without the pad's radius (a radius gauge, or the arc drawn on paper)")
		c.That(q.ValveArm == 0 || q.TipRadius < q.ValveArm*9/10, "tip_radius_mm", "is %v, as long as the arm: was the diameter meant?", q.TipRadius)
	}
	if q.BendU != nil {
		c.That(*q.BendU >= 0 && *q.BendU <= steepest, "bend_u_deg", "is %v: expected 0 to %v", *q.BendU, steepest)
	}
	if q.Tolerance != nil {
		c.Positive("tolerance_mm", *q.Tolerance)
	}
	for _, lean := range []struct {
		field string
		a     *measure.Angle
	}{{"bend_deg", q.Bend}, {"pushrod_lean_deg", q.PushrodLean}, {"lifter_lean_deg", q.LifterLean}, {"stand_lean_deg", &q.StandLean}} {
		if lean.a != nil {
			c.Lean(lean.field, *lean.a, steepest)
		}
	}
	if q.AdjusterBelowValve != nil {
		c.Sane("adjuster_below_valve_mm", *q.AdjusterBelowValve)
	}
	for _, u := range []struct {
		field string
		l     *measure.Length
	}{{"arms_u_mm", q.ArmsU}, {"adjuster_below_valve_u_mm", q.BelowU}, {"centres_u_mm", q.CentresU}, {"tip_radius_u_mm", q.TipRadiusU}} {
		if u.l != nil {
			c.NotNegative(u.field, *u.l)
		}
	}
	for _, at := range []struct {
		field string
		lifts []measure.Length
	}{{"at_lift_mm", q.AtLift}, {"at_lobe_lift_mm", q.AtLobeLift}} {
		for _, l := range at.lifts {
			c.NotNegative(at.field, l)
		}
		c.That(len(at.lifts) <= mostPoints, at.field, "has %d lifts: no more than %d", len(at.lifts), mostPoints)
	}
	c.That(q.Points == 0 || q.Points >= 2 && q.Points <= mostPoints, "points", "is %d: expected 2 to %d", q.Points, mostPoints)
	return c.Err()
}

// usualArm is the valve's arm in millimetres, that of most where it was not told.
func (q Question) usualArm() float64 {
	switch {
	case q.ValveArm > 0:
		return q.ValveArm.Millimetres()
	case q.AdjusterArm > 0:
		return q.AdjusterArm.Millimetres() * q.RockerRatio
	}
	return usualArm
}

// input is one number of the bench with its uncertainty, and how to move it.
type input struct {
	field   string
	assumed bool
	u       float64 // expanded, k = 2; millimetres, radians or a ratio
	move    func(b *bench, by float64)
}

// bench fills in what was not measured, says so, and lists the inputs.
func (q Question) bench(basis *worksheet.Basis) (bench, []input) {
	var b bench
	in := inputs{basis: basis}
	q.setArms(&b, &in)
	q.setBend(&b, &in)
	q.setHeights(&b, &in)
	q.setPushrod(&b, &in)
	b.standLean = radians(q.StandLean)
	basis.Assume("everything moves in one plane, nothing bends, lash is measured at the valve")
	return b, in.all
}

// inputs are gathered while the bench is set, with what was assumed on the way.
type inputs struct {
	all   []input
	basis *worksheet.Basis
}

func (in *inputs) add(field string, assumed bool, u float64, move func(b *bench, by float64)) {
	in.all = append(in.all, input{field: field, assumed: assumed, u: u, move: move})
}

// setArms sets the arms: as measured, or from one and the ratio.
func (q Question) setArms(b *bench, in *inputs) {
	armsU := orDefault(q.ArmsU, defaultArmsU).Millimetres()
	b.a, b.b = q.ValveArm.Millimetres(), q.AdjusterArm.Millimetres()
	moveArms := func(b *bench, by float64) { // at one ratio
		b.b *= (b.a + by) / b.a
		b.a += by
	}
	moveRatio := func(b *bench, by float64) { b.b = b.a / (b.a/b.b + by) }
	switch {
	case b.a > 0 && b.b > 0:
		in.add("valve_arm_mm", false, armsU, func(b *bench, by float64) { b.a += by })
		in.add("adjuster_arm_mm", false, armsU, func(b *bench, by float64) { b.b += by })
	case b.a > 0:
		b.b = b.a / q.RockerRatio
		b.byRatio, b.ratio = true, q.RockerRatio
		in.add("valve_arm_mm", false, armsU, moveArms)
		in.add("rocker_ratio", false, nominalRatioU*q.RockerRatio, func(b *bench, by float64) {
			moveRatio(b, by)
			b.ratio += by
		})
		in.basis.Assume("the adjuster's arm is the valve's arm over the ratio, %v; the ratio is right to %.0f %%", worksheet.Rounded(measure.FromMillimetres(b.b)), 100*nominalRatioU)
	case b.b > 0:
		b.a = b.b * q.RockerRatio
		in.add("adjuster_arm_mm", false, armsU, moveArms)
		in.add("rocker_ratio", false, nominalRatioU*q.RockerRatio, func(b *bench, by float64) { b.a = b.b * (b.a/b.b + by) })
		in.basis.Assume("the valve's arm is the adjuster's arm times the ratio, %v; the ratio is right to %.0f %%", worksheet.Rounded(measure.FromMillimetres(b.a)), 100*nominalRatioU)
	default:
		b.a = usualArm
		b.b = b.a / q.RockerRatio
		in.add("valve_arm_mm", true, usualArmU, moveArms)
		in.add("rocker_ratio", false, nominalRatioU*q.RockerRatio, moveRatio)
		in.basis.Assume("neither arm was measured: the valve's arm is taken as %v ± %v", measure.FromMillimetres(usualArm), measure.FromMillimetres(usualArmU))
	}
}

// setBend sets the rocker's bend and the pad of its tip.
func (q Question) setBend(b *bench, in *inputs) {
	bendU := measuredAngleU
	if q.Bend != nil {
		b.bend = radians(*q.Bend)
	} else {
		bendU = unknownBendU
		in.basis.Assume("the rocker is straight to 10 deg (tip, pivot and adjuster's ball on one line): its bend was not told, and the ± holds what such a bend does")
	}
	if q.BendU != nil {
		bendU = radians(*q.BendU)
	}
	in.add("bend_deg", q.Bend == nil, bendU, func(b *bench, by float64) { b.bend += by })
	if q.Tip == Pad {
		b.pad, b.touch = q.TipRadius.Millimetres(), q.ValveArm != 0
		if b.pad > 0 {
			in.add("tip_radius_mm", false, orDefault(q.TipRadiusU, defaultRadiusU).Millimetres(), func(b *bench, by float64) { b.pad += by })
			in.basis.Assume("the valve's arm and the height of its end were measured at the point where the pad touches the stem at half lift; the pad is a part of a circle")
		}
	}
}

// setHeights sets the height difference of the two ends.
func (q Question) setHeights(b *bench, in *inputs) {
	belowU := orDefault(q.BelowU, defaultBelowU).Millimetres()
	if q.AdjusterBelowValve != nil {
		b.below = q.AdjusterBelowValve.Millimetres()
		in.add("adjuster_below_valve_mm", false, belowU, func(b *bench, by float64) { b.below += by })
		in.add("centres_u_mm", q.CentresU == nil, orDefault(q.CentresU, defaultCentreU).Millimetres(), func(b *bench, by float64) { b.below += by })
		if q.Tip != Pad {
			in.basis.Assume("heights of the two ends are those of the tip's centre and the adjuster's ball (or of marks on their line)")
		}
	} else {
		b.square = true
		in.basis.Assume("no height difference was measured: the rocker is taken to be square at half lift already")
	}
}

// setPushrod sets the lift, and the pushrod with its lean.
func (q Question) setPushrod(b *bench, in *inputs) {
	b.lift, b.byLobe = q.Lift.Millimetres(), false
	if q.Lift == 0 {
		b.lift, b.byLobe = q.LobeLift.Millimetres(), true
	}
	b.lash = q.Lash.Millimetres()

	b.rod = q.Pushrod.Millimetres()
	if b.rod == 0 {
		b.rod = usualRod
		in.basis.Assume("the pushrod was not measured: taken as %v ± %v between balls", measure.FromMillimetres(usualRod), measure.FromMillimetres(usualRodU))
		in.add("pushrod_mm", true, usualRodU, func(b *bench, by float64) { b.rod += by })
	}
	leanU := measuredAngleU
	if q.PushrodLean != nil {
		b.rodLean = radians(*q.PushrodLean)
	} else {
		leanU = unknownLeanU
		in.basis.Assume("the pushrod runs along the valve axis at half lift (lean 0 ± 5 deg)")
	}
	b.lifterLean = b.rodLean
	if q.LifterLean != nil {
		b.lifterLean = radians(*q.LifterLean)
	} else {
		in.basis.Assume("the lifter's bore is in line with the pushrod at half lift")
	}
	in.add("pushrod_lean_deg", q.PushrodLean == nil, leanU, func(b *bench, by float64) {
		b.rodLean += by
		if q.LifterLean == nil {
			b.lifterLean += by
		}
	})
}

func orDefault(l *measure.Length, otherwise measure.Length) measure.Length {
	if l != nil {
		return *l
	}
	return otherwise
}

func radians(a measure.Angle) float64 { return a.Degrees() * math.Pi / 180 }

func degrees(rad float64) measure.Angle { return measure.FromDegrees(rad * 180 / math.Pi) }
