package smooth

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Kernel makes Savitzky-Golay coefficients for one window and order.
type Kernel struct {
	half, order int
	// pinv takes the window's values to the coefficients of the polynomial in
	// x/half, where x counts points from the middle of the window. Scaled so,
	// the powers stay near 1 and the equations well conditioned.
	pinv mat.Dense
}

// NewKernel prepares a window of an odd number of points and a polynomial of
// the given order below that number.
func NewKernel(window, order int) (*Kernel, error) {
	switch {
	case window < 3 || window%2 == 0:
		return nil, fmt.Errorf("Savitzky-Golay window of %d points: it must be odd and at least 3", window)
	case order < 0 || order >= window:
		return nil, fmt.Errorf("Savitzky-Golay order %d: it must be from 0 to %d for a window of %d points", order, window-1, window)
	case order > 12:
		return nil, fmt.Errorf("Savitzky-Golay order %d: nothing is gained over 12", order)
	}
	k := &Kernel{half: window / 2, order: order}
	a := mat.NewDense(window, order+1, nil)
	for i := range window {
		x := float64(i-k.half) / float64(k.half)
		p := 1.0
		for j := range order + 1 {
			a.Set(i, j, p)
			p *= x
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	eye := mat.NewDense(window, window, nil)
	for i := range window {
		eye.Set(i, i, 1)
	}
	if err := qr.SolveTo(&k.pinv, false, eye); err != nil {
		return nil, fmt.Errorf("Savitzky-Golay window %d, order %d: %w", window, order, err)
	}
	return k, nil
}

// Window returns the number of points in the window.
func (k *Kernel) Window() int { return 2*k.half + 1 }

// Coefficients returns the weights that give the derivative number deriv (0
// is the smoothed value itself) at the point number at from the middle of the
// window (0 is the middle), where the points are step apart.
func (k *Kernel) Coefficients(deriv, at int, step float64) []float64 {
	c := make([]float64, k.Window())
	if deriv > k.order {
		return c
	}
	x := float64(at) / float64(k.half)
	scale := math.Pow(float64(k.half)*step, -float64(deriv))
	power := 1.0
	for j := deriv; j <= k.order; j++ {
		f := scale * power
		for m := range deriv {
			f *= float64(j - m)
		}
		for i := range c {
			c[i] += f * k.pinv.At(j, i)
		}
		power *= x
	}
	return c
}

// Rows returns one row for each of n even points. Towards the ends, where the
// window would stick out, the polynomial of the first or last whole window is
// evaluated off its middle.
func (k *Kernel) Rows(n, deriv int, step float64) ([]Row, error) {
	if n < k.Window() {
		return nil, fmt.Errorf("Savitzky-Golay window of %d points on only %d", k.Window(), n)
	}
	rows := make([]Row, n)
	middle := k.Coefficients(deriv, 0, step)
	for i := range rows {
		first := min(max(i-k.half, 0), n-k.Window())
		c := middle
		if at := i - first - k.half; at != 0 {
			c = k.Coefficients(deriv, at, step)
		}
		rows[i] = Row{First: first, Weights: c}
	}
	return rows, nil
}
