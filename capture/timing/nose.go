package timing

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// crown is the nose as it was fitted: where, how high, and the standard
// uncertainties by chance; degrees and millimetres.
type crown struct{ x, y, ux, uy float64 }

// A nose is flat, and the highest of many readings near it is wherever the noise
// was kindest: too high, and degrees away. So it is fitted: a polynomial of the
// fourth degree by least squares through all readings above some part of the lift,
// and its own highest point taken. The wider the part the less the noise counts,
// and the less a lobe is a polynomial: the widest part is taken in which the fit
// still scatters no more than in the narrow ones, and what a fit of the sixth
// degree says otherwise counts as uncertainty.
var parts = []float64{0.03, 0.05, 0.08, 0.12, 0.17, 0.23, 0.3}

// noseOf fits the nose of points in order; floor is the least standard
// uncertainty of one of them.
func (c *Curve) noseOf(xs, ys, ns []float64, floor float64) crown {
	x, y := c.line.Highest(c.x[0], c.x[len(c.x)-1])
	rough := crown{x: x, y: y, ux: c.flatness(x, y), uy: c.uLift(x)}
	best, found := rough, false
	quiet := math.Inf(1)
	for _, part := range parts {
		from, _, okFrom := c.line.Down(x, y*(1-part), -1)
		to, _, okTo := c.line.Down(x, y*(1-part), +1)
		if !okFrom || !okTo {
			break
		}
		var px, py, pn []float64
		for i, at := range xs {
			if at >= from && at <= to {
				px, py, pn = append(px, at), append(py, ys[i]), append(pn, ns[i])
			}
		}
		if len(px) < 9 {
			continue
		}
		middle, half := (from+to)/2, (to-from)/2
		four, s, ok := crest(px, py, pn, middle, half, 4, floor)
		if !ok {
			continue
		}
		six, _, ok := crest(px, py, pn, middle, half, 6, floor)
		if !ok {
			continue
		}
		if s > 1.15*max(quiet, floor) { // a lobe is no polynomial so far down
			break
		}
		quiet = min(quiet, s)
		// What the sixth degree says otherwise is noise as well as shape: it counts
		// as shape where it is more than the noise of their difference.
		apart := math.Abs(six.x - four.x)
		noise := math.Sqrt(max(six.ux*six.ux-four.ux*four.ux, 0))
		four.ux = math.Hypot(four.ux, rectangular(max(0, apart-noise)))
		apart, noise = math.Abs(six.y-four.y), math.Sqrt(max(six.uy*six.uy-four.uy*four.uy, 0))
		four.uy = math.Hypot(four.uy, rectangular(max(0, apart-noise)))
		if !found || four.ux <= best.ux {
			best, found = four, true
		}
	}
	return best
}

// leastScatter is what no person reads off a gauge by: less is how the points lie, mm.
const leastScatter = 0.002

// scatterOfTyped is by how much typed points scatter (one standard deviation, mm), from
// their fourth differences above half of the lift: of a lobe with a point in three
// degrees or finer these are a micrometre or two, of readings with a standard deviation
// s they are the root of 70 times s. 0 where the points are coarser, few or uneven.
func scatterOfTyped(xs, ys []float64, top float64) float64 {
	var squares, n float64
	for i := 4; i < len(xs); i++ {
		step := xs[i] - xs[i-1]
		even := step > 0 && step <= 3.01
		for j := range 4 {
			even = even && ys[i-j] > top/2 && math.Abs(xs[i-j]-xs[i-j-1]-step) < 0.05*step
		}
		if even && ys[i-4] > top/2 {
			d := ys[i] - 4*ys[i-1] + 6*ys[i-2] - 4*ys[i-3] + ys[i-4]
			squares, n = squares+d*d, n+1
		}
	}
	if n < 12 {
		return 0
	}
	return math.Sqrt(squares / n / 70)
}

// flatness is how well the highest point of a line tells where the nose is: two
// lifts differ only if they do so by more than the chance in both.
func (c *Curve) flatness(x, y float64) float64 {
	u := c.uLift(x)
	left, _, okLeft := c.line.Down(x, y-math.Sqrt2*u, -1)
	right, _, okRight := c.line.Down(x, y-math.Sqrt2*u, +1)
	if u > 0 && okLeft && okRight {
		return rectangular(max(x-left, right-x))
	}
	return 0
}

// crest fits a polynomial of a degree over middle ± half and returns its highest
// point there, with the scatter of a single reading.
func crest(xs, ys, ns []float64, middle, half float64, degree int, floor float64) (crown, float64, bool) {
	n, columns := len(xs), degree+1
	if n < columns+2 {
		return crown{}, 0, false
	}
	a, b := mat.NewDense(n, columns, nil), mat.NewVecDense(n, nil)
	for i := range n {
		w, t := math.Sqrt(ns[i]), (xs[i]-middle)/half
		for j := range columns {
			a.Set(i, j, w)
			w *= t
		}
		b.SetVec(i, math.Sqrt(ns[i])*ys[i])
	}
	var qr mat.QR
	qr.Factorize(a)
	var fit, residual mat.VecDense
	if qr.SolveVecTo(&fit, false, b) != nil {
		return crown{}, 0, false
	}
	residual.MulVec(a, &fit)
	residual.SubVec(b, &residual)
	s := math.Sqrt(mat.Dot(&residual, &residual) / float64(n-columns))
	scatter := max(s, floor)
	p := func(t float64, derivative int) float64 {
		v := 0.0
		for j := columns - 1; j >= derivative; j-- {
			k := fit.AtVec(j)
			for d := range derivative {
				k *= float64(j - d)
			}
			v = v*t + k
		}
		return v
	}
	// The highest of a fine row, then Newton.
	at, most := 0.0, math.Inf(-1)
	for t := -0.9; t <= 0.9; t += 0.02 {
		if v := p(t, 0); v > most {
			at, most = t, v
		}
	}
	for range 20 {
		bend := p(at, 2)
		if !(bend < 0) {
			return crown{}, 0, false
		}
		at -= p(at, 1) / bend
	}
	bend := p(at, 2)
	if !(bend < 0) || !(math.Abs(at) < 0.95) {
		return crown{}, 0, false
	}
	var normal mat.SymDense
	normal.SymOuterK(1, a.T())
	var chol mat.Cholesky
	if !chol.Factorize(&normal) {
		return crown{}, 0, false
	}
	spread := func(derivative int) float64 {
		g := mat.NewVecDense(columns, nil)
		for j := derivative; j < columns; j++ {
			k := math.Pow(at, float64(j-derivative))
			for d := range derivative {
				k *= float64(j - d)
			}
			g.SetVec(j, k)
		}
		var solved mat.VecDense
		if chol.SolveVecTo(&solved, g) != nil {
			return math.Inf(1)
		}
		return scatter * math.Sqrt(max(mat.Dot(g, &solved), 0))
	}
	return crown{x: middle + half*at, y: p(at, 0), ux: half * spread(1) / -bend, uy: spread(0)}, s, true
}

// liftOf takes max lift of a trace from where every other figure of it comes
// from, so that one valve has one max lift.
func (c *Curve) liftOf(t measure.Trace, o Options) {
	f, err := lift.Analyse(t, lift.Options{Resolution: o.Resolution})
	if err != nil || f.MaxLift == 0 {
		return
	}
	own := millimetres(c.top.y)
	ownU := millimetres(coverage * math.Hypot(c.top.uy, c.uHeel))
	if (f.MaxLift - own).Abs() > min(2*f.MaxLiftU, own/100)+2*ownU {
		return // readings that are none are among them: the curve left them out
	}
	c.maxLift, c.maxLiftU = f.MaxLift, f.MaxLiftU
}
