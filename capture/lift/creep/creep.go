// Package creep says what an arm that bends under the spindle's force, and creeps back, takes
// off a nose.
//
// What it is bent by follows the lift as late as a filter of the first order does. So it shows
// the heel too low when the valve has shut, and comes back: that tells how late it is, and by
// which share of the lift it bends, and the nose was low by that share as well.
package creep

import "math"

// s is a second, in microseconds.
const s = 1e6

// lates are how late what is bent is taken to follow, seconds.
var lates = [...]float64{0.5, 1, 2, 4, 8}

const (
	// The heel must be lower by so many counts, and by so many standard deviations of a
	// mean.
	leastCounts, leastNoise = 0.8, 3.0
	// Over so much of the way back it must leave no more than such a share of the squares.
	long, leaves = 4.0, 0.5
	// It is looked for where the heel's first readings are low, over so many seconds.
	first = 0.8
	// More of the lift no arm bends by.
	most = 0.05
)

// Opening is a passage over the lobe, T in microseconds and Y the lift in nanometres, of
// which the Top is the highest.
type Opening struct {
	T, Y []float64
	Top  int
}

// Heel is a reading on the heel behind it: microseconds since the valve has shut, how far
// the heel lies above it, nanometres, and how many readings stand behind it.
type Heel struct{ T, Low, W float64 }

// First is over how long a heel's first readings are looked at, microseconds.
const First = first * s

// Shows says whether the first readings of a heel are low. step is that of the indicator, and
// scatter the standard deviation of a reading.
func Shows(heel []Heel, step, scatter float64) bool {
	n, low := 0.0, 0.0
	for _, p := range heel {
		if p.Low >= 0 { // else it is still on the ramp
			n, low = n+p.W, low+p.W*p.Low
		}
	}
	return n >= 3 && low/n >= leastCounts*step/2+leastNoise*scatter/math.Sqrt(n)
}

// Of returns what the nose is low by, nanometres; 0 for nothing. The heel is in the order of
// time.
func Of(o Opening, heel []Heel, step float64) float64 {
	best, by := leaves, 0.0
	for _, late := range lates {
		low, left := back(heel, late*s)
		if low < leastCounts*step || left >= best {
			continue
		}
		best = left
		nose, end := o.bends(late * s)
		by = min(low*nose/end, most*o.Y[o.Top])
	}
	return by
}

// back fits a way back to the heel that is so late: by how much the heel is low at first, and
// which share of the squares that leaves.
func back(heel []Heel, late float64) (low, left float64) {
	var n, sx, sy, sxx, sxy, syy float64
	for _, p := range heel {
		if p.T > long*late {
			break
		}
		x, y, w := math.Exp(-p.T/late), p.Low, p.W
		n, sx, sy, sxx, sxy, syy = n+w, sx+w*x, sy+w*y, sxx+w*x*x, sxy+w*x*y, syy+w*y*y
	}
	xx, xy, yy := sxx-sx*sx/n, sxy-sx*sy/n, syy-sy*sy/n
	if !(xx > 0) || !(yy > 0) {
		return 0, 1
	}
	return xy / xx, 1 - xy*xy/xx/yy
}

// bends returns by which share of the lift an arm is bent on the nose and when the valve has
// shut, times the lift, where it follows so late, in microseconds.
func (o *Opening) bends(late float64) (nose, end float64) {
	bent := 0.0
	for i := 1; i < len(o.T); i++ {
		bent += ((o.Y[i]+o.Y[i-1])/2 - bent) * (1 - math.Exp((o.T[i-1]-o.T[i])/late))
		if i == o.Top {
			nose = bent
		}
	}
	return nose, max(bent, o.Y[o.Top]*1e-3)
}
