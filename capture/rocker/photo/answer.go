package photo

import (
	"fmt"
	"math"
	"slices"

	"lobescribe/capture/rocker"
	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Answer is what the photographs say. Every _u_ is expanded, k = 2. What needs
// the ball is there only where it was marked.
type Answer struct {
	// Raise is what to add under the stand (below zero: take away) for the arm to
	// be square to the stem at half lift.
	Raise  measure.Length `json:"raise_mm"`
	RaiseU measure.Length `json:"raise_u_mm"`
	// SquareAt is the lift at which the arm is square now.
	SquareAt  measure.Length `json:"square_at_lift_mm"`
	SquareAtU measure.Length `json:"square_at_lift_u_mm"`
	// HalfAngle is the arm below its right angle to the stem at half lift.
	HalfAngle  measure.Angle `json:"half_angle_deg"`
	HalfAngleU measure.Angle `json:"half_angle_u_deg"`
	// ValveArm is the arm that was told, what a known length says of it and what
	// the photographs at several lifts say of it, together.
	ValveArm    measure.Length       `json:"valve_arm_mm"`
	ValveArmU   measure.Length       `json:"valve_arm_u_mm"`
	Adjuster    *AdjusterArm         `json:"adjuster,omitempty"`
	Verdict     verdict.Verdict      `json:"verdict"`
	Tolerance   measure.Length       `json:"tolerance_mm"`
	Photographs []Shown              `json:"photographs"`
	Depends     []Dependence         `json:"depends"`
	Says        []worksheet.Sentence `json:"says"`
	worksheet.Basis
}

// AdjusterArm is what a marked ball tells: what `calc rocker` and `calc shims`
// otherwise ask for.
type AdjusterArm struct {
	Arm          measure.Length `json:"adjuster_arm_mm"`
	ArmU         measure.Length `json:"adjuster_arm_u_mm"`
	RockerRatio  float64        `json:"rocker_ratio"`
	RockerRatioU float64        `json:"rocker_ratio_u"`
	Bend         measure.Angle  `json:"bend_deg"`
	BendU        measure.Angle  `json:"bend_u_deg"`
	// BallAboveLine is how far the ball stands above the line through the centres
	// of tip and pivot; Below, how far below the tip's centre at half lift.
	BallAboveLine  measure.Length `json:"ball_above_line_mm"`
	BallAboveLineU measure.Length `json:"ball_above_line_u_mm"`
	Below          measure.Length `json:"adjuster_below_valve_mm"`
	BelowU         measure.Length `json:"adjuster_below_valve_u_mm"`
}

// Shown is what one photograph shows by itself.
type Shown struct {
	AtLift measure.Length `json:"at_lift_mm"`
	// Angle is the arm below its right angle to the stem in this picture.
	Angle  measure.Angle `json:"angle_deg"`
	AngleU measure.Angle `json:"angle_u_deg"`
	// Off is by how much that differs from the fit of all.
	Off measure.Angle `json:"off_deg"`
}

// Dependence is one cause of the raise's uncertainty and its share.
type Dependence struct {
	On     string         `json:"on"`
	RaiseU measure.Length `json:"raise_u_mm"`
}

// Solve works out what the photographs say. A question that was not well put
// gives a [worksheet.Problem] with its field; marks that make no rocker give an
// error that says what to check.
func Solve(q Question) (Answer, error) {
	var a Answer
	if err := q.check(); err != nil {
		return a, err
	}
	w, inputs, err := q.world(&a.Basis)
	if err != nil {
		return a, err
	}
	by, err := w.weigh(inputs)
	if err != nil {
		return a, err
	}
	row, residuals, err := w.fit(by)
	if err != nil {
		return a, err
	}
	sd, causes, err := w.spread(inputs, by, row)
	if err != nil {
		return a, fmt.Errorf("with what is not known of these marks nothing can be said of the arm (%w): mark places in photographs that are farther apart, or tell depth_within_mm and the rest more closely", err)
	}
	length := func(fig int) (l, u measure.Length) { return mm(row[fig]), upward(mm(2 * sd[fig])) }
	angle := func(fig int) (l, u measure.Angle) { return degrees(row[fig]), max(degrees(2*sd[fig]), 1) }
	a.Raise, a.RaiseU = length(figRaise)
	a.SquareAt, a.SquareAtU = length(figSquareAt)
	a.HalfAngle, a.HalfAngleU = angle(figHalf)
	field := "photographs"
	if len(q.Photographs) == 1 {
		field = "photographs[0].tip_px"
	}
	if err := rocker.OffSquare(field, a.HalfAngle, "that the marks lie on the stem's axis, the pivot and the tip, each on its own"); err != nil {
		return Answer{}, err
	}
	a.ValveArm, a.ValveArmU = length(figArm)
	if row[figRatio] > 0 {
		a.Adjuster = &AdjusterArm{RockerRatio: row[figRatio], RockerRatioU: 2 * sd[figRatio]}
		a.Adjuster.Arm, a.Adjuster.ArmU = length(figAdjuster)
		a.Adjuster.Bend, a.Adjuster.BendU = angle(figBend)
		a.Adjuster.BallAboveLine, a.Adjuster.BallAboveLineU = length(figBall)
		a.Adjuster.Below, a.Adjuster.BelowU = length(figBelow)
	}
	a.Tolerance = or(q.Tolerance, defaultSquare)
	a.Verdict = verdict.Judge(verdict.Figure[measure.Length]{Value: a.Raise, U: a.RaiseU}, verdict.Within(0, a.Tolerance))
	for i := range w.shots {
		s := Shown{AtLift: mm(w.shots[i].lift), Off: degrees(residuals[i])}
		s.Angle, s.AngleU = angle(figures + i)
		a.Photographs = append(a.Photographs, s)
	}
	for _, of := range []string{ofMarks, ofCamera, ofDepth, ofDistortion, ofHeld, ofLift, ofArm, ofBend} {
		if v, ok := causes[of]; ok {
			a.Depends = append(a.Depends, Dependence{of, upward(mm(2 * math.Sqrt(v)))})
		}
	}
	slices.SortStableFunc(a.Depends, func(x, y Dependence) int { return int(min(max(y.RaiseU-x.RaiseU, -1), 1)) })
	a.remark(q, w, by, residuals)
	return a, nil
}

// remark says what a person must not miss.
func (a *Answer) remark(q Question, w *world, by weights, residuals []float64) {
	say := func(format string, args ...any) { a.Says = append(a.Says, worksheet.Sayf(format, args...)) }
	a.Says = append(a.Says, rocker.SaysSquare(rocker.Square{At: a.SquareAt, Raise: a.Raise, RaiseU: a.RaiseU, Tolerance: a.Tolerance, Good: a.Verdict.Good()}))
	if !a.Verdict.Good() && a.RaiseU > a.Tolerance && len(a.Depends) > 0 {
		what := map[string]string{
			ofMarks: "mark each place three times, or take more photographs", ofCamera: "look along the rocker's shaft and say how closely",
			ofDepth: "mark pivot and tip on faces of one depth, or say their depth", ofArm: "measure the valve's arm, or mark something of known length",
			ofHeld: "tell the lift at the picture", ofBend: "mark the adjuster's ball", ofDistortion: "keep the tip in the middle of the picture",
		}[a.Depends[0].On]
		if what != "" {
			say("what makes the ± most: %s. To narrow it, %s", a.Depends[0].On, what)
		}
	}
	if len(residuals) > 1 {
		for i, r := range residuals {
			if math.Abs(r) > 3.5*by.theta[i] {
				say("photograph %d of %d does not go with the others: its arm stands %.1f degrees off what they say. Mark it again, or check the lift at which it was taken", i+1, len(residuals), r*180/math.Pi)
			}
		}
	}
	if q.ValveArm > 0 && math.Abs(a.ValveArm.Millimetres()-w.arm) > 4*w.armSD {
		say("the photographs make the valve's arm %v, not the %v that was told: check which is right, the raise hangs on it", worksheet.Rounded(a.ValveArm), q.ValveArm)
	}
	for i, s := range w.shots {
		if s.tip.at.length() > 0.35*s.corner {
			say("in photograph %d the tip is far from the middle of the picture, where a camera out of line does most: hold it so that the tip is in the middle", i+1)
		}
	}
}

// upward keeps an uncertainty above zero.
func upward(l measure.Length) measure.Length { return max(l, 1) }
