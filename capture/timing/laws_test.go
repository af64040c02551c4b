package timing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/timing/smooth"
)

// law is a cam motion law: rise s(x) for x from 0 to 1.
type law struct {
	name          string
	s             func(x float64) float64
	cv, ca, caAt  float64 // largest velocity (at ½) and acceleration, and where
	jerkMid, jerk float64 // jerk at ½ and the largest there is (0: infinite)
}

// laws with their peak coefficients, v = Cv·h/β, a = Ca·h/β², j = Cj·h/β³.
// Norton, Cam Design and Manufacturing Handbook; Shigley and Uicker, Theory of
// Machines and Mechanisms: from memory; the exact values were recomputed with
// sympy. Handbook prints round and some differ in the third digit.
func laws() []law {
	c := 1 / (4 + math.Pi)
	return []law{
		{"simple harmonic", func(x float64) float64 { return (1 - math.Cos(math.Pi*x)) / 2 },
			math.Pi / 2, math.Pi * math.Pi / 2, 0, -15.5031383, 0},
		{"cycloidal", func(x float64) float64 { return x - math.Sin(2*math.Pi*x)/(2*math.Pi) },
			2, 2 * math.Pi, 0.25, -39.4784176, 39.4784176},
		{"3-4-5", func(x float64) float64 { return x * x * x * (10 + x*(-15+x*6)) },
			1.875, 5.7735027, 0.2113249, -30, 60},
		{"4-5-6-7", func(x float64) float64 { return x * x * x * x * (35 + x*(-84+x*(70-20*x))) },
			2.1875, 7.5131884, 0.2763932, -52.5, 52.5},
		{"modified sine", func(x float64) float64 {
			switch {
			case x <= 1./8:
				return c * (math.Pi*x - math.Sin(4*math.Pi*x)/4)
			case x <= 7./8:
				return c * (2 + math.Pi*x - 9./4*math.Sin(4*math.Pi*x/3+math.Pi/3))
			}
			return c * (4 + math.Pi*x - math.Sin(4*math.Pi*x)/4)
		}, 1.7596034, 5.5279571, 0.125, -23.1554524, 69.4663573},
		{"modified trapezoid", func(x float64) float64 {
			k := 1 / (2 + math.Pi)
			half := func(x float64) float64 {
				switch {
				case x <= 1./8:
					return k * (2*x - math.Sin(4*math.Pi*x)/(2*math.Pi))
				case x <= 3./8:
					d := x - 1./8
					return k * (1./4 - 1/(2*math.Pi) + 2*d + 4*math.Pi*d*d)
				}
				return k * (-math.Pi/2 + 2*(1+math.Pi)*x - math.Sin(4*math.Pi*(x-1./4))/(2*math.Pi))
			}
			if x > 0.5 {
				return 1 - half(1-x)
			}
			return half(x)
		}, 2, 4.888124, 0, -61.425975, 61.425975},
	}
}

// The table of s/h, exact to 1e-9, same sources. It checks that the laws these
// tests use are the handbooks'.
func TestLawsAreTheHandbooks(t *testing.T) {
	table := map[float64][5]float64{
		0.1:   {0.0244717419, 0.0064510716, 0.0085600000, 0.0027280000, 0.0106972128},
		0.125: {0.0380602337, 0.0124604605, 0.0160522461, 0.0062389374, 0.0199814087},
		0.2:   {0.0954915028, 0.0486346543, 0.0579200000, 0.0333440000, 0.0683938993},
		0.25:  {0.1464466094, 0.0908450569, 0.1035156250, 0.0705566406, 0.1171784846},
		0.3:   {0.2061073739, 0.1486346543, 0.1630800000, 0.1260360000, 0.1778877626},
		0.375: {0.3086582838, 0.2624604605, 0.2752075195, 0.2430210114, 0.2874845073},
		0.5:   {0.5, 0.5, 0.5, 0.5, 0.5},
	}
	for i, l := range laws()[:5] {
		for x, want := range table {
			assert.InDelta(t, want[i], l.s(x), 1e-9, "%s at %g", l.name, x)
			assert.InDelta(t, 1-want[i], l.s(1-x), 1e-9, "%s at %g", l.name, 1-x)
		}
	}
	trapezoid := laws()[5].s
	for x, want := range map[float64]float64{.1: .009459064, .25: .104480194, .4: .309459064} {
		assert.InDelta(t, want, trapezoid(x), 1e-9)
	}
}

// Savitzky-Golay on exact, fine points of each law gives the peak
// coefficients. The laws have corners in acceleration or jerk, over which a
// window must not reach: peaks are taken a window away from them.
func TestDerivativesGiveThePeakCoefficients(t *testing.T) {
	const n, half, order = 2000, 8, 6
	k, err := smooth.NewKernel(2*half+1, order)
	require.NoError(t, err)
	for _, l := range laws() {
		step := 1. / n
		ys := make([]float64, n+1)
		for i := range ys {
			ys[i] = l.s(float64(i) * step)
		}
		var d [4][]float64
		for deriv := 1; deriv <= 3; deriv++ {
			rows, err := k.Rows(n+1, deriv, step)
			require.NoError(t, err)
			for _, r := range rows {
				d[deriv] = append(d[deriv], r.Of(ys))
			}
		}
		largest := func(ys []float64, except ...float64) (v, at float64) {
			for i, y := range ys {
				x := float64(i) * step
				clear := true
				for _, e := range except {
					clear = clear && math.Abs(x-e) > (half+1)*step
				}
				if clear && math.Abs(y) > math.Abs(v)+1e-9 {
					v, at = y, x
				}
			}
			return v, at
		}
		// Where each law has its corners.
		var corners []float64
		switch l.name {
		case "modified sine":
			corners = []float64{1. / 8, 7. / 8}
		case "modified trapezoid":
			corners = []float64{1. / 8, 3. / 8, 5. / 8, 7. / 8}
		}
		v, at := largest(d[1])
		assert.InEpsilon(t, l.cv, v, 1e-6, "%s: velocity", l.name)
		assert.InDelta(t, 0.5, at, step, "%s: where the velocity is largest", l.name)
		a, at := largest(d[2], corners...)
		assert.InEpsilon(t, l.ca, math.Abs(a), 1e-3, "%s: acceleration", l.name)
		if l.name != "modified trapezoid" { // its acceleration is a flat
			if at > 0.5 {
				at = 1 - at
			}
			assert.InDelta(t, l.caAt, at, 0.005, "%s: where the acceleration is largest", l.name)
		}
		assert.InEpsilon(t, l.jerkMid, d[3][n/2], 1e-4, "%s: jerk in the middle", l.name)
		if l.jerk != 0 {
			j, _ := largest(d[3], corners...)
			assert.InEpsilon(t, l.jerk, math.Abs(j), 0.05, "%s: largest jerk (its corners blunted)", l.name)
		}
	}
}
