package sweep

import (
	"cmp"
	"errors"
	"slices"

	"lobescribe/device/measure"
)

// At is a reading against crank angle.
type At struct {
	Angle   measure.Angle
	Reading measure.Length
}

var errPair = errors.New("lift and sweep have no crank angles in common: turn the engine over the same opening twice, with the encoder left as it is")

// Pair makes a pass of one indicator that was moved: lift against angle first,
// sweep against angle then. Each sweep reading gets the lift at its angle, between
// the two lift readings beside it (straight, within 2 deg); one with no lift so
// near is left out. What the encoder's slack moves lift by has opposite signs on
// the two flanks, so that a whole opening keeps it out of the answer.
func Pair(lift, sweep []At) (Pass, error) {
	var p Pass
	const near = 2 * measure.Degree
	by := slices.Clone(lift)
	slices.SortStableFunc(by, func(a, b At) int { return cmp.Compare(a.Angle, b.Angle) })
	for _, s := range sweep {
		i, _ := slices.BinarySearchFunc(by, s.Angle, func(a At, angle measure.Angle) int {
			if a.Angle < angle {
				return -1
			}
			return 1
		})
		if i == 0 || i == len(by) || by[i].Angle-by[i-1].Angle > near {
			continue
		}
		low, high := by[i-1], by[i]
		share := float64(s.Angle-low.Angle) / float64(max(high.Angle-low.Angle, 1))
		p.Lift = append(p.Lift, low.Reading+measure.Length(share*float64(high.Reading-low.Reading)))
		p.Sweep = append(p.Sweep, s.Reading)
	}
	if len(p.Lift) < fewest {
		return p, errPair
	}
	return p, nil
}
