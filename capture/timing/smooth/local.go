package smooth

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// Local is local polynomial regression on uneven points. The zero value is a
// plain local cubic, half width 1, not robust.
type Local struct {
	HalfWidth float64 // default 1; of the tricube window, in units of x
	Degree    int     // default 3
	// Least is how many points the window must hold; where there are fewer, it
	// is widened to hold them. Default Degree+5.
	Least int
	// Gap is how far apart two neighbouring points may stand; between two that
	// stand farther apart the result runs straight, since a polynomial carried
	// into the void ends anywhere. Default 0: no such limit.
	Gap float64
	// Robust is how often points far off the curve are given less weight
	// (bisquare of six times the median deviation nearby) and the fit is
	// repeated. Default 0.
	Robust int
	// Trust is the least that counts as the median deviation, in units of y:
	// where the points agree to the last digit, or stand so far apart that the
	// polynomial itself is off by more, none is struck out for it. Default 0.
	Trust float64
}

// Fit is what local regression made.
type Fit struct {
	Values []float64
	Rows   []Row // how each value was made of the points
	Widths []float64
	// Kept is the robustness weight of every point, 1 for one that agrees
	// with its neighbours and 0 for one that was left out.
	Kept []float64
	// Residuals are the points minus the curve.
	Residuals []float64
	// Leverage is the weight of each point in its own fitted value: what a
	// residual must be divided by √(1-leverage) for to stand for its noise.
	Leverage []float64
}

// Fit returns the regression of the points at the positions at. The xs must
// not decrease; weights may be nil.
func (o Local) Fit(xs, ys, weights, at []float64) (Fit, error) {
	if o.HalfWidth == 0 {
		o.HalfWidth = 1
	}
	if o.Degree == 0 {
		o.Degree = 3
	}
	if o.Least == 0 {
		o.Least = o.Degree + 5
	}
	n := len(xs)
	if n < o.Least {
		return Fit{}, fmt.Errorf("local regression: %d points, at least %d are needed", n, o.Least)
	}
	if !slices.IsSorted(xs) {
		return Fit{}, fmt.Errorf("local regression: the positions are not in order")
	}
	f := Fit{Kept: make([]float64, n), Residuals: make([]float64, n), Leverage: make([]float64, n)}
	for i := range f.Kept {
		f.Kept[i] = 1
	}
	total := make([]float64, n)
	var s solver
	fitPoints := func() {
		for i := range total {
			total[i] = f.Kept[i]
			if weights != nil {
				total[i] *= weights[i]
			}
		}
		for i := range xs {
			row, _ := s.row(o, xs, total, xs[i])
			f.Residuals[i] = ys[i] - row.Of(ys)
			f.Leverage[i] = 0
			if k := i - row.First; k >= 0 && k < len(row.Weights) {
				f.Leverage[i] = row.Weights[k]
			}
		}
	}
	fitPoints()
	for range o.Robust {
		bisquare(f.Kept, f.Residuals, xs, 8*o.HalfWidth, o.Trust)
		fitPoints()
	}
	f.Values = make([]float64, len(at))
	f.Rows = make([]Row, len(at))
	f.Widths = make([]float64, len(at))
	for i, x := range at {
		f.Rows[i], f.Widths[i] = s.keptRow(o, xs, total, x)
		if k := sort.SearchFloat64s(xs, x); o.Gap > 0 && k > 0 && k < n && xs[k]-xs[k-1] > o.Gap {
			before, w1 := s.keptRow(o, xs, total, xs[k-1])
			after, w2 := s.keptRow(o, xs, total, xs[k])
			t := (x - xs[k-1]) / (xs[k] - xs[k-1])
			f.Rows[i] = Row{Weights: []float64{1 - t, t}}.Through([]Row{before, after})
			f.Widths[i] = max(w1, w2)
		}
		f.Values[i] = f.Rows[i].Of(ys)
	}
	return f, nil
}

// bisquare sets dst from the residuals: weight (1-(r/6m)²)², where m is the
// median absolute residual within reach. The reach is local, because a flank
// scatters more than the heel and must not be judged by it.
func bisquare(dst, residuals, xs []float64, reach, trust float64) {
	n := len(xs)
	abs := make([]float64, 0, 256)
	// One median a block of a quarter of the reach is enough and keeps the
	// cost linear.
	for from := 0; from < n; {
		to := from
		for to < n && xs[to] <= xs[from]+reach/4 {
			to++
		}
		a := sort.SearchFloat64s(xs, xs[from]-reach/2)
		b := sort.Search(n, func(i int) bool { return xs[i] > xs[to-1]+reach/2 })
		abs = abs[:0]
		largest := 0.0
		for _, r := range residuals[a:b] {
			abs = append(abs, math.Abs(r))
			largest = max(largest, math.Abs(r))
		}
		slices.Sort(abs)
		m := 6 * max(abs[len(abs)/2], trust)
		for i := from; i < to; i++ {
			switch r := math.Abs(residuals[i]); {
			case r <= m*1e-9 || r <= largest*1e-12:
				dst[i] = 1
			case r >= m:
				dst[i] = 0
			default:
				u := r / m
				dst[i] = (1 - u*u) * (1 - u*u)
			}
		}
		from = to
	}
}

// solver holds the work space of one weighted polynomial fit after another: it
// is solved here and not by a matrix library, since there are thousands of
// systems of four unknowns.
type solver struct {
	weights []float64 // of the row
	// of the points in the window: position within it, that to the power
	// 2k, kernel, and the last two orthogonal polynomials
	at, power, kernel, now, before []float64
}

const maxDegree = 6

// keptRow is row with memory of its own.
func (s *solver) keptRow(o Local, xs, total []float64, x float64) (Row, float64) {
	r, width := s.row(o, xs, total, x)
	return Row{First: r.First, Weights: slices.Clone(r.Weights)}, width
}

// row returns the weights that give the local polynomial's value at x, and
// the half width used. The row shares the solver's memory.
func (s *solver) row(o Local, xs, total []float64, x float64) (Row, float64) {
	width := o.HalfWidth
	a := sort.SearchFloat64s(xs, x-width)
	b := sort.Search(len(xs), func(i int) bool { return xs[i] > x+width })
	for {
		// The window must hold enough points that still count (a robust step
		// may have struck out some), and two of them on each side: a cubic
		// drawn from one side only is carried beyond what was measured.
		before, after, counted := 0, 0, 0
		for i := a; i < b; i++ {
			if total[i] <= 1e-6 {
				continue
			}
			counted++
			if xs[i] <= x {
				before++
			}
			if xs[i] >= x {
				after++
			}
		}
		wantBefore, wantAfter := before < 2 && a > 0, after < 2 && b < len(xs)
		if !wantBefore && !wantAfter && (counted >= o.Least || (a == 0 && b == len(xs))) {
			break
		}
		switch {
		case wantBefore:
			a--
		case wantAfter:
			b++
		case a == 0:
			b++
		case b == len(xs), x-xs[a-1] <= xs[b]-x:
			a--
		default:
			b++
		}
		// Wide enough that the outermost point still has some weight.
		width = max(width, 1.05*max(x-xs[a], xs[b-1]-x))
	}
	// Both sides as far as the width goes.
	for a > 0 && x-xs[a-1] < width {
		a--
	}
	for b < len(xs) && xs[b]-x < width {
		b++
	}
	s.weights = slices.Grow(s.weights[:0], b-a)[:b-a]
	degree := min(o.Degree, maxDegree)
	for ; degree >= 0; degree-- {
		if s.solve(xs[a:b], total[a:b], x, width, degree) {
			return Row{First: a, Weights: s.weights}, width
		}
	}
	// Nothing in the window counts: the nearest point as it is.
	clear(s.weights)
	k := min(max(sort.SearchFloat64s(xs[a:b], x), 0), b-a-1)
	s.weights[k] = 1
	return Row{First: a, Weights: s.weights}, width
}

// solve fills s.weights; false if the points do not carry that degree (all at
// one position, say), and then a lower one may do.
//
// The kernel is multiplied by the reproducing polynomial sum p_k(0) p_k(u)/|p_k|^2
// of the monic polynomials that are orthogonal on the points, by their
// three-term recurrence (G. E. Forsythe, J. SIAM 5 (1957) 74-88, from memory).
// Normal equations of powers lose ten digits where a quartic is drawn from one
// side; this loses next to none.
func (s *solver) solve(xs, total []float64, x, width float64, degree int) bool {
	n := len(xs)
	s.at = slices.Grow(s.at[:0], n)[:n]
	s.kernel = slices.Grow(s.kernel[:0], n)[:n]
	s.now = slices.Grow(s.now[:0], n)[:n]
	s.before = slices.Grow(s.before[:0], n)[:n]
	s.power = slices.Grow(s.power[:0], n)[:n]
	for i, xi := range xs {
		u := (xi - x) / width
		s.at[i], s.kernel[i], s.weights[i] = u, 0, 0
		s.now[i], s.before[i], s.power[i] = 1, 0, 1
		if v := math.Abs(u); v < 1 {
			c := 1 - v*v*v
			s.kernel[i] = c * c * c * total[i]
		}
	}
	now0, before0 := 1.0, 0.0 // the polynomials at x itself, where u is 0
	normBefore := 1.0
	for k := range degree + 1 {
		var norm, turned, power float64
		for i, w := range s.kernel {
			wp := w * s.now[i] * s.now[i]
			norm += wp
			turned += wp * s.at[i]
			power += w * s.power[i]
			s.power[i] *= s.at[i] * s.at[i]
		}
		if norm <= singular*power || norm <= 0 {
			return false
		}
		for i, p := range s.now {
			s.weights[i] += p * now0 / norm
		}
		alpha, beta := turned/norm, 0.0
		if k > 0 {
			beta = norm / normBefore
		}
		for i, u := range s.at {
			s.now[i], s.before[i] = (u-alpha)*s.now[i]-beta*s.before[i], s.now[i]
		}
		now0, before0 = -alpha*now0-beta*before0, now0
		normBefore = norm
	}
	for i, w := range s.kernel {
		s.weights[i] *= w
	}
	return true
}

// singular is how small what a power adds to the lower ones may be against the
// power itself, both squared, before the points are held not to carry it.
const singular = 1e-11
