package delay

import "math"

// spline is a uniform cubic B-spline fitted by least squares. A touch of
// smoothing (of second differences) bridges the stretches without readings.
type spline struct {
	from, step float64
	c          []float64    // coefficients
	band       [][4]float64 // scratch: upper band of the normal equations
	weight     []float64    // readings that touch each coefficient
}

const (
	knotStep  = 4.0 // degrees
	mostKnots = 400
	smoothing = 1e-6
)

func newSpline(from, to float64) spline {
	step := max(knotStep, (to-from)/mostKnots)
	n := int(math.Ceil((to-from)/step)) + 3
	return spline{from: from, step: step, c: make([]float64, n), band: make([][4]float64, n), weight: make([]float64, n)}
}

// basis returns the first of the four coefficients that count at x, and their
// weights; d are the weights of the slope.
func (s *spline) basis(x float64) (first int, b, d [4]float64) {
	u := (x - s.from) / s.step
	first = min(max(int(u), 0), len(s.c)-4)
	u -= float64(first)
	v := 1 - u
	b = [4]float64{v * v * v / 6, (3*u*u*u - 6*u*u + 4) / 6, (3*v*v*v - 6*v*v + 4) / 6, u * u * u / 6}
	d = [4]float64{-v * v / 2, (3*u*u - 4*u) / 2, -(3*v*v - 4*v) / 2, u * u / 2}
	for i := range d {
		d[i] /= s.step
	}
	return first, b, d
}

func (s *spline) at(x float64) float64 {
	i, b, _ := s.basis(x)
	return b[0]*s.c[i] + b[1]*s.c[i+1] + b[2]*s.c[i+2] + b[3]*s.c[i+3]
}

func (s *spline) slope(x float64) float64 {
	i, _, d := s.basis(x)
	return d[0]*s.c[i] + d[1]*s.c[i+1] + d[2]*s.c[i+2] + d[3]*s.c[i+3]
}

// used returns how many coefficients the readings of the last fit determine.
func (s *spline) used() (n int) {
	for _, w := range s.weight {
		if w > 1e-3 {
			n++
		}
	}
	return n
}

// fit makes s the least squares spline through the points: normal equations, by
// Cholesky's way for a band.
func (s *spline) fit(x, y []float64) {
	n := len(s.c)
	clear(s.band)
	clear(s.c)
	clear(s.weight)
	for i, x := range x {
		k, b, _ := s.basis(x)
		for p := range 4 {
			s.c[k+p] += b[p] * y[i]
			s.weight[k+p] += b[p]
			for q := p; q < 4; q++ {
				s.band[k+p][q-p] += b[p] * b[q]
			}
		}
	}
	smooth := smoothing * (1 + float64(len(x))/float64(n))
	for i := range n - 2 { // (c[i] - 2 c[i+1] + c[i+2])^2
		for p, wp := range [3]float64{1, -2, 1} {
			for q := p; q < 3; q++ {
				s.band[i+p][q-p] += smooth * wp * [3]float64{1, -2, 1}[q]
			}
		}
	}
	for i := range n {
		s.band[i][0] += 1e-9 * smooth // for no readings at all
	}
	for i := range n { // band = L' L
		d := math.Sqrt(s.band[i][0])
		for q := range 4 {
			s.band[i][q] /= d
		}
		for p := 1; p < 4 && i+p < n; p++ {
			for q := p; q < 4; q++ {
				s.band[i+p][q-p] -= s.band[i][p] * s.band[i][q]
			}
		}
	}
	for i := range n {
		s.c[i] /= s.band[i][0]
		for p := 1; p < 4 && i+p < n; p++ {
			s.c[i+p] -= s.band[i][p] * s.c[i]
		}
	}
	for i := n - 1; i >= 0; i-- {
		for p := 1; p < 4 && i+p < n; p++ {
			s.c[i] -= s.band[i][p] * s.c[i+p]
		}
		s.c[i] /= s.band[i][0]
	}
}
