package lobe

import "math"

const (
	// NoseDepth is the share of the lift under the nose in which its curvature against
	// time is taken.
	NoseDepth = 0.04
	// leastNear is how far from the nose a reading stands at the least, in shares of
	// the time that is averaged over, for the curvature near it.
	leastNear = 0.25
)

// Hurried returns by how much a gauge that averages over so long takes off the nose of a
// curve of time, passed at a moment: half of the curvature of lift against time, times the
// mean square of the time, T²/12 where it weighs all of T alike, or T²/4 where it forgets as
// a filter of the first order does that lags as much. The curvature is that of the whole
// nose, or of the time T about it where a hand that rests beside the nose passed it faster.
func Hurried(c Curve, nose, average float64) float64 {
	var whole, near curvature
	fell := 0.0 // in that time, at the most: a mean over it is no lower
	for _, way := range [2]int{-1, 1} {
		for i := c.Top + way; i >= 0 && i < len(c.Y); i += way {
			d, x := c.Height-c.Y[i], c.X[i]-nose
			deep := d > NoseDepth*c.Height
			if !deep || whole.den == 0 {
				whole.add(x, d, c.W[i])
			}
			// Readings that a port has bunched beside the nose say nothing of its shape.
			if math.Abs(x) <= average {
				fell = max(fell, d)
			}
			if far := math.Abs(x); far <= average && far >= leastNear*average {
				near.add(x, d, c.W[i])
			}
			if deep && math.Abs(x) > average {
				break
			}
		}
	}
	takes := max(whole.half(), near.half()) * average * average / 4
	if fell > 0 {
		takes = min(takes, fell)
	}
	return takes
}

// curvature is fitted to readings that lie d under a nose, x from it.
type curvature struct{ num, den float64 }

func (k *curvature) add(x, d, w float64) {
	k.num, k.den = k.num+max(d, 0)*x*x*w, k.den+x*x*x*x*w
}

// half of it; 0 without readings.
func (k *curvature) half() float64 {
	if k.den == 0 {
		return 0
	}
	return k.num / k.den
}
