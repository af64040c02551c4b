package lift

import "math"

// evidence weighs what one flank says for a fault of the set-up: the logarithm
// of how many times likelier a flank like it is with the fault than without,
// as a table over three measures of a flank, between the entries of which it is
// interpolated.
//
// Hands differ more than lobes do, and no single measure tells a cut-off nose
// from one that was rested on, or a hand that starts with a jerk from a spindle
// that hangs free; three together do, more often than not. The tables are
// learned from simulated sessions: see TestLearn, which writes them.
type evidence struct {
	from, to [3]float64 // of the measures
	enough   float64    // all flanks together beyond this, the fault is told
	weights  [firstKnots * secondKnots * thirdKnots]int8
}

const (
	firstKnots, secondKnots, thirdKnots = 9, 9, 6

	weightUnit = 1.0 / 25 // of what the tables hold
	mostWeight = 5.0      // one flank says no more
)

var knots = [3]int{firstKnots, secondKnots, thirdKnots}

// of returns the weight of one flank.
func (e *evidence) of(m [3]float64) float64 {
	sum := 0.0
	e.corners(m, func(i int, share float64) { sum += share * float64(e.weights[i]) })
	return sum * weightUnit
}

// together returns what flanks whose weights come to sum say together. They are
// of one hand and one lobe, and what misleads one misleads the next: so they
// count for less than their number, and more than one.
func together(sum float64, flanks int) float64 {
	return sum / math.Pow(float64(max(flanks, 1)), 0.75)
}

// corners calls f for the eight entries around m, with the share of each.
func (e *evidence) corners(m [3]float64, f func(i int, share float64)) {
	var at [3]int
	var part [3]float64
	for k, n := range knots {
		v := (m[k] - e.from[k]) / (e.to[k] - e.from[k]) * float64(n-1)
		if !(v > 0) { // or no number
			v = 0
		}
		v = min(v, float64(n-1))
		at[k] = min(int(v), n-2)
		part[k] = v - float64(at[k])
	}
	for corner := range 8 {
		share, i := 1.0, 0
		for k, n := range knots {
			bit := corner >> k & 1
			i = i*n + at[k] + bit
			share *= math.Abs(float64(1-bit) - part[k])
		}
		f(i, share)
	}
}

// evidenceOf returns the tables for a cut-off nose and for a spindle that hangs
// free, along the crank angle or along time.
func evidenceOf(angles bool) (cut, free *evidence) {
	if angles {
		return &cutAlongAngle, &freeAlongAngle
	}
	return &cutAlongTime, &freeAlongTime
}
