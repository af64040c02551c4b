package smooth

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/interp"
)

// Shape says how a [Line] runs between its points.
type Shape uint8

// The shapes of a Line. Natural is a cubic spline with no curvature at its
// ends; Straight joins the points by straight pieces.
const (
	Natural Shape = iota
	Straight
)

// Line is a curve through points. Outside them it keeps the value of the
// nearest. The zero value is not usable.
type Line struct {
	xs, ys []float64
	shape  Shape
	at     interp.Predictor
	slope  func(float64) float64
}

// NewLine joins the points. The xs must increase strictly and all values be
// finite.
func NewLine(xs, ys []float64, shape Shape) (*Line, error) {
	if len(xs) != len(ys) {
		return nil, fmt.Errorf("curve through points: %d positions and %d values", len(xs), len(ys))
	}
	if len(xs) < 3 {
		return nil, fmt.Errorf("curve through points: %d points are too few, at least 3 are needed", len(xs))
	}
	for i := range xs {
		if math.IsNaN(xs[i]) || math.IsInf(xs[i], 0) || math.IsNaN(ys[i]) || math.IsInf(ys[i], 0) {
			return nil, fmt.Errorf("curve through points: point %d is not a number", i+1)
		}
		if i > 0 && xs[i] <= xs[i-1] {
			return nil, fmt.Errorf("curve through points: point %d does not lie beyond the one before it", i+1)
		}
	}
	l := &Line{xs: slices.Clone(xs), ys: slices.Clone(ys), shape: shape}
	if shape == Straight {
		var p interp.PiecewiseLinear
		if err := p.Fit(l.xs, l.ys); err != nil {
			return nil, fmt.Errorf("curve through points: %w", err)
		}
		l.at = p
		l.slope = l.straightSlope
		return l, nil
	}
	var p interp.NaturalCubic
	if err := p.Fit(l.xs, l.ys); err != nil {
		return nil, fmt.Errorf("curve through points: %w", err)
	}
	l.at = &p
	l.slope = p.PredictDerivative
	return l, nil
}

func (l *Line) straightSlope(x float64) float64 {
	n := len(l.xs)
	if x < l.xs[0] || x > l.xs[n-1] {
		return 0
	}
	i := min(max(sort.SearchFloat64s(l.xs, x), 1), n-1)
	return (l.ys[i] - l.ys[i-1]) / (l.xs[i] - l.xs[i-1])
}

// Ends returns the first and last position.
func (l *Line) Ends() (first, last float64) { return l.xs[0], l.xs[len(l.xs)-1] }

// At returns the value at x.
func (l *Line) At(x float64) float64 { return l.at.Predict(x) }

// Slope returns the first derivative at x. Of straight pieces it is that of
// the piece which ends at x.
func (l *Line) Slope(x float64) float64 { return l.slope(x) }

// Highest returns the highest point between the given positions: that of the
// line, which for a spline seldom is one of the points it was laid through.
// Of equally high points it returns the middle one.
func (l *Line) Highest(from, to float64) (x, y float64) {
	from, to = max(from, l.xs[0]), min(to, l.xs[len(l.xs)-1])
	x, y = from, l.At(from)
	better := func(cx float64) {
		if cy := l.At(cx); cy > y {
			x, y = cx, cy
		}
	}
	better(to)
	flatFrom, flatTo := math.Inf(1), math.Inf(-1)
	for i, k := range l.xs {
		if k < from || k > to {
			continue
		}
		better(k)
		if i == 0 || l.shape == Straight {
			continue
		}
		for _, root := range l.flats(i) {
			if root >= from && root <= to {
				better(root)
			}
		}
	}
	if i := sort.SearchFloat64s(l.xs, to); l.shape != Straight && i > 0 && i < len(l.xs) {
		for _, root := range l.flats(i) {
			if root >= from && root <= to {
				better(root)
			}
		}
	}
	// A plateau, as a coarse indicator draws it: its middle, not its corner.
	for _, k := range l.xs {
		if k >= from && k <= to && l.At(k) >= y {
			flatFrom, flatTo = min(flatFrom, k), max(flatTo, k)
		}
	}
	if flatTo > flatFrom && l.At((flatFrom+flatTo)/2) >= y-1e-12*math.Abs(y) {
		x = (flatFrom + flatTo) / 2
	}
	return x, y
}

// flats returns where the cubic between points i-1 and i runs level.
func (l *Line) flats(i int) []float64 {
	x0, x1 := l.xs[i-1], l.xs[i]
	h := x1 - x0
	s := (l.ys[i] - l.ys[i-1]) / h
	d0, d1 := l.Slope(x0), l.Slope(x1)
	// The derivative of the cubic with these ends and slopes, in t = (x-x0)/h,
	// is d0 + bt + at².
	a := 3 * (d0 + d1 - 2*s)
	b := 2 * (3*s - 2*d0 - d1)
	var ts []float64
	switch disc := b*b - 4*a*d0; {
	case a == 0 && b != 0:
		ts = []float64{-d0 / b}
	case a != 0 && disc >= 0:
		q := -(b + math.Copysign(math.Sqrt(disc), b)) / 2
		ts = append(ts, q/a)
		if q != 0 {
			ts = append(ts, d0/q)
		}
	}
	var out []float64
	for _, t := range ts {
		if t >= 0 && t <= 1 {
			out = append(out, x0+t*h)
		}
	}
	return out
}

// Down walks from start towards the far end on one side (dir is -1 or +1) and
// returns where the line first falls under level. again says that it comes
// back above level further out. ok is false if it never falls under it.
func (l *Line) Down(start, level float64, dir int) (x float64, again, ok bool) {
	i := sort.SearchFloat64s(l.xs, start) // first point at or right of start
	if dir < 0 {
		i--
		for i >= 0 && l.xs[i] >= start {
			i--
		}
	}
	inner := start
	for ; i >= 0 && i < len(l.xs); i += dir {
		if !ok && l.ys[i] < level {
			x, ok = l.root(l.xs[i], inner, level), true
		} else if ok && l.ys[i] >= level {
			return x, true, ok
		}
		inner = l.xs[i]
	}
	return x, false, ok
}

// root finds where the line meets level between under (where it is below) and
// over (where it is not), by halving: 80 halvings reach the last bit whatever
// the shape.
func (l *Line) root(under, over, level float64) float64 {
	for range 80 {
		mid := under + (over-under)/2
		if mid == under || mid == over {
			break
		}
		if l.At(mid) < level {
			under = mid
		} else {
			over = mid
		}
	}
	return under + (over-under)/2
}

// Crossings returns every position at which the line passes level between two
// of its points, in order.
func (l *Line) Crossings(level float64) []float64 {
	var out []float64
	for i := 1; i < len(l.xs); i++ {
		a, b := l.ys[i-1] < level, l.ys[i] < level
		switch {
		case a && !b:
			out = append(out, l.root(l.xs[i-1], l.xs[i], level))
		case b && !a:
			out = append(out, l.root(l.xs[i], l.xs[i-1], level))
		}
	}
	return out
}

// Area returns the area under the line between the positions. Simpson's rule
// on each piece is exact for a cubic.
func (l *Line) Area(from, to float64) float64 {
	from, to = max(from, l.xs[0]), min(to, l.xs[len(l.xs)-1])
	sum := 0.0
	for i := 1; i < len(l.xs); i++ {
		a, b := max(from, l.xs[i-1]), min(to, l.xs[i])
		if b > a {
			sum += (b - a) / 6 * (l.At(a) + 4*l.At((a+b)/2) + l.At(b))
		}
	}
	return sum
}

// Resample returns rows that take the line's points to its values at the
// positions at, so that noise can be carried through. Weights under 1e-9 of
// the largest are dropped: a point's influence on a spline dies away by a
// factor of nearly four with each point between.
func (l *Line) Resample(at []float64) []Row {
	// A unit impulse on every point in turn shows what each does. Impulses 40
	// points apart do not disturb one another (3.7^-20 is under 1e-11), so 40
	// splines do for any number of points.
	const apart = 40
	n := len(l.xs)
	rows := make([]Row, len(at))
	near := make([]int, len(at))
	for i, x := range at {
		near[i] = min(sort.SearchFloat64s(l.xs, x), n-1)
		first := max(near[i]-apart/2, 0)
		rows[i] = Row{First: first, Weights: make([]float64, min(near[i]+apart/2, n)-first)}
	}
	ys := make([]float64, n)
	through := l.others()
	for phase := range min(apart, n) {
		for i := range ys {
			ys[i] = 0
			if i%apart == phase {
				ys[i] = 1
			}
		}
		value := through(ys)
		for i, x := range at {
			r := rows[i]
			k := (phase - r.First%apart + apart) % apart
			if k < len(r.Weights) {
				r.Weights[k] = value(x, near[i])
			}
		}
	}
	for i := range rows {
		rows[i] = rows[i].trimmed(1e-9)
	}
	return rows
}

// trimmed drops the ends of a row that hardly count.
func (r Row) trimmed(share float64) Row {
	most := 0.0
	for _, w := range r.Weights {
		most = max(most, math.Abs(w))
	}
	a, b := 0, len(r.Weights)
	for a < b && math.Abs(r.Weights[a]) <= share*most {
		a++
	}
	for b > a && math.Abs(r.Weights[b-1]) <= share*most {
		b--
	}
	return Row{First: r.First + a, Weights: r.Weights[a:b]}
}
