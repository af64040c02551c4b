package sweep

import (
	"math"

	"lobescribe/capture/rocker"
	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Answer is what the sweep says. Every _u_ is expanded, k = 2.
type Answer struct {
	// Raise is what to add under the stand (below zero: take away) for the arm to
	// be square to the stem at half lift.
	Raise  measure.Length `json:"raise_mm"`
	RaiseU measure.Length `json:"raise_u_mm"`
	// SquareAt is the lift at which the arm is square now.
	SquareAt  measure.Length `json:"square_at_lift_mm"`
	SquareAtU measure.Length `json:"square_at_lift_u_mm"`
	ValveArm  measure.Length `json:"valve_arm_mm"`
	ValveArmU measure.Length `json:"valve_arm_u_mm"`
	// Tilt is how far the gauge stands from square to the stem.
	Tilt  measure.Angle `json:"tilt_deg"`
	TiltU measure.Angle `json:"tilt_u_deg"`
	// Width is how far the tip travels over the stem, from the closed valve to full
	// lift and whatever lies outside of both.
	Width     measure.Length       `json:"width_mm"`
	WidthU    measure.Length       `json:"width_u_mm"`
	Lift      measure.Length       `json:"lift_mm"`
	Scatter   measure.Length       `json:"scatter_mm"` // of a reading about the curve
	Verdict   verdict.Verdict      `json:"verdict"`
	Tolerance measure.Length       `json:"tolerance_mm"`
	Says      []worksheet.Sentence `json:"says"`
	worksheet.Basis
}

// Solve works out where the arm is square. A question that was not well put gives
// a [worksheet.Problem]; readings that are no rocker's give an error that says what
// to check.
func Solve(q Question) (Answer, error) {
	var a Answer
	if err := q.check(); err != nil {
		return a, err
	}
	full := q.Lift.Millimetres()
	if q.Lift == 0 {
		for _, l := range q.Turn.Lift {
			full = max(full, l.Millimetres())
		}
		a.Assume("full lift is the most that the turn shows")
	}
	turn := q.Turn.used(full)
	if full <= 0 || len(turn) < fewest || span(turn) < leastSpan*full {
		return a, errSpan
	}
	priors := q.priors(full, &a.Basis)
	side, err := q.side(full, priors[atArm].mean, &a.Basis)
	if err != nil {
		return a, err
	}
	a.Assume("the tip's roller runs out by %v; the gauge reads to %v over its travel", or(q.RollerRunOut, defaultRollerOut), q.gauge())
	c, err := parabola(turn)
	if err != nil {
		return a, err
	}
	// s goes with -(v0 - v)^2/2a: it is bent down where the gauge grows outwards.
	k := 1.0
	if c[2] > 0 {
		k = -1
	}
	if q.Reference != nil {
		priors[atTilt] = prior{math.Asin(max(-0.5, min(0.5, -k*side.slope))), side.sd}
	} else {
		priors[atTilt].sd = math.Hypot(priors[atTilt].sd, side.sd)
	}
	start, ok := begins(c, priors, full, k)
	if !ok {
		return a, errCurve
	}
	scale := q.gauge().Millimetres() / 2
	best, err := fitTurn(turn, priors, start, k, max(smoothness(turn, c), 1e-5), scale, q.step().Millimetres())
	if err != nil {
		return a, err
	}
	off := math.Asin(max(-1, min(1, (full/2-best.p[atV0])/best.p[atArm])))
	if err := rocker.OffSquare("turn.sweep_mm", measure.FromDegrees(off*180/math.Pi), "that the gauge lay against the tip in the rocker's plane"); err != nil {
		return Answer{}, err
	}
	if arm := best.p[atArm]; math.Abs(arm-priors[atArm].mean) > 5*priors[atArm].sd {
		a.Says = append(a.Says, worksheet.Sayf("the curve makes the valve's arm %v, far from what was told or is usual: check that both readings are in one unit, and that the gauge lay in the rocker's plane", worksheet.Rounded(measure.FromMillimetres(arm))))
	}
	if q.Reference != nil && math.Abs(side.slope) > 3*math.Tan(radians(q.tilt())) {
		a.Says = append(a.Says, worksheet.Sayf("the reference pass slopes by %.1f degrees, more than a gauge that was set square: check that it lay against a side that travels along the stem", math.Atan(side.slope)*180/math.Pi))
	}
	if raise := rocker.SquareRaise(best.p[atV0], full, best.p[atArm], 0, 0); math.IsNaN(raise) {
		return Answer{}, errCurve
	}
	a.fill(q, best, full)
	a.remark(q, best, max(best.noise, side.noise), scale)
	a.Cite("slider-crank: x = sqrt(a^2 - (v0 - v)^2), plane geometry, derived in package sweep")
	return a, nil
}

// gauge returns how well the gauge reads over its travel.
func (q Question) gauge() measure.Length { return or(q.GaugeU, max(leastGaugeU, 2*q.step())) }

// tilt returns how far from square to the stem the gauge may stand.
func (q Question) tilt() measure.Angle { return or(q.TiltWithin, defaultTilt) }

// priors returns what is known before anything is fitted.
func (q Question) priors(full float64, b *worksheet.Basis) (p [unknowns]prior) {
	p[atArm] = prior{usualArm, usualArmU / 2}
	if q.ValveArm > 0 {
		p[atArm] = prior{q.ValveArm.Millimetres(), max(or(q.ArmsU, defaultArmU).Millimetres()/2, 1e-6)}
	} else {
		b.Assume("the valve's arm was not told: taken as %v ± %v, and what the curve says of it", measure.FromMillimetres(usualArm), measure.FromMillimetres(usualArmU))
	}
	p[atV0] = prior{full / 2, 25} // anywhere in reach
	p[atTilt] = prior{0, max(radians(q.tilt())/math.Sqrt(3), 1e-6)}
	p[atDrift] = prior{0, 0.05}
	return p
}

// sideways is by how much the gauge goes with lift for what is none of the rocker's
// doing, and how well that is known.
type sideways struct{ slope, sd, noise float64 }

// side returns it: from the reference pass, or else what the roller alone leaves open.
func (q Question) side(full, arm float64, b *worksheet.Basis) (s sideways, err error) {
	// The roller's run-out over the rocker's swing is a slope of its own.
	roller := or(q.RollerRunOut, defaultRollerOut).Millimetres() / 2 * (full / arm) / math.Sqrt2 / full
	if q.Reference == nil {
		b.Assume("the gauge stands square to the stem to %v: no reference pass was made", q.tilt())
		return sideways{sd: roller}, nil
	}
	list := q.Reference.used(full)
	if len(list) < fewest || span(list) < leastSpan*full {
		return s, errSpan
	}
	if s.slope, s.sd, s.noise, err = fitSide(list, q.gauge().Millimetres()/2, q.step().Millimetres()); err != nil {
		return s, err
	}
	turns := or(q.RunOut, defaultRunOut).Millimetres() / 2 * radians(or(q.TurnsWithin, defaultTurns)) / math.Sqrt(6) / full
	s.sd = worksheet.Combine(s.sd, turns, radians(or(q.SideU, defaultSideU))/2, roller)
	b.Assume("the reference pass's side stays parallel to the valve's travel to %v (taper, play in the guide), runs out by %v and turns by no more than %v; the gauge stayed where it was",
		or(q.SideU, defaultSideU), or(q.RunOut, defaultRunOut), or(q.TurnsWithin, defaultTurns))
	return s, nil
}

// begins returns where the fit begins, from a parabola through the readings; false where
// no rocker is near it.
func begins(c [4]float64, priors [unknowns]prior, full, k float64) (start [unknowns]float64, ok bool) {
	arm, lean := priors[atArm].mean, priors[atTilt].mean
	v0 := max(-0.8*arm, min(full+0.8*arm, arm*(k*c[1]+math.Sin(lean))/math.Cos(lean)))
	v0 = max(full-0.85*arm, min(0.85*arm, v0)) // in reach of the whole lift
	start = [unknowns]float64{atV0: v0, atArm: arm, atTilt: lean, atDrift: c[3]}
	at, _, ok := curve(full/2, start, k)
	start[atS0] = c[0] + c[1]*full/2 + c[2]*full*full/4 - at
	return start, ok
}

// smoothness returns by how much readings lie off that parabola.
func smoothness(turn []reading, c [4]float64) float64 {
	smooth := 0.0
	for _, r := range turn {
		off := r.s - c[0] - c[1]*r.v - c[2]*r.v*r.v - c[3]*r.when
		smooth += off * off
	}
	return math.Sqrt(smooth / float64(len(turn)))
}

// fill puts the figures of a fit into the answer.
func (a *Answer) fill(q Question, f solved, full float64) {
	v0, arm := f.p[atV0], f.p[atArm]
	gamma, gammaU := 0.0, radians(or(q.BendU, unknownBend))
	if q.Bend != nil {
		gamma, gammaU = radians(*q.Bend), radians(or(q.BendU, measuredAngle))
	}
	lean, leanU := 0.0, radians(unknownLean)
	if q.PushrodLean != nil {
		lean, leanU = radians(*q.PushrodLean), radians(measuredAngle)
	} else {
		a.Assume("the pushrod runs along the stem to %v", unknownLean)
	}
	if q.Bend == nil {
		a.Assume("the rocker is straight to %v: its bend was not told, and it changes full lift when the stand is raised", unknownBend)
	}
	raise := func(g float64) float64 { return rocker.SquareRaise(v0, full, arm, g, radians(q.StandLean)) }
	p := raise(gamma + lean)
	liftSD := or(q.LiftU, defaultLiftU).Millimetres() / 2
	bendSD := (raise(gamma+lean+0.01) - p) / 0.01 * math.Hypot(gammaU, leanU) / 2
	set := func(v, sd float64) (l, u measure.Length) {
		return measure.FromMillimetres(v), max(measure.FromMillimetres(2*sd), 1)
	}
	a.Raise, a.RaiseU = set(p, worksheet.Combine(f.sd(atV0), liftSD/2, liftSD, bendSD)) // half lift, and where lift counts from
	a.SquareAt, a.SquareAtU = set(v0, math.Hypot(f.sd(atV0), liftSD))
	a.ValveArm, a.ValveArmU = set(arm, f.sd(atArm))
	a.Tilt, a.TiltU = measure.FromDegrees(f.p[atTilt]*180/math.Pi), max(measure.FromDegrees(2*f.sd(atTilt)*180/math.Pi), 1)
	width := func(v0, arm float64) float64 {
		out := func(v float64) float64 { return math.Sqrt(max(arm*arm-(v0-v)*(v0-v), 0)) }
		far := max(out(0), out(full))
		if v0 > 0 && v0 < full {
			far = arm
		}
		return far - min(out(0), out(full))
	}
	// Width by v0 and arm with their covariance, and by the lift.
	w := width(v0, arm)
	d0, d1 := (width(v0+0.01, arm)-width(v0-0.01, arm))/0.02, (width(v0, arm+0.01)-width(v0, arm-0.01))/0.02
	if v := f.sd(atV0); v > 0.02 { // across the kink where it is least, by what it does
		d0 = max(math.Abs(width(v0+v, arm)-w), math.Abs(width(v0-v, arm)-w)) / v
	}
	variance := d0*d0*f.cov.At(atV0, atV0) + d1*d1*f.cov.At(atArm, atArm) - 2*math.Abs(d0*d1*f.cov.At(atV0, atArm))
	variance = max(variance, 0.25*d0*d0*f.cov.At(atV0, atV0))
	a.Width, a.WidthU = set(w, worksheet.Combine(math.Sqrt(variance), liftSD*full/2/arm))
	a.Lift, a.Scatter = measure.FromMillimetres(full), measure.FromMillimetres(f.noise)
	a.Tolerance = or(q.Tolerance, defaultSquare)
	a.Verdict = verdict.Judge(verdict.Figure[measure.Length]{Value: a.Raise, U: a.RaiseU}, verdict.Within(0, a.Tolerance))
}

func (a *Answer) remark(q Question, f solved, noise, scale float64) {
	say := func(format string, args ...any) { a.Says = append(a.Says, worksheet.Sayf(format, args...)) }
	a.Says = append(a.Says, rocker.SaysSquare(rocker.Square{At: a.SquareAt, Raise: a.Raise, RaiseU: a.RaiseU, Tolerance: a.Tolerance, Good: a.Verdict.Good()}))
	if q.Reference == nil {
		say("most of the ± is the gauge's own stand: make a reference pass, the same gauge, not moved, against the side of the stem or lash cap while the engine is turned")
	}
	if noise > 6*scale && noise > 0.03 {
		say("the readings scatter by %v about the curve: check that the gauge stays against the tip and that nothing is loose", worksheet.Rounded(measure.FromMillimetres(noise)))
	}
}
