package lobe

import (
	"math"
)

// A nose is no parabola: it is c0 - c|x-x0|^p, with p = 2 where the law ends in
// a full acceleration (harmonic, even polynomials), 3 where the acceleration
// ends at zero (3-4-5, cycloidal, modified sine) and 4 where the jerk does as
// well (4-5-6-7); p follows from the first derivative of the law that does not
// vanish at the nose. The flanks differ, by design or because the hand did, and
// so c is one for each. A parabola laid over a cube is too high by a sixteenth
// of the depth of the window, over a fourth power by 0.086 of it (derived here).
//
// Which p it is the readings say themselves, as far as they can: all are
// fitted, and weighted by how well they fit. What they then still disagree by
// is a part of the uncertainty (averaging over models; Hoeting et al.,
// Statistical Science 14, 1999, from memory).
const (
	leastPower, mostPower = 2, 4
	// Below so many readings both flanks are taken to be alike.
	enoughForTwo = 12
	// So many readings at most are fitted; more are put together in blocks.
	mostBlocks = 64
	// The vertex is looked for on a grid first, then between its neighbours.
	gridSteps, finerSteps = 16, 14
)

// noseFit is one power fitted.
type noseFit struct {
	x, y, u, rss float64
	ok           bool
}

// averaged refines a nose that a parabola has found in the readings of a
// window; it returns p as it is where no power fits.
func averaged(p Peak, x, y, w []float64, scatter float64) Peak {
	x, y, w = blocks(x, y, w)
	n := 0.0
	for _, v := range w {
		n += v
	}
	if len(x) < leastFit {
		return p
	}
	var fits [mostPower + 1]noseFit
	best := math.Inf(1)
	for k := leastPower; k <= mostPower; k++ {
		fits[k] = fitPower(x, y, w, k, n >= enoughForTwo)
		if fits[k].ok {
			best = min(best, fits[k].rss)
		}
	}
	if math.IsInf(best, 1) {
		return p
	}
	params := 3.0
	if n >= enoughForTwo {
		params = 4
	}
	// The noise of a reading is known from the rests; what the readings scatter
	// by about the fit counts where that is more.
	sd := max(scatter, math.Sqrt(best/max(float64(len(x))-params, 1)))
	var sum, my, mx, v float64
	for k := leastPower; k <= mostPower; k++ {
		if f := fits[k]; f.ok {
			g := math.Exp((best - f.rss) / (2 * sd * sd))
			sum, my, mx, v = sum+g, my+g*f.y, mx+g*f.x, v+g*f.u*f.u
		}
	}
	my, mx = my/sum, mx/sum
	between := 0.0
	for k := leastPower; k <= mostPower; k++ {
		if f := fits[k]; f.ok {
			between += math.Exp((best-f.rss)/(2*sd*sd)) * (f.y - my) * (f.y - my)
		}
	}
	p.X, p.Y = mx, my
	p.Noise, p.Short = sd*math.Sqrt(v/sum), math.Sqrt(between/sum)
	return p
}

// blocks puts neighbours together until few enough are left.
func blocks(x, y, w []float64) (bx, by, bw []float64) {
	size := (len(x) + mostBlocks - 1) / mostBlocks
	if size <= 1 {
		return x, y, w
	}
	for i := 0; i < len(x); i += size {
		var sx, sy, sw float64
		for k := i; k < min(i+size, len(x)); k++ {
			sx, sy, sw = sx+w[k]*x[k], sy+w[k]*y[k], sw+w[k]
		}
		bx, by, bw = append(bx, sx/sw), append(by, sy/sw), append(bw, sw)
	}
	return bx, by, bw
}

// fitPower fits c0 - c|x-x0|^p by least squares: c0 and c are linear, x0 is
// searched. x grows. u is the standard uncertainty of c0 for readings that
// scatter by 1.
func fitPower(x, y, w []float64, power int, two bool) noseFit {
	q := newPowerFit(x, y, w, power, two)
	best := noseFit{rss: math.Inf(1)}
	try := func(x0 float64) float64 {
		f := q.at(x0)
		if f.ok && f.rss < best.rss {
			best = f
		}
		if !f.ok {
			return math.Inf(1)
		}
		return f.rss
	}
	lo := x[0]
	hi := lo + q.wide
	at, low := lo, math.Inf(1)
	for i := range gridSteps + 1 {
		x0 := lo + q.wide*float64(i)/gridSteps
		if r := try(x0); r < low {
			at, low = x0, r
		}
	}
	if !best.ok {
		return best
	}
	// Golden section between the neighbours on the grid.
	const golden = 0.6180339887498949
	a, b := max(at-q.wide/gridSteps, lo), min(at+q.wide/gridSteps, hi)
	c, d := b-golden*(b-a), a+golden*(b-a)
	rc, rd := try(c), try(d)
	for range finerSteps {
		if rc < rd {
			b, d, rd = d, c, rc
			c = b - golden*(b-a)
			rc = try(c)
		} else {
			a, c, rc = c, d, rd
			d = a + golden*(b-a)
			rd = try(d)
		}
	}
	best.u = uncertaintyOf(x, w, best, q.wide, power, two)
	return best
}

// powerFit holds the readings that one power is fitted to, and the sums over
// them that are the same for every x0.
type powerFit struct {
	x, y, w    []float64
	base, wide float64
	power      int
	two        bool // each flank has a slope of its own

	w0, wy, wyy float64 // sums of w, wy, wy²; y from base
}

func newPowerFit(x, y, w []float64, power int, two bool) powerFit {
	q := powerFit{x: x, y: y, w: w, base: y[0], wide: x[len(x)-1] - x[0], power: power, two: two}
	for i := range y {
		v := y[i] - q.base
		q.w0, q.wy, q.wyy = q.w0+w[i], q.wy+w[i]*v, q.wyy+w[i]*v*v
	}
	return q
}

// at solves for c0 and the slopes at one x0. A nose is lower on both sides.
func (q *powerFit) at(x0 float64) noseFit {
	// The sums of wv, wv² and wvy of the readings on each flank, where v is the
	// distance from x0 raised to the power.
	var sums [2][3]float64
	for i, x := range q.x {
		d := math.Abs(x-x0) / q.wide
		v := d * d
		switch q.power {
		case 3:
			v *= d
		case 4:
			v *= v
		}
		f := &sums[0]
		if q.two && x >= x0 {
			f = &sums[1]
		}
		wv := q.w[i] * v
		f[0], f[1], f[2] = f[0]+wv, f[1]+wv*v, f[2]+wv*(q.y[i]-q.base)
	}
	s := normal{n: 2}
	if q.two {
		s.n = 3
	}
	s.a[0][0], s.b[0] = q.w0, q.wy
	for k := range s.n - 1 {
		s.a[k+1][0], s.a[k+1][k+1], s.b[k+1] = sums[k][0], sums[k][1], sums[k][2]
	}
	c, ok := s.solve()
	if !ok || c[1] > 0 || c[2] > 0 {
		return noseFit{}
	}
	rss := q.wyy
	for k := range s.n {
		rss -= c[k] * s.b[k]
	}
	return noseFit{x: x0, y: q.base + c[0], rss: max(rss, 0), ok: true}
}

// columns are the derivatives of the fit by c0 and the slopes.
func columns(x, x0, wide float64, power int, two bool) [4]float64 {
	d := math.Abs(x-x0) / wide
	v := d * d
	for range power - 2 {
		v *= d
	}
	switch {
	case !two:
		return [4]float64{1, v}
	case x < x0:
		return [4]float64{1, v, 0}
	}
	return [4]float64{1, 0, v}
}

// uncertaintyOf returns the standard uncertainty of c0, x0 found as well, for
// readings that scatter by 1.
func uncertaintyOf(x, w []float64, f noseFit, wide float64, power int, two bool) float64 {
	var s normal
	s.n = 3
	if two {
		s.n = 4
	}
	for i := range x {
		col := columns(x[i], f.x, wide, power, two)
		d := (x[i] - f.x) / wide
		by := math.Abs(d)
		for range power - 2 {
			by *= math.Abs(d)
		}
		col[s.n-1] = -math.Copysign(by, d)
		s.add(col, w[i])
	}
	v, ok := s.firstVariance()
	if !ok {
		return 1
	}
	return math.Sqrt(v)
}

// normal holds the normal equations of up to four unknowns.
type normal struct {
	n int
	a [4][4]float64
	b [4]float64
}

func (s *normal) add(col [4]float64, w float64) {
	for i := range s.n {
		for j := range i + 1 {
			s.a[i][j] += w * col[i] * col[j]
		}
	}
}

// cholesky returns L of a = L Lᵀ; false where the unknowns cannot be told
// apart.
func (s *normal) cholesky() (l [4][4]float64, ok bool) {
	for i := range s.n {
		for j := range i + 1 {
			v := s.a[i][j]
			for k := range j {
				v -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = v / l[j][j]
				continue
			}
			if !(v > 1e-10*s.a[i][i]) {
				return l, false
			}
			l[i][i] = math.Sqrt(v)
		}
	}
	return l, true
}

func (s *normal) solve() (c [4]float64, ok bool) {
	l, ok := s.cholesky()
	if !ok {
		return c, false
	}
	for i := range s.n {
		c[i] = s.b[i]
		for k := range i {
			c[i] -= l[i][k] * c[k]
		}
		c[i] /= l[i][i]
	}
	for i := s.n - 1; i >= 0; i-- {
		for k := i + 1; k < s.n; k++ {
			c[i] -= l[k][i] * c[k]
		}
		c[i] /= l[i][i]
	}
	return c, true
}

// firstVariance returns the variance of the first unknown for observations of
// variance 1.
func (s *normal) firstVariance() (float64, bool) {
	s.b = [4]float64{1}
	c, ok := s.solve()
	return c[0], ok
}
