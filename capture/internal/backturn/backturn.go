// Package backturn tells how far lift falls where a hand turns the engine back on a flank,
// so that a deeper fall was a nose.
package backturn

import "math"

const (
	// Usual is how far a hand turns an engine back on the way, in degrees of
	// crank: the slip of a ratchet, the swing for a new grip. Far is what it
	// comes to when the engine goes on by itself. (Common practice, no source.)
	Usual, Far = 16.0, 20.0
	// steepFlank is the shortest flank there is, from seat to nose, in degrees of
	// crank: a valve that is open for 200 degrees (common practice, no source).
	steepFlank = 100.0
	// highestLift is more than valves have, in nanometres.
	highestLift = 20e6
)

// TakesOff returns the most that a back-turn of so many degrees takes off the lift
// where it stands at top, below a nose of most: on the shortest flank there
// is, under the steeper of two laws of motion. Simple harmonic is steep near the
// nose, the 3-4-5 polynomial half way up. (Both are in any textbook of cam design,
// as in Norton, Cam Design and Manufacturing Handbook, ch. 2 and 3; from memory.)
// Lengths are in any unit, the same for all.
func TakesOff(top, most, degrees float64) float64 {
	if top <= 0 {
		return 0
	}
	y := min(top/most, 1)
	back := degrees / steepFlank
	u := 2 / math.Pi * math.Asin(math.Sqrt(y))
	left := harmonic(max(u-back, 0))
	left = min(left, poly345(max(inverse345(y)-back, 0)))
	return top - left*top/y
}

// TakesOffAtAll is the same where the nose may be anywhere above; nanometres.
func TakesOffAtAll(top float64) float64 {
	worst := 0.0
	for most := top; ; most *= 1.12 {
		worst = max(worst, TakesOff(top, most, Far))
		if most > highestLift {
			return worst
		}
	}
}

func harmonic(u float64) float64 {
	s := math.Sin(math.Pi / 2 * u)
	return s * s
}

func poly345(u float64) float64 { return u * u * u * (10 + u*(-15+6*u)) }

func inverse345(y float64) float64 {
	lo, hi := 0.0, 1.0
	for range 24 {
		if mid := (lo + hi) / 2; poly345(mid) < y {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
