package simulator

import (
	"fmt"
	"math"

	"lobescribe/device/measure"
)

// Lobe is the shape of a cam lobe as the tappet feels it. Angles are the cam's
// own degrees.
type Lobe struct {
	Rise Law // law of the opening flank; 3-4-5
	Fall Law // law of the closing flank; as Rise

	Lift measure.Length // lobe lift, ramps included; 0.280 in

	RiseAngle measure.Angle // main rise, heel to nose; 65 cam degrees
	FallAngle measure.Angle // main fall, nose to heel; as RiseAngle
	Dwell     measure.Angle // at the nose; none

	OpeningRamp, ClosingRamp Ramp // none
}

// Ramp takes up lash gently: a cycloidal rise of Height that is laid over the
// start (or end) of the main motion, beginning Angle before it and done Angle
// into it. Of it, Height/2 is done where the main motion begins.
type Ramp struct {
	Height measure.Length
	Angle  measure.Angle // cam degrees; 15 where there is a height
}

func (l Lobe) withDefaults() Lobe {
	if l.Rise == nil {
		l.Rise = Polynomial345
	}
	if l.Fall == nil {
		l.Fall = l.Rise
	}
	l.Lift = orDefault(l.Lift, 280*measure.Thou)
	l.RiseAngle = orDefault(l.RiseAngle, 65*measure.Degree)
	l.FallAngle = orDefault(l.FallAngle, l.RiseAngle)
	for _, r := range []*Ramp{&l.OpeningRamp, &l.ClosingRamp} {
		if r.Height == 0 {
			r.Angle = 0
		} else {
			r.Angle = orDefault(r.Angle, 15*measure.Degree)
		}
	}
	return l
}

func (l Lobe) check() error {
	open, close := l.span()
	switch {
	case l.Lift <= 0:
		return fmt.Errorf("lobe lift %v: it must be above zero", l.Lift)
	case l.RiseAngle <= 0 || l.FallAngle <= 0 || l.Dwell < 0:
		return fmt.Errorf("lobe of %v rise, %v dwell and %v fall: angles must be above zero", l.RiseAngle, l.Dwell, l.FallAngle)
	case l.OpeningRamp.Height < 0 || l.ClosingRamp.Height < 0 || max(l.OpeningRamp.Height, l.ClosingRamp.Height) >= l.Lift:
		return fmt.Errorf("ramps of %v and %v on a lobe of %v: a ramp is a small part of the lift", l.OpeningRamp.Height, l.ClosingRamp.Height, l.Lift)
	case l.OpeningRamp.Angle > l.RiseAngle || l.ClosingRamp.Angle > l.FallAngle || min(l.OpeningRamp.Angle, l.ClosingRamp.Angle) < 0:
		return fmt.Errorf("ramps of %v and %v: they must be shorter than the flanks", l.OpeningRamp.Angle, l.ClosingRamp.Angle)
	case close-open > 320:
		return fmt.Errorf("lobe of %.1f cam degrees: at most 320, since there must be a heel", close-open)
	}
	return nil
}

// span returns where the lobe leaves and comes home to the base circle, in cam
// degrees from the nose.
func (l Lobe) span() (open, close float64) {
	d := l.Dwell.Degrees() / 2
	return -d - (l.RiseAngle + l.OpeningRamp.Angle).Degrees(), d + (l.FallAngle + l.ClosingRamp.Angle).Degrees()
}

// LiftAt returns the lobe lift in millimetres at cam degrees from the nose
// (negative on the opening flank). Fields left zero count as their defaults.
func (l Lobe) LiftAt(cam float64) float64 {
	l = l.withDefaults()
	return l.at(cam)
}

// at is LiftAt of a lobe with its defaults filled in.
func (l *Lobe) at(cam float64) float64 {
	d := l.Dwell.Degrees() / 2
	law, ramp, length, from := l.Rise, l.OpeningRamp, l.RiseAngle, -cam-d
	if cam > 0 {
		law, ramp, length, from = l.Fall, l.ClosingRamp, l.FallAngle, cam-d
	}
	lift := l.Lift.Millimetres()
	if from <= 0 {
		return lift
	}
	x := 1 - from/length.Degrees()
	if ramp.Height == 0 {
		if x <= 0 {
			return 0
		}
		return lift * law.At(x)
	}
	a := ramp.Angle.Degrees()
	y := (length.Degrees() + a - from) / (2 * a)
	h := ramp.Height.Millimetres()
	return (lift-h)*law.At(x) + h*Cycloidal.At(y)
}

// HalfLift returns the cam angles of half lobe lift before and after the nose,
// in degrees from it. The textbook laws are symmetric and pass their half at
// the middle of the flank, exactly; the rest is solved.
func (l Lobe) HalfLift() (opening, closing float64) {
	l = l.withDefaults()
	d := l.Dwell.Degrees() / 2
	half := func(law Law, ramp Ramp, length measure.Angle, sign float64) float64 {
		if _, symmetric := law.(Textbook); symmetric && ramp.Height == 0 {
			return sign * (d + length.Degrees()/2)
		}
		if arcs, ok := law.(ThreeArc); ok && ramp.Height == 0 {
			return sign * (d + arcs.halfLift()/arcs.HalfAngle()*length.Degrees())
		}
		far := d + (length + ramp.Angle).Degrees()
		return sign * root(d, far, func(t float64) float64 { return l.Lift.Millimetres()/2 - l.at(sign*t) })
	}
	return half(l.Rise, l.OpeningRamp, l.RiseAngle, -1), half(l.Fall, l.ClosingRamp, l.FallAngle, 1)
}

// halfLift returns the cam angle of half lift from the nose, in degrees: on the
// nose arc cos t = (rise/2 + rb - rn)/c, on the flank t = t0 - acos(1 -
// rise/2/(Rf - rb)).
func (l ThreeArc) halfLift() float64 {
	h := l.Rise / 2
	if t := math.Acos((h + l.Base - l.Nose) / (l.Base + l.Rise - l.Nose)); t <= l.junction() {
		return degrees(t)
	}
	return degrees(l.halfAngle() - math.Acos(1-h/(l.Flank-l.Base)))
}
