package capture

import "math"

// expectation is how high the valve should open, with its expanded uncertainty,
// in nanometres; the zero value expects nothing.
type expectation struct {
	lift, u float64
	learned bool    // from openings of this set-up, else from what was set down
	lower   float64 // the last opening, where it was lower
}

// learn takes the max lift of an opening that has settled, and within how much the
// next should be as high. One that is lower than those before may be a hand that turned
// back to the heel, and counts once another agrees with it. Openings that agree are one figure,
// weighted by their uncertainties; after one that does not, the set-up was
// changed and that one counts.
func (e *expectation) learn(y, u float64) {
	u = max(u, 1000)
	off := y - e.lift
	again := e.lower > 0 && math.Abs(y-e.lower) <= 2*u
	e.lower = 0
	switch {
	case !e.learned || off > e.u+u || again:
		*e = expectation{lift: y, u: u, learned: true}
		return
	case off < -e.u-u:
		e.lower = y
		return
	}
	a, b := 1/(e.u*e.u), 1/(u*u)
	e.lift, e.u = (a*e.lift+b*y)/(a+b), math.Sqrt(1/(a+b))
}

func (e expectation) known() bool { return e.lift > 0 }

// Below this share of what is expected it takes an opening come home to believe that the
// set-up was changed: an engine that rolls back under its springs falls as far as from a
// nose. Openings of this set-up tell that better than what was set down.
const plausibleSet, plausibleLearned = 0.85, 0.96

// plausible returns the least lift of a nose that is believed before it has come home.
func (e expectation) plausible() float64 {
	if e.learned {
		return plausibleLearned * (e.lift - e.u)
	}
	return plausibleSet * (e.lift - e.u)
}
