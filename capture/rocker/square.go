package rocker

import (
	"errors"
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// FarthestOff is how far off square to its valve an arm may stand at half lift for a
// question to be answered. Rockers are built to stand square there; one that is off by
// a whole stand of shims is off by some 15 degrees. At 35 the arm is no longer where
// anybody would have fitted it: a unit or a sign was mixed up (common practice, no
// source).
const FarthestOff = 35 * measure.Degree

// OffSquare refuses an arm that stands farther off square at half lift; field is what
// put it there, and look what to look at besides units.
func OffSquare(field string, off measure.Angle, look string) error {
	if off >= -FarthestOff && off <= FarthestOff {
		return nil
	}
	return worksheet.Wrongf(field, "puts the valve's arm %.0f deg off square at half lift, and %.0f is more than any rocker stands: check that every length is in the unit it was measured in, that no two were swapped, and %s",
		math.Abs(off.Degrees()), FarthestOff.Degrees(), look)
}

const lookAtHeights = "that the heights of the two ends were taken at half lift"

// farOff refuses heights that no rocker has.
func (q Question) farOff(s solution, err error) error {
	switch {
	case errors.Is(err, errHeight):
		return worksheet.Wrongf("adjuster_below_valve_mm", "is more than these arms can be apart in height: check that every length is in the unit it was measured in, that no two were swapped, and %s", lookAtHeights)
	case err != nil || q.AdjusterBelowValve == nil:
		return nil
	}
	half, err := s.now.atLift(s.lift / 2)
	if err != nil {
		return nil
	}
	return OffSquare("adjuster_below_valve_mm", degrees(half), lookAtHeights)
}

// Square is where a measured arm stands square to its valve: at which lift, by how much
// the stand is to be raised for that to be half lift, and whether it is near enough.
type Square struct {
	At, Raise, RaiseU, Tolerance measure.Length
	Good                         bool
}

// SaysSquare says what to do with the stand.
func SaysSquare(q Square) worksheet.Sentence {
	at, raise, u, off := worksheet.Rounded(q.At), worksheet.Rounded(q.Raise), worksheet.Rounded(q.RaiseU), "above"
	if raise < 0 {
		off = "below"
	}
	switch {
	case q.Good:
		return worksheet.Sayf("the arm is square at %v of lift, %v ± %v %s half lift, which is within %v, its ± counted: leave the stand", at, raise.Abs(), u, off, q.Tolerance)
	case raise > 0:
		return worksheet.Sayf("the arm is square at %v of lift, above half lift: raise the stand by %v ± %v", at, raise, u)
	}
	return worksheet.Sayf("the arm is square at %v of lift, at or below half lift: lower the stand by %v ± %v", at, -raise, u)
}
