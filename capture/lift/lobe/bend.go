package lobe

import (
	"math"
	"slices"
)

// bends is how many levels a flank is looked at on, down to half the lift.
const bends = 24

// Bend is by how much slower a flank goes above a level than below it, for each of some
// levels, as the logarithm; NaN where readings do not tell.
//
// Near its nose a lobe's lift falls with the power p of the distance, 2 to 4, so that from
// a depth D to half of it takes 1.30 to 1.49 times as far as from one and a half D to D
// (derived here: (1-2^(-1/p))/(1.5^(1/p)-1)). An indicator that is pressed against the end
// of its travel, or in its clamp, takes several times as far above one level, the same on
// both flanks.
type Bend [bends]float64

// BendDepth returns how deep under the nose a level of [Bend] lies, as a share of the lift.
func BendDepth(i int) float64 { return 0.002 * math.Pow(0.5/1.5/0.002, float64(i)/(bends-1)) }

// BendOf looks at a flank, from the heel to the nose: x is the angle or the time, known to
// count, y the lift. Lengths below tells are none.
func BendOf(x, y []float64, count, height, tells float64) (b Bend) {
	highest := make([]float64, len(y)) // so far: a level is first passed where that is
	for i, v := range y {
		if highest[i] = v; i > 0 {
			highest[i] = max(v, highest[i-1])
		}
	}
	passes := func(level float64) (at float64, i int) {
		i, _ = slices.BinarySearch(highest, level)
		if i < 1 || i == len(y) {
			return math.NaN(), 0
		}
		return x[i-1] + (x[i]-x[i-1])*(level-y[i-1])/(y[i]-y[i-1]), i
	}
	for i := range b {
		b[i] = math.NaN()
		deep := BendDepth(i) * height
		if deep/2 < tells {
			continue
		}
		below, n0 := passes(height - 1.5*deep)
		at, n1 := passes(height - deep)
		above, n2 := passes(height - deep/2)
		slow, fast := math.Abs(above-at), math.Abs(at-below)
		// Between two readings the flank goes on unseen.
		if min(n1-n0, n2-n1) >= bendReadings && min(slow, fast) >= bendCounts*count && fast > 0 {
			b[i] = math.Log(slow / fast)
		}
	}
	return b
}

// So many readings lie between two levels at the least, and so many counts.
const bendReadings, bendCounts = 1, 2
