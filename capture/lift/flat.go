package lift

import "math"

// flat is the run of readings just past that stayed at one level: the heel, a
// rest, or the nose when it is turned through slowly. One reading off the level
// does not break it.
type flat struct {
	t0, t1 float64
	level  float64
	n      float64
	a0, a1 float64 // least and greatest angle in the run; NaN without an encoder
	odd    point   // the reading off the level
	hasOdd bool
}

// levelMemory bounds how many readings the level is a mean of, so that a slow
// drift is followed.
const levelMemory = 512

// see takes the next reading; near is how far from the level it may lie.
func (f *flat) see(p point, near float64) {
	if f.n > 0 && math.Abs(p.y-f.level) <= near {
		f.n++
		f.level += (p.y - f.level) / min(f.n, levelMemory)
		f.t1, f.hasOdd = p.t, false
		if !math.IsNaN(p.a) {
			f.a0, f.a1 = fmin(f.a0, p.a), fmax(f.a1, p.a)
		}
		return
	}
	if f.n > 2 && !f.hasOdd {
		f.odd, f.hasOdd = p, true
		return
	}
	odd, had := f.odd, f.hasOdd
	*f = flat{t0: p.t, t1: p.t, level: p.y, n: 1, a0: p.a, a1: p.a}
	if had && math.Abs(odd.y-p.y) <= near {
		*f = flat{t0: odd.t, t1: p.t, level: (odd.y + p.y) / 2, n: 2, a0: fmin(odd.a, p.a), a1: fmax(odd.a, p.a)}
	}
}

// span returns how long the run is, in microseconds.
func (f *flat) span() float64 { return f.t1 - f.t0 }

// turned returns the crank angle passed in the run: 0 without an encoder.
func (f *flat) turned() float64 {
	if math.IsNaN(f.a0) {
		return 0
	}
	return f.a1 - f.a0
}

// fmin and fmax are the lesser and greater of two numbers, whichever of them
// is one.
func fmin(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

func fmax(a, b float64) float64 {
	if math.IsNaN(a) || b > a {
		return b
	}
	return a
}
