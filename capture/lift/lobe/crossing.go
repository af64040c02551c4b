package lobe

import (
	"math"

	"lobescribe/capture/internal/gum"
)

// Crossing returns the crank angle at which a flank passes a level, half lift, and its
// standard uncertainty, degrees: NaN where no reading lies on one side of it. a is the
// angle and v the lift over that level of all readings of the flank, whichever way the
// engine was turning, because angle and lift belong together on a flank; height is of
// the lobe. u is from the readings' scatter, from what lies between them and from the
// encoder's count.
func Crossing(a, v []float64, height float64) (at, u float64) {
	var x, y []float64
	lo, hi := math.Inf(-1), math.Inf(1) // nearest lifts below and above the level
	var loA, hiA float64
	for i, v := range v {
		if v <= 0 && v > lo {
			lo, loA = v, a[i]
		}
		if v > 0 && v < hi {
			hi, hiA = v, a[i]
		}
		if math.Abs(v) < 0.15*height {
			x, y = append(x, v/height), append(y, a[i])
		}
	}
	if math.IsInf(lo, 0) || math.IsInf(hi, 0) {
		return math.NaN(), 0
	}
	straight := loA + (hiA-loA)*(-lo)/(hi-lo)
	u = gum.Root(betweenShare*(hiA-loA), Count(y)/math.Sqrt(12))
	if len(x) < 6 {
		return straight, u
	}
	// a = c0 + c1 v + c2 v^2 by least squares; wanted is c0.
	var s [5]float64
	var r [3]float64
	for i := range x {
		k := 1.0
		for j := range s {
			s[j] += k
			if j < 3 {
				r[j] += k * (y[i] - straight)
			}
			k *= x[i] / 0.15
		}
	}
	inv, ok := invert3([3][3]float64{{s[0], s[1], s[2]}, {s[1], s[2], s[3]}, {s[2], s[3], s[4]}})
	if !ok {
		return straight, u
	}
	c := straight + inv[0][0]*r[0] + inv[0][1]*r[1] + inv[0][2]*r[2]
	if math.Abs(c-straight) > 2 { // a lopsided handful
		return straight, gum.Root(u, c-straight)
	}
	return c, gum.Root(u, (c-straight)/2)
}

// betweenShare is by how much of the way between two readings a crossing between
// them may be off.
const betweenShare = 0.04

// Count returns the least step of the angles of a flank, degrees. Where readings come so
// seldom that every one has another angle, it is no count that they differ by.
func Count(a []float64) float64 {
	least, same := math.Inf(1), 0
	for i := 1; i < len(a); i++ {
		if d := math.Abs(a[i] - a[i-1]); d > 1e-9 {
			least = min(least, d)
		} else {
			same++
		}
	}
	switch {
	case math.IsInf(least, 1):
		return 0
	case 3*same > len(a):
		return least
	}
	return min(least, 1)
}

// invert3 inverts a symmetric matrix.
func invert3(m [3][3]float64) (r [3][3]float64, ok bool) {
	c00 := m[1][1]*m[2][2] - m[1][2]*m[2][1]
	c01 := m[1][2]*m[2][0] - m[1][0]*m[2][2]
	c02 := m[1][0]*m[2][1] - m[1][1]*m[2][0]
	det := m[0][0]*c00 + m[0][1]*c01 + m[0][2]*c02
	if !(math.Abs(det) > 1e-12*m[0][0]*m[0][0]*m[0][0]) {
		return r, false
	}
	r[0] = [3]float64{c00 / det, c01 / det, c02 / det}
	r[1] = [3]float64{r[0][1], (m[0][0]*m[2][2] - m[0][2]*m[2][0]) / det, (m[0][2]*m[1][0] - m[0][0]*m[1][2]) / det}
	r[2] = [3]float64{r[0][2], r[1][2], (m[0][0]*m[1][1] - m[0][1]*m[1][0]) / det}
	return r, true
}
