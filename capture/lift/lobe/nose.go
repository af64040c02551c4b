package lobe

import (
	"math"
	"slices"
)

// Peak is an estimate of the highest point of a curve: where it lies, how high, and
// its standard uncertainty from noise and from what was missed between the readings.
type Peak struct {
	X, Y  float64
	Noise float64 // standard uncertainty of Y from noise, Type A
	Short float64 // standard uncertainty of Y from the shape between readings
	Gap   float64 // how much higher than the readings the true nose may be
	Fit   bool    // from a fit over several readings, not from the highest alone
	Dense bool    // from readings enough
}

// second is one, in microseconds.
const second = 1e6

// The window under the highest reading that is fitted with a parabola begins
// shallow, where any nose is one, and is made deeper until it holds readings
// enough; beyond a share of the max lift it is no nose any more.
const (
	shallow   = 4.0 // in standard deviations of a reading
	deepest   = 0.06
	enoughFit = 16
	leastFit  = 5
	mostNoise = 4.5 // standard deviations that the highest reading may be too high by
	// A nose that is a cube instead of a parabola (3-4-5 and cycloidal lobes)
	// puts the vertex of the fit off by a sixteenth of the window's depth.
	shapeBias = 1.0 / 16
	// How far off the vertex of a parabola through three readings is, against
	// how deep the readings around it lie; from simulated hands. In time it grows
	// with the interval between readings, in seconds, since a hand keeps its speed
	// for a moment; along the angle the hand's speed does not matter.
	sparseBias, sparseHand = 0.03, 0.72
	sparseAngle            = 0.16
	// Readings along the angle closer together than this share of the nose (all
	// above eight tenths of the lift) are one: a rest or a back-turn beside the
	// nose says no more of what lies between than one reading.
	oneReading = 1.0 / 48
	// How far off the nose is where it was rested on, against how far the next
	// reading lies below the rest and how many readings there are; from
	// simulated hands.
	edgeBias = 0.8
	lackFit  = 1.3
)

// Nose looks for the highest point of the curve.
//
// Where the readings are dense a parabola is fitted by least squares to those
// just under the highest one: the highest of many readings is biased up by
// their noise. The window is no deeper than it must be, because real noses are
// flatter or sharper than parabolas, and hands uneven. Where the readings are
// sparse two parabolas go through the highest reading, its higher neighbour and
// the reading before or after; where they differ much the lower vertex is taken,
// since a spring that throws the cam past the nose makes one flank look nearer
// than it is.
func (c Curve) Nose() Peak {
	x, y, w, top, scatter := c.X, c.Y, c.W, c.Top, c.Scatter
	var best Peak
	high := y[top]
	mid := amidHighest(y, top, scatter)
	for depth := shallow * scatter; depth < deepest*c.Height; depth *= 2 {
		from, to := window(y, mid, high-depth)
		if to-from < leastFit {
			continue
		}
		p, ok := fitPeak(x[from:to], y[from:to], w[from:to], scatter)
		ok = ok && p.Y > high-mostNoise*scatter
		switch {
		case ok && to-from >= enoughFit:
			p.Dense = true
			return averaged(p, x[from:to], y[from:to], w[from:to], scatter)
		case ok:
			best = averaged(p, x[from:to], y[from:to], w[from:to], scatter)
			continue
		case best.Fit:
			return best
		case to-from >= enoughFit && depth <= 2*shallow*scatter:
			return highestBlock(x, y, w, from, to, scatter)
		}
		break
	}
	if best.Fit {
		return best
	}
	if from, to := window(y, mid, high-2*shallow*scatter); to-from >= enoughFit/2 {
		return highestBlock(x, y, w, from, to, scatter)
	}
	return sparsePeak(x, y, w, top, scatter, c.Along)
}

// amidHighest returns which of the readings that noise alone may keep under the
// highest has the highest neighbours: where the nose was rested near and then
// passed, one reading too high must not draw the fit to the rest.
func amidHighest(y []float64, top int, scatter float64) int {
	const around = 8
	least, floor := y[top]-2.5*scatter, y[top]-8*scatter
	best, most := top, math.Inf(-1)
	for i, v := range y {
		if v < least {
			continue
		}
		sum := 0.0
		for _, u := range y[max(i-around, 0):min(i+around+1, len(y))] {
			sum += max(u, floor) - floor
		}
		if sum > most {
			best, most = i, sum
		}
	}
	return best
}

// window returns the readings around top that stay above floor, one straggler
// at a time allowed.
func window(y []float64, top int, floor float64) (from, to int) {
	from, to = top, top+1
	for from > 0 && (y[from-1] >= floor || from > 1 && y[from-2] >= floor) {
		from--
	}
	for to < len(y) && (y[to] >= floor || to+1 < len(y) && y[to+1] >= floor) {
		to++
	}
	return from, to
}

// fitPeak fits y = c0 + c1 u + c2 u² and returns its vertex. It refuses a fit
// whose residuals are larger than the noise, and one that does not turn over.
func fitPeak(x, y, w []float64, scatter float64) (Peak, bool) {
	mid, half := (x[0]+x[len(x)-1])/2, (x[len(x)-1]-x[0])/2
	if half <= 0 {
		return Peak{}, false
	}
	var s [5]float64 // sums of u^k
	var r [3]float64 // sums of y u^k
	base := y[0]
	for i := range x {
		u, v, k := (x[i]-mid)/half, y[i]-base, w[i]
		for j := range s {
			s[j] += k
			if j < 3 {
				r[j] += k * v
			}
			k *= u
		}
	}
	inv, ok := invert3([3][3]float64{{s[0], s[1], s[2]}, {s[1], s[2], s[3]}, {s[2], s[3], s[4]}})
	if !ok {
		return Peak{}, false
	}
	var c [3]float64
	for i := range c {
		for j := range r {
			c[i] += inv[i][j] * r[j]
		}
	}
	var rss, n float64
	for i := range x {
		u := (x[i] - mid) / half
		e := y[i] - base - c[0] - u*(c[1]+u*c[2])
		rss += w[i] * e * e
		n++
	}
	sd := math.Sqrt(rss / max(n-3, 1))
	if sd > lackFit*scatter {
		return Peak{}, false
	}
	u := 0.0
	if c[2] < 0 {
		u = -c[1] / (2 * c[2])
	}
	if c[2] >= 0 || math.Abs(u) > 1 {
		// It does not turn over within the window: all is flat, or it is no nose.
		if n < enoughFit && slices.Max(y)-slices.Min(y) > 3*scatter {
			return Peak{}, false
		}
		u = min(max(u, -1), 1)
		if c[2] >= 0 {
			u = math.Copysign(1, c[1])
		}
	}
	g := [3]float64{1, u, u * u}
	v := 0.0
	for i := range g {
		for j := range g {
			v += g[i] * inv[i][j] * g[j]
		}
	}
	high := base + c[0] + u*(c[1]+u*c[2])
	if most := slices.Max(y); high > most+(most-slices.Min(y))/2+scatter {
		return Peak{}, false // in a hole between bunches of readings, whose stamps lie
	}
	return Peak{
		X: mid + u*half, Y: high,
		Noise: max(sd, scatter/2) * math.Sqrt(v),
		Short: min(shapeBias*(slices.Max(y)-slices.Min(y)), mostBias(n)*scatter),
		Fit:   true,
	}, true
}

// mostBias is how many standard deviations of a reading the shape can put a fit
// off by, that its residuals do not show: more, the fewer there are.
func mostBias(readings float64) float64 {
	if readings >= enoughFit {
		return 0.7
	}
	return 2
}

// highestBlock is for a nose that was rested on or rocked about, where lift
// against time is no smooth curve: the highest mean of neighbouring readings,
// less what the highest of so many is too high by. Long blocks are surer, but a
// rest just under the nose hides it from them: a shorter block counts where it
// lies above the longer ones by more than its noise. The farther the readings
// on either side of the window lie below it, and the fewer stand within, the
// more of the nose may have passed at its edges.
func highestBlock(x, y, w []float64, from, to int, scatter float64) Peak {
	edge := 0.0
	if from > 0 {
		edge = slices.Max(y[from:to]) - y[from-1]
	}
	if to < len(y) {
		edge = max(edge, slices.Max(y[from:to])-y[to])
	}
	x, y, w = x[from:to], y[from:to], w[from:to]
	best := Peak{Y: math.Inf(-1)}
	n := len(x)
	size := 1
	for size < 64 && 2*size <= n/2 {
		size *= 2
	}
	for ; size >= 1; size /= 2 {
		var p Peak
		p.Y = math.Inf(-1)
		for from := 0; from+size <= n; from++ {
			var sx, sy, sw float64
			for i := from; i < from+size; i++ {
				sx, sy, sw = sx+w[i]*x[i], sy+w[i]*y[i], sw+w[i]
			}
			if sy/sw > p.Y {
				p = Peak{X: sx / sw, Y: sy / sw, Noise: scatter / math.Sqrt(sw), Fit: true}
			}
		}
		near := 0
		for _, v := range y {
			if v > p.Y-3*scatter {
				near++
			}
		}
		p.Y -= p.Noise * highestOf(float64(near)/float64(size))
		if p.Y > best.Y+2*p.Noise {
			best = p
		}
	}
	best.Short = edgeBias * edge / float64(n)
	return best
}

// highestOf returns by how many standard deviations the highest of n normal
// values is expected to lie above their mean (Blom's approximation, from
// memory).
func highestOf(n float64) float64 {
	if n <= 1 {
		return 0
	}
	return math.Sqrt2 * math.Erfinv(2*(n-0.375)/(n+0.25)-1)
}

// sparsePeak works from the highest reading and its neighbours alone.
func sparsePeak(x, y, w []float64, top int, scatter float64, along Axis) Peak {
	if along == OfAngle {
		x, y, w, top = apart(x, y, w, (x[len(x)-1]-x[0])*oneReading)
	}
	p := Peak{X: x[top], Y: y[top], Noise: scatter / math.Sqrt(w[top])}
	if top == 0 || top == len(y)-1 {
		return p
	}
	lo, hi := top-1, top // the two highest neighbours
	if y[top+1] > y[top-1] {
		lo, hi = top, top+1
	}
	var above, at [2]float64
	n := 0
	for _, i := range [2]int{lo - 1, lo} {
		if i < 0 || i+2 >= len(y) {
			continue
		}
		if xv, yv, ok := vertex(x[i:i+3], y[i:i+3]); ok && xv >= x[lo]-1e-9 && xv <= x[hi]+1e-9 {
			// Where readings come in bunches their stamps lie: between readings as far
			// apart as usual a parabola rises by no more than half of what they fall.
			most := max(y[top]-y[max(top-1, 0)], y[top]-y[min(top+1, len(y)-1)]) / 2
			above[n], at[n] = min(max(yv-y[top], 0), most), xv
			n++
		}
	}
	deep := math.Inf(1)
	if lo > 0 {
		deep = y[top] - y[lo-1]
	}
	if hi+1 < len(y) {
		deep = min(deep, y[top]-y[hi+1])
	}
	if !math.IsInf(deep, 1) {
		bias := sparseAngle
		if along == OfTime {
			first, last := max(lo-1, 0), min(hi+1, len(x)-1)
			bias = sparseBias + sparseHand*(x[last]-x[first])/float64(last-first)/second
		}
		p.Short = bias * max(deep, 0)
	}
	switch n {
	case 2:
		k := 0
		if above[1] < above[0] {
			k = 1
		}
		if above[1-k] <= 3*above[k] { // the hand was even enough for either
			above[k] = (above[k] + above[1-k]) / 2
		}
		p.X, p.Y = at[k], y[top]+above[k]
		p.Gap = max(above[0], above[1])
		p.Short = max(p.Short, (p.Gap-above[k])/math.Sqrt(12)+0.15*above[k])
	case 1:
		// One parabola has its vertex outside of the two highest readings:
		// nothing is higher between them than the readings themselves.
		p.Gap = above[0]
		p.Short = max(p.Short, p.Gap/math.Sqrt(12)/2)
	}
	return p
}

// apart puts readings together that lie within near of the first of them, and
// returns the index of the highest.
func apart(x, y, w []float64, near float64) (ax, ay, aw []float64, top int) {
	first := 0.0
	for i := range x {
		k := len(ax) - 1
		if k < 0 || x[i]-first > near {
			first = x[i]
			ax, ay, aw = append(ax, x[i]), append(ay, y[i]), append(aw, w[i])
			continue
		}
		f := w[i] / (aw[k] + w[i])
		ax[k], ay[k], aw[k] = ax[k]+f*(x[i]-ax[k]), ay[k]+f*(y[i]-ay[k]), aw[k]+w[i]
	}
	for i := range ay {
		if ay[i] > ay[top] {
			top = i
		}
	}
	return ax, ay, aw, top
}

// vertex returns the vertex of the parabola through three points.
func vertex(x, y []float64) (xv, yv float64, ok bool) {
	h0, h1 := x[1]-x[0], x[2]-x[1]
	if h0 <= 0 || h1 <= 0 {
		return 0, 0, false
	}
	d0, d1 := (y[1]-y[0])/h0, (y[2]-y[1])/h1
	c := (d1 - d0) / (h0 + h1)
	if c >= 0 {
		return 0, 0, false
	}
	slope := (d0*h1 + d1*h0) / (h0 + h1) // at x[1]
	d := -slope / (2 * c)
	return x[1] + d, y[1] + slope*d/2, true
}
