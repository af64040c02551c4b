package lift

import (
	"math"
	"slices"
)

// peak is an estimate of the highest point of the signal: where it lies (on
// the axis it was looked for on), how high, and its standard uncertainty from
// noise and from what was missed between the readings.
type peak struct {
	x, y  float64
	noise float64 // standard uncertainty of y from noise, Type A
	short float64 // standard uncertainty of y from the shape between readings
	gap   float64 // how much higher than the readings the true nose may be
	fit   bool    // from a fit over several readings, not from the highest alone
	dense bool    // from readings enough
}

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
	// how deep the readings around it lie; from simulated hands.
	sparseBias = 0.16
	lackFit    = 1.3
)

// findPeak looks for the highest point of the signal in order of x. scatter is
// the standard deviation of one reading, rounding included.
//
// Where the readings are dense a parabola is fitted by least squares to those
// just under the highest one: the highest of many readings is biased up by
// their noise. The window is no deeper than it must be, because real noses are
// flatter or sharper than parabolas, and hands uneven. Where the readings are
// sparse two parabolas go through the highest reading, its higher neighbour and
// the reading before or after; where they differ much the lower vertex is taken,
// since a spring that throws the cam past the nose makes one flank look nearer
// than it is.
func findPeak(x, y, w []float64, top int, height, scatter float64) peak {
	var best peak
	high := y[top]
	for depth := shallow * scatter; depth < deepest*height; depth *= 2 {
		from, to := window(y, top, high-depth)
		if to-from < leastFit {
			continue
		}
		p, ok := fitPeak(x[from:to], y[from:to], w[from:to], scatter)
		ok = ok && p.y > high-mostNoise*scatter
		switch {
		case ok && to-from >= enoughFit:
			p.dense = true
			return p
		case ok:
			best = p
			continue
		case best.fit:
			return best
		case to-from >= enoughFit && depth <= 2*shallow*scatter:
			return highestBlock(x[from:to], y[from:to], w[from:to], scatter)
		}
		break
	}
	if best.fit {
		return best
	}
	if from, to := window(y, top, high-2*shallow*scatter); to-from >= enoughFit/2 {
		return highestBlock(x[from:to], y[from:to], w[from:to], scatter)
	}
	return sparsePeak(x, y, w, top, scatter)
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
func fitPeak(x, y, w []float64, scatter float64) (peak, bool) {
	mid, half := (x[0]+x[len(x)-1])/2, (x[len(x)-1]-x[0])/2
	if half <= 0 {
		return peak{}, false
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
		return peak{}, false
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
		return peak{}, false
	}
	u := 0.0
	if c[2] < 0 {
		u = -c[1] / (2 * c[2])
	}
	if c[2] >= 0 || math.Abs(u) > 1 {
		// It does not turn over within the window: all is flat, or it is no nose.
		if n < enoughFit && slices.Max(y)-slices.Min(y) > 3*scatter {
			return peak{}, false
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
	return peak{
		x: mid + u*half, y: base + c[0] + u*(c[1]+u*c[2]),
		noise: max(sd, scatter/2) * math.Sqrt(v),
		short: min(shapeBias*(slices.Max(y)-slices.Min(y)), mostBias(n)*scatter),
		fit:   true,
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
// against time is no parabola: the mean of the highest of several blocks of
// readings, less what the highest of so many means is too high by.
func highestBlock(x, y, w []float64, scatter float64) peak {
	n := len(x)
	size := min(max(n/6, 6), 50)
	best := peak{y: math.Inf(-1)}
	blocks := 0
	for from := 0; from+size <= n; from += size {
		var sx, sy, sw float64
		for i := from; i < from+size; i++ {
			sx, sy, sw = sx+w[i]*x[i], sy+w[i]*y[i], sw+w[i]
		}
		blocks++
		if sy/sw > best.y {
			best = peak{x: sx / sw, y: sy / sw, noise: scatter / math.Sqrt(sw), fit: true}
		}
	}
	// The expected highest of n normal values, halved: some of the blocks lie
	// lower for good.
	best.y -= best.noise * 0.5 * math.Sqrt(2*math.Log(float64(max(blocks, 1))))
	return best
}

// sparsePeak works from the highest reading and its neighbours alone.
func sparsePeak(x, y, w []float64, top int, scatter float64) peak {
	p := peak{x: x[top], y: y[top], noise: scatter / math.Sqrt(w[top])}
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
			above[n], at[n] = max(yv-y[top], 0), xv
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
		p.short = sparseBias * max(deep, 0)
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
		p.x, p.y = at[k], y[top]+above[k]
		p.gap = max(above[0], above[1])
		p.short = max(p.short, (p.gap-above[k])/math.Sqrt(12)+0.15*above[k])
	case 1:
		// One parabola has its vertex outside of the two highest readings:
		// nothing is higher between them than the readings themselves.
		p.gap = above[0]
		p.short = max(p.short, p.gap/math.Sqrt(12)/2)
	}
	return p
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
