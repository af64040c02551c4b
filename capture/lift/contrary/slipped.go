package contrary

import "math"

const (
	// On a flank, that is between such shares of the lift, lift runs back by more than so
	// many counts and standard deviations,
	low, high                = 0.05, 0.95
	slippedCounts, slipNoise = 5, 8.0
	// while the crank goes on by so many of the encoder's counts and degrees, and was not
	// turned back within such a time before and after.
	onCounts, onDegrees = 2, 0.5
	turnedBack          = 700 * ms
	// So many readings show it, no later than this.
	readings, within = 2, 1000 * ms
	// What runs back again on the same flank, by such a share of it, shakes; what is
	// back to such a share of it and on again at once, or had leapt ahead by that in so many
	// readings before, was misread or knocked.
	shakes, leaps, together = 0.3, 0.4, 10
)

// run is how far lift ran back behind the farthest reading on a flank, and by how many
// readings that is plain.
type run struct {
	by       float64
	far, low int
	plain    int
}

// Slipped returns by how much, nanometres, the lift ran back the farthest on a flank where the
// crank only went on, and at which reading; 0 for nowhere.
func (o *Opening) Slipped() (by float64, at int) {
	over := max(slippedCounts*o.Step, slipNoise*o.Scatter)
	o.flanks(func(from, to int, up float64) {
		var most, second run
		r := run{far: from}
		ends := func() {
			switch {
			case r.by < shakes*over || !o.onFlank(r.far) || !o.onFlank(r.low) || o.wentBack(r.far, r.low):
			case r.by > most.by:
				most, second = r, most
			case r.by > second.by:
				second = r
			}
		}
		for i := from; i < to; i++ {
			back := (o.Y[r.far] - o.Y[i]) * up
			if back <= 0 {
				if (o.Y[r.far]-o.Y[max(i-1, 0)])*up > leaps*r.by || o.leapt(r, up) {
					r.plain = 0
				}
				ends()
				r = run{far: i}
				continue
			}
			if back > over && o.T[i]-o.T[r.far] < within && (o.A[i]-o.A[r.far])*o.Way > onCounts*o.Count+onDegrees {
				r.plain++
			}
			if back > r.by {
				r.by, r.low = back, i
			}
		}
		ends()
		if most.plain >= readings && second.by < shakes*most.by && most.by > by {
			by, at = most.by, most.far
		}
	})
	return by, at
}

// leapt says whether lift had come to the farthest reading by a leap.
func (o *Opening) leapt(r run, up float64) bool {
	for k := max(r.far-together, 0); k < r.far; k++ {
		if (o.Y[k+1]-o.Y[k])*up > leaps*r.by {
			return true
		}
	}
	return false
}

// onFlank says whether a reading lies between foot and nose.
func (o *Opening) onFlank(i int) bool {
	return o.Y[i] > low*o.Y[o.Top] && o.Y[i] < high*o.Y[o.Top]
}

// wentBack says whether the crank was turned back between two readings or a little before or
// after them.
func (o *Opening) wentBack(from, to int) bool {
	first, last := from, to
	for first > 0 && o.T[from]-o.T[first-1] < turnedBack {
		first--
	}
	for last < len(o.T)-1 && o.T[last+1]-o.T[to] < turnedBack {
		last++
	}
	far := math.Inf(-1)
	for _, a := range o.A[first : last+1] {
		if far = max(far, a*o.Way); far-a*o.Way > 1.5*o.Count {
			return true
		}
	}
	return false
}
