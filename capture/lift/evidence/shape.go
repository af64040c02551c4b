package evidence

import (
	"math"
	"slices"

	"lobescribe/capture/lift/lobe"
)

// Shape is how the two flanks of an opening look, the opening one first. Both
// ends of a flank of any real lobe are soft; where the spindle stops or hangs
// free they are cut off, and what is left begins or ends as steep as the flank
// is.
type Shape struct {
	Flanks   [2]Flank
	Readings int  // on the flank that has fewer
	Angles   bool // along the crank angle, else along time
	OK       bool
}

// ShapeOf measures a curve that begins and ends on the heel; within edge of the heel and
// of the nose nothing is seen for noise.
func ShapeOf(c lobe.Curve, edge float64) Shape {
	x, y, top, height := c.X, c.Y, c.Top, c.Height
	if top < 4 || top > len(y)-5 {
		return Shape{}
	}
	low := edge / height
	high := 1 - low
	s := Shape{OK: true, Angles: c.Along == lobe.OfAngle, Readings: min(within(y[:top], edge, height-edge), within(y[top:], edge, height-edge))}
	nose := 0.0
	var pace [2]float64 // of the middle of each flank: angle or time for the whole lift
	for k, way := range [2]int{-1, +1} {
		w := walk{x: x, y: y, top: top, way: way, i: top}
		passed := func(share float64) float64 { return w.down(share * height) }
		nose += passed(high)
		at := passed(0.9)
		var tenths [8]float64
		for i := range tenths {
			next := passed(float64(8-i) / 10)
			tenths[i], at = next-at, next
		}
		slices.Sort(tenths[:])
		// The quickest may be a throw of the spring.
		pace[k] = 10 * (tenths[1] + tenths[2]) / 2
		if !(pace[k] > 0) || math.IsInf(pace[k], 0) {
			return Shape{}
		}
	}
	for k, way := range [2]int{-1, +1} {
		s.Flanks[k] = bandsOf(walk{x: x, y: y, top: top, way: way, i: top}, height, low, pace[k])
		s.Flanks[k].Flat = slow(nose, 0.1, pace[k])
		nose, foot := goneOf(x, y, top, way, height, edge)
		s.Flanks[k].TopGone, s.Flanks[k].FootGone = goneMeasure(nose, height), goneMeasure(foot, height)
	}
	return s
}

// within counts the heights between two.
func within(y []float64, lo, hi float64) (n int) {
	for _, v := range y {
		if v > lo && v < hi {
			n++
		}
	}
	return n
}

// slow returns the logarithm of how many times longer a share of the lift took
// than at a pace.
func slow(took, share, pace float64) float64 {
	return math.Log(max(took, 0)/max(share, leastBand)/pace + leastSlow)
}

const (
	leastBand = 0.002 // of the lift: in less nothing is seen
	leastSlow = 0.02  // nothing is so much quicker than the flank's middle
)

// walk goes from the nose down one flank.
type walk struct {
	x, y        []float64
	top, way, i int
}

// down goes on to the first reading below level, with another below it behind:
// one alone is noise. It returns how far from the highest reading the flank
// passes that level. Levels come from above.
func (w *walk) down(level float64) float64 {
	for w.i == w.top || !w.below(level) && w.i > 0 && w.i < len(w.y)-1 {
		w.i += w.way
	}
	i := w.i
	if w.way > 0 {
		i--
	}
	return math.Abs(lobe.Between(w.x, w.y, i, level) - w.x[w.top])
}

func (w *walk) below(level float64) bool {
	next := w.i + w.way
	return w.y[w.i] < level && (next < 0 || next >= len(w.y) || w.y[next] < level)
}
