package capture

import "math"

// expectation is how high the valve should open, with its expanded uncertainty,
// in nanometres; the zero value expects nothing.
type expectation struct {
	lift, u float64
	learned bool // from openings of this set-up, else from what was set down
}

// learn takes the max lift of an opening that has settled, and within how much the
// next should be as high. Openings that agree are one figure,
// weighted by their uncertainties; after one that does not, the set-up was
// changed and that one counts.
func (e *expectation) learn(y, u float64) {
	u = max(u, 1000)
	if !e.learned || math.Abs(y-e.lift) > e.u+u {
		*e = expectation{y, u, true}
		return
	}
	a, b := 1/(e.u*e.u), 1/(u*u)
	e.lift, e.u = (a*e.lift+b*y)/(a+b), math.Sqrt(1/(a+b))
}

func (e expectation) known() bool { return e.lift > 0 }
