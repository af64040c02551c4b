package evidence

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// goneBySlices is what is missing at an end, summed from the readings that were put
// aside for it: the way it was worked out before it was summed as they come.
func goneBySlices(x, d []float64, edge, most float64) float64 {
	var s2, s3, s4, r1, r2 float64
	n := 0
	for i := range x {
		if d[i] < edge || d[i] > most {
			continue
		}
		w := 1 / (d[i] + edge)
		s2 += w * x[i] * x[i]
		s3 += w * x[i] * x[i] * x[i]
		s4 += w * x[i] * x[i] * x[i] * x[i]
		r1 += w * x[i] * d[i]
		r2 += w * x[i] * x[i] * d[i]
		n++
	}
	det := s2*s4 - s3*s3
	if n < 3 || !(det > 0) {
		return math.NaN()
	}
	b, c := (r1*s4-r2*s3)/det, (r2*s2-r1*s3)/det
	if b <= 0 {
		return 0
	}
	if c <= 0 {
		return most
	}
	return min(b*b/(4*c), most)
}

// Summed as they come, the readings of both ends give the same figures to the bit.
func TestWhatIsMissingIsTheSameToTheBit(t *testing.T) {
	r := rand.New(rand.NewPCG(24, 2))
	numbers := 0
	for range 2000 {
		n := 20 + r.IntN(300)
		height, noise := 5e6+5e6*r.Float64(), 20_000*r.Float64()
		x, y := make([]float64, n), make([]float64, n)
		for i := range n {
			x[i] = 200 * (float64(i) + 0.3*r.Float64()) / float64(n)
			y[i] = min(height*(0.5-0.5*math.Cos(2*math.Pi*float64(i)/float64(n-1)))+noise*r.NormFloat64(), height*(0.9+0.2*r.Float64()))
		}
		edge := 4 * (noise + 1000)
		for _, way := range []int{-1, 1} {
			nose, foot := goneOf(x, y, n/2, way, height, edge)
			var xs, ds []float64
			most, from := goneShare*height, math.NaN()
			for i := n / 2; i >= 0 && i < n; i += way {
				d := height - y[i]
				if d > most {
					break
				}
				if d <= edge {
					from, xs, ds = x[i], nil, nil
					continue
				}
				xs, ds = append(xs, math.Abs(x[i]-from)), append(ds, d)
			}
			require.Equal(t, math.Float64bits(goneBySlices(xs, ds, edge, most)), math.Float64bits(nose))
			i := n / 2
			for i >= 0 && i < n && y[i] > edge {
				i += way
			}
			if i < 0 || i >= n {
				require.True(t, math.IsNaN(foot))
				continue
			}
			xs, ds, from = nil, nil, x[i]
			for i -= way; i != n/2 && y[i] < most; i -= way {
				xs, ds = append(xs, math.Abs(x[i]-from)), append(ds, y[i])
			}
			require.Equal(t, math.Float64bits(goneBySlices(xs, ds, edge, most)), math.Float64bits(foot))
			if !math.IsNaN(nose) && !math.IsNaN(foot) {
				numbers++
			}
		}
	}
	require.Greater(t, numbers, 500)
}
