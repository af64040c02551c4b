package smooth

// others returns what lays the same shape of line through other values at the line's
// positions, again and again: what depends on the positions alone is worked out once,
// and nothing is looked for twice. A line through ys then tells its value at x, of
// which next is the first position at or beyond it.
//
// Between two positions a distance h apart a natural spline is
//
//	A y0 + B y1 + ((A³-A) m0 + (B³-B) m1) h²/6, B = (x-x0)/h, A = 1-B,
//
// with second derivatives m that are zero at both ends and such that the first
// derivative has no step: a tridiagonal system, which elimination without pivots solves,
// since its diagonal outweighs the rest (W. H. Press and others, Numerical Recipes,
// "Cubic Spline Interpolation"; from memory).
func (l *Line) others() (through func(ys []float64) (value func(x float64, next int) float64)) {
	n := len(l.xs)
	m, carried, inverse := make([]float64, n), make([]float64, n), make([]float64, n)
	if l.shape == Natural {
		for i := 1; i < n-1; i++ {
			before, after := l.xs[i]-l.xs[i-1], l.xs[i+1]-l.xs[i]
			inverse[i] = 1 / ((before+after)/3 - before/6*carried[i-1])
			carried[i] = after / 6 * inverse[i]
		}
	}
	return func(ys []float64) func(float64, int) float64 {
		if l.shape == Natural {
			slope := (ys[1] - ys[0]) / (l.xs[1] - l.xs[0])
			for i := 1; i < n-1; i++ {
				next := (ys[i+1] - ys[i]) / (l.xs[i+1] - l.xs[i])
				m[i] = (next - slope - (l.xs[i]-l.xs[i-1])/6*m[i-1]) * inverse[i]
				slope = next
			}
			m[n-1] = 0
			for i := n - 2; i > 0; i-- {
				m[i] -= carried[i] * m[i+1]
			}
		}
		return func(x float64, next int) float64 {
			if x <= l.xs[0] {
				return ys[0]
			}
			if x >= l.xs[n-1] {
				return ys[n-1]
			}
			h := l.xs[next] - l.xs[next-1]
			b := (x - l.xs[next-1]) / h
			a := 1 - b
			return a*ys[next-1] + b*ys[next] + ((a*a*a-a)*m[next-1]+(b*b*b-b)*m[next])*h*h/6
		}
	}
}
