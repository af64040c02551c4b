package rocker

import (
	"fmt"
	"math"

	"lobescribe/device/measure"
)

// Beam is a rocker's arms on their own, for what needs no more than the heights
// of its two ends.
type Beam struct {
	// ValveArm is from the pivot to the tip's centre, AdjusterArm to the ball.
	ValveArm, AdjusterArm measure.Length
	// Bend is how far the adjuster's arm stands above the line of the valve's.
	Bend measure.Angle
}

// Short returns by how much the pivot is too low for the valve's arm to be
// square, from how far the adjuster's end sits below the valve's end:
// -a sin theta. For a straight beam it is below/(1 + 1/R), exactly.
func (b Beam) Short(below measure.Length) (measure.Length, error) {
	a := b.ValveArm.Millimetres()
	theta, err := halfAngle(a, b.AdjusterArm.Millimetres(), radians(b.Bend), below.Millimetres())
	if err != nil {
		return 0, err
	}
	return measure.FromMillimetres(-a * math.Sin(theta)), nil
}

// Below returns how far the adjuster's end sits below the valve's end when the
// pivot is too low by short; it is the inverse of [Beam.Short].
func (b Beam) Below(short measure.Length) (measure.Length, error) {
	s := -float64(short) / float64(b.ValveArm)
	if !(math.Abs(s) <= 0.98) {
		return 0, fmt.Errorf("an arm of %v cannot stand %v off square", b.ValveArm, short)
	}
	return short - measure.FromMillimetres(b.AdjusterArm.Millimetres()*math.Sin(math.Asin(s)+radians(b.Bend))), nil
}
