package sweep

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// reading is one of a pass: millimetres, and when within the pass, -1 to 1.
type reading struct{ v, s, when float64 }

// used are the readings of a pass at which the tip touches the stem.
func (p Pass) used(full float64) []reading {
	var out []reading
	n := float64(max(len(p.Lift)-1, 1))
	for i, l := range p.Lift {
		if v := l.Millimetres(); v > left*full {
			out = append(out, reading{v, p.Sweep[i].Millimetres(), 2*float64(i)/n - 1})
		}
	}
	return out
}

func span(list []reading) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range list {
		low, high = min(low, r.v), max(high, r.v)
	}
	return high - low
}

// The unknowns of a turn.
const (
	atS0 = iota
	atV0
	atArm
	atTilt
	atDrift
	unknowns
)

// prior is what is known beforehand of an unknown; sd 0: nothing.
type prior struct{ mean, sd float64 }

// solved is a fit: the unknowns and their covariance.
type solved struct {
	p     [unknowns]float64
	cov   *mat.SymDense
	noise float64 // scatter of a reading about the curve, mm
}

func (f solved) sd(i int) float64 { return math.Sqrt(f.cov.At(i, i)) }

var (
	errCurve = errors.New("the sweep does not turn as a rocker's does: check that the gauge lay against the roller in the rocker's plane, over the whole opening, and that lift_mm and sweep_mm are in one unit")
	errSpan  = errors.New("the readings go through too little of the lift (lift_mm): turn the engine over a whole opening with the gauge against the tip")
)

// curve is s less s0 and its slopes by v0, arm and tilt.
func curve(v float64, p [unknowns]float64, k float64) (s float64, d [unknowns]float64, ok bool) {
	off := p[atV0] - v
	q := p[atArm]*p[atArm] - off*off
	if q <= 0.05*p[atArm]*p[atArm] {
		return 0, d, false
	}
	root := math.Sqrt(q)
	sin, cos := math.Sincos(p[atTilt])
	d[atS0] = 1
	d[atV0] = -k * cos * off / root
	d[atArm] = k * cos * p[atArm] / root
	d[atTilt] = k * (-sin*root - v*cos)
	return k * (cos*root - v*sin), d, true
}

// parabola is a turn as s = c0 + c1 v + c2 v^2 and a drift: where the fit of the
// whole curve starts, and which sense the gauge has.
func parabola(list []reading) (c [4]float64, err error) {
	var sums [4][4]float64
	var right [4]float64
	for _, r := range list {
		d := [4]float64{1, r.v, r.v * r.v, r.when}
		for i := range 4 {
			right[i] += d[i] * r.s
			for j := i; j < 4; j++ {
				sums[i][j] += d[i] * d[j]
			}
		}
	}
	n, g := mat.NewSymDense(4, nil), mat.NewVecDense(4, nil)
	for i := range 4 {
		g.SetVec(i, right[i])
		for j := i; j < 4; j++ {
			n.SetSym(i, j, sums[i][j])
		}
	}
	n.SetSym(3, 3, n.At(3, 3)+1e-3*float64(len(list))) // a pass up only knows no drift apart
	var chol mat.Cholesky
	var p mat.VecDense
	if !chol.Factorize(n) || chol.SolveVecTo(&p, g) != nil || p.AtVec(2) == 0 {
		return c, errSpan
	}
	for i := range 4 {
		c[i] = p.AtVec(i)
	}
	return c, nil
}

// normals are the sums of one step: the normal matrix, its right side, the loss
// and the readings' scatter at p.
type normals struct {
	n           [unknowns][unknowns]float64
	g           [unknowns]float64
	loss, noise float64
}

func gather(list []reading, priors [unknowns]prior, p [unknowns]float64, k, each float64) (s normals, ok bool) {
	for _, r := range list {
		at, d, ok := curve(r.v, p, k)
		if !ok {
			return s, false
		}
		d[atDrift] = r.when
		off := r.s - at - p[atS0] - p[atDrift]*r.when
		s.noise += off * off
		for i := range unknowns {
			s.g[i] += d[i] * off / each
			for j := i; j < unknowns; j++ {
				s.n[i][j] += d[i] * d[j] / each
			}
		}
	}
	s.loss = s.noise / each
	s.noise = math.Sqrt(s.noise / float64(len(list)))
	for i, q := range priors {
		if q.sd > 0 {
			off := q.mean - p[i]
			s.n[i][i] += 1 / (q.sd * q.sd)
			s.g[i] += off / (q.sd * q.sd)
			s.loss += off * off / (q.sd * q.sd)
		}
	}
	return s, true
}

func (s normals) matrix(damping float64) *mat.SymDense {
	n := mat.NewSymDense(unknowns, nil)
	for i := range unknowns {
		for j := i; j < unknowns; j++ {
			n.SetSym(i, j, s.n[i][j])
		}
		n.SetSym(i, i, s.n[i][i]*(1+damping))
	}
	return n
}

// fitTurn fits a turn from a start (Levenberg and Marquardt). k is the gauge's
// sense; noise is the scatter of single readings about a smooth curve and scale
// what neighbouring readings share (one standard deviation each).
func fitTurn(list []reading, priors [unknowns]prior, start [unknowns]float64, k, noise, scale, step float64) (solved, error) {
	each := noise*noise*correlated + scale*scale*float64(len(list))/counts
	f := solved{p: start}
	now, ok := gather(list, priors, f.p, k, each)
	if !ok {
		return f, errCurve
	}
	damping := 1e-3
	for range 200 {
		var chol mat.Cholesky
		var step mat.VecDense
		if !chol.Factorize(now.matrix(damping)) || chol.SolveVecTo(&step, mat.NewVecDense(unknowns, now.g[:])) != nil {
			return f, errCurve
		}
		p := f.p
		for i := range unknowns {
			p[i] += step.AtVec(i)
		}
		next, ok := gather(list, priors, p, k, each)
		if !ok || next.loss > now.loss+1e-9 {
			if damping *= 10; damping > 1e12 {
				break
			}
			continue
		}
		calm := now.loss-next.loss < 1e-9*(1+now.loss)
		f.p, now, damping = p, next, max(damping/10, 1e-12)
		if calm {
			break
		}
	}
	f.noise = now.noise
	return f, f.spread(list, priors, now, k, noise*noise*correlated+rounding(list, step), each, scale)
}

// spread fills in the covariance of a fit that was weighed by 1/each: what was known
// beforehand, the readings' own scatter, and what the gauge's scale does to all of them.
func (f *solved) spread(list []reading, priors [unknowns]prior, now normals, k, scatter, each, scale float64) error {
	n := now.matrix(0)
	var chol mat.Cholesky
	var inverse mat.SymDense
	if !chol.Factorize(n) || chol.InverseTo(&inverse) != nil {
		return errCurve
	}
	own := scatter / each
	inner := mat.NewSymDense(unknowns, nil)
	for i := range unknowns {
		for j := i; j < unknowns; j++ {
			inner.SetSym(i, j, own*n.At(i, j))
		}
		if q := priors[i]; q.sd > 0 {
			inner.SetSym(i, i, inner.At(i, i)+(1-own)/(q.sd*q.sd))
		}
	}
	var left, all mat.Dense
	left.Mul(&inverse, inner)
	all.Mul(&left, &inverse)
	places := make([]float64, len(list))
	for i, r := range list {
		places[i] = r.s
	}
	f.cov = scaleError(n, places, func(i int, dst []float64) {
		_, d, _ := curve(list[i].v, f.p, k)
		d[atDrift] = list[i].when
		copy(dst, d[:])
	}, each, scale)
	for i := range unknowns {
		for j := i; j < unknowns; j++ {
			f.cov.SetSym(i, j, f.cov.At(i, j)+(all.At(i, j)+all.At(j, i))/2)
		}
	}
	return nil
}

// correlated widens the scatter of single readings: neighbours share a part of it.
const correlated = 2.0

// fitSide fits the reference pass, s = s0 + slope v + drift: slope and its standard
// uncertainty, scatter among it.
func fitSide(list []reading, scale, step float64) (slope, sd, noise float64, err error) {
	n := mat.NewSymDense(3, nil)
	g := mat.NewVecDense(3, nil)
	for _, r := range list {
		d := [3]float64{1, r.v, r.when}
		for i := range 3 {
			g.SetVec(i, g.AtVec(i)+d[i]*r.s)
			for j := i; j < 3; j++ {
				n.SetSym(i, j, n.At(i, j)+d[i]*d[j])
			}
		}
	}
	n.SetSym(2, 2, n.At(2, 2)+1e-3*float64(len(list))) // a pass up only knows no drift apart
	var chol mat.Cholesky
	var p mat.VecDense
	if !chol.Factorize(n) || chol.SolveVecTo(&p, g) != nil {
		return 0, 0, 0, errSpan
	}
	squares := 0.0
	for _, r := range list {
		off := r.s - p.AtVec(0) - p.AtVec(1)*r.v - p.AtVec(2)*r.when
		squares += off * off
	}
	noise = math.Sqrt(squares / float64(len(list)))
	inverse := mat.NewSymDense(3, nil)
	if err := chol.InverseTo(inverse); err != nil {
		return 0, 0, 0, errSpan
	}
	places := make([]float64, len(list))
	for i, r := range list {
		places[i] = r.s
	}
	shared := scaleError(n, places, func(i int, dst []float64) { dst[0], dst[1], dst[2] = 1, list[i].v, list[i].when }, 1, scale)
	return p.AtVec(1), math.Sqrt(inverse.At(1, 1)*(noise*noise*correlated+rounding(list, step)) + shared.At(1, 1)), noise, nil
}
