package lift

import (
	"cmp"
	"math"
	"slices"
)

// noseByAngle finds the nose of an opening in its readings put in order of the
// crank angle, where neither the speed of the hand nor a back-turn matters.
func noseByAngle(passage []point, heel, height, scatter float64) (peak, float64) {
	var near []point
	for _, p := range passage {
		if p.y-heel > 0.8*height {
			near = append(near, p)
		}
	}
	slices.SortStableFunc(near, func(a, b point) int { return cmp.Compare(a.a, b.a) })
	x, y, w := make([]float64, 0, len(near)), make([]float64, 0, len(near)), make([]float64, 0, len(near))
	for _, p := range near { // readings at one count are one
		if n := len(x); n > 0 && p.a-x[n-1] < 1e-6 {
			y[n-1] += (p.y - heel - y[n-1]) * p.w / (w[n-1] + p.w)
			w[n-1] += p.w
			continue
		}
		x, y, w = append(x, p.a), append(y, p.y-heel), append(w, p.w)
	}
	top := 0
	for i := range y {
		if y[i] > y[top] {
			top = i
		}
	}
	p := findPeak(x, y, w, top, height, scatter, ofAngle)
	return p, p.x
}

// flankAngle returns the crank angle at which a flank passes half lift: side is
// -1 for angles below the nose's and +1 for those above. All readings of that
// flank count, whichever way the engine was turning, because angle and lift
// belong together on a flank. u is its standard uncertainty in degrees, from the
// readings' scatter, from what lies between them and from the encoder's count.
func flankAngle(passage []point, nose, side, heel, half, height float64) (at, u float64) {
	var x, y []float64
	lo, hi := math.Inf(-1), math.Inf(1) // nearest lifts below and above half
	var loA, hiA float64
	for _, p := range passage {
		if (p.a-nose)*side <= 0 {
			continue
		}
		v := p.y - heel - half
		if v <= 0 && v > lo {
			lo, loA = v, p.a
		}
		if v > 0 && v < hi {
			hi, hiA = v, p.a
		}
		if math.Abs(v) < 0.15*height {
			x, y = append(x, v/height), append(y, p.a)
		}
	}
	if math.IsInf(lo, 0) || math.IsInf(hi, 0) {
		return math.NaN(), 0
	}
	straight := loA + (hiA-loA)*(-lo)/(hi-lo)
	u = hypot(betweenShare*(hiA-loA), countOf(y)/math.Sqrt(12))
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
		return straight, hypot(u, c-straight)
	}
	return c, hypot(u, (c-straight)/2)
}

// betweenShare is by how much of the way between two readings a crossing between
// them may be off.
const betweenShare = 0.04

// countOf returns the least step of the angles of a flank, degrees.
func countOf(a []float64) float64 {
	least := math.Inf(1)
	for i := 1; i < len(a); i++ {
		if d := math.Abs(a[i] - a[i-1]); d > 1e-9 {
			least = min(least, d)
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return min(least, 1)
}
