package smooth

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// A polynomial of the regression's own degree comes back exactly, from points
// as uneven as you like.
func TestLocalKeepsItsPolynomials(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		degree := rapid.IntRange(1, 4).Draw(t, "degree")
		c := rapid.SliceOfN(rapid.Float64Range(-1, 1), degree+1, degree+1).Draw(t, "polynomial")
		n := rapid.IntRange(20, 80).Draw(t, "points")
		of := func(x float64) float64 {
			y := 0.0
			for i := degree; i >= 0; i-- {
				y = y*(x/10) + c[i]
			}
			return y
		}
		xs, ys := make([]float64, n), make([]float64, n)
		x := 0.0
		for i := range xs {
			x += rapid.Float64Range(0.05, 1).Draw(t, "step")
			xs[i], ys[i] = x, of(x)
		}
		at := []float64{xs[0], x / 3, x / 2, x}
		f, err := Local{HalfWidth: 2, Degree: degree, Robust: 2}.Fit(xs, ys, nil, at)
		require.NoError(t, err)
		for i, a := range at {
			// A row carried beyond its points multiplies what they were
			// rounded to by its weights.
			carried := 1.0
			for k, w := range f.Rows[i].Weights {
				carried += math.Abs(w * ys[f.Rows[i].First+k])
			}
			require.InDelta(t, of(a), f.Values[i], 1e-9*carried)
		}
	})
}

func TestLocalIsDeafToOutliers(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var xs, ys []float64
	for i := range 400 {
		x := float64(i) / 10
		y := math.Sin(x/8) + 0.001*r.NormFloat64()
		if i%37 == 5 {
			y = 5 // the instrument said something silly
		}
		xs, ys = append(xs, x), append(ys, y)
	}
	at := []float64{5, 12.5, 20, 30}
	robust, err := Local{HalfWidth: 2, Robust: 3}.Fit(xs, ys, nil, at)
	require.NoError(t, err)
	plain, err := Local{HalfWidth: 2}.Fit(xs, ys, nil, at)
	require.NoError(t, err)
	worst := 0.0
	for i, a := range at {
		assert.InDelta(t, math.Sin(a/8), robust.Values[i], 0.002)
		worst = max(worst, math.Abs(math.Sin(a/8)-plain.Values[i]))
	}
	assert.Greater(t, worst, 0.01, "without robustness the outliers must show, or this test shows nothing")
	assert.Zero(t, robust.Kept[5])
	assert.Greater(t, robust.Kept[6], 0.2)
}

// The noise that the rows foretell is the noise that comes out.
func TestNoiseOfRowsIsTheNoiseSeen(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	const n, trials, sigma = 200, 2000, 0.5
	xs, us := make([]float64, n), make([]float64, n)
	for i := range xs {
		xs[i], us[i] = float64(i)+0.3*math.Sin(float64(i)), sigma
	}
	var at []float64
	for i := range 60 {
		at = append(at, 60+float64(i))
	}
	local := Local{HalfWidth: 6}
	k, err := NewKernel(11, 3)
	require.NoError(t, err)
	f, err := local.Fit(xs, make([]float64, n), nil, at)
	require.NoError(t, err)
	kernel, err := k.Rows(len(at), 1, 1)
	require.NoError(t, err)
	straight := kernel[30].Through(f.Rows)
	sum := 0.0
	for range trials {
		ys := make([]float64, n)
		for i := range ys {
			ys[i] = sigma * r.NormFloat64()
		}
		v := straight.Of(ys)
		sum += v * v
	}
	// The scatter of a standard deviation of 2000 trials is 1.6 %; five of
	// those are allowed.
	assert.InEpsilon(t, math.Sqrt(sum/trials), straight.Noise(us), 0.08)
	// And taking the two steps for independent would have been far wrong.
	wrong := 0.0
	for j, w := range kernel[30].Weights {
		wrong += math.Pow(w*f.Rows[kernel[30].First+j].Noise(us), 2)
	}
	assert.Greater(t, math.Abs(math.Sqrt(wrong)/straight.Noise(us)-1), 0.1)
}

func TestLocalWidensOverAGap(t *testing.T) {
	var xs, ys []float64
	for i := range 100 {
		if x := float64(i); x < 40 || x > 60 {
			xs, ys = append(xs, x), append(ys, x*x/100)
		}
	}
	f, err := Local{HalfWidth: 3}.Fit(xs, ys, nil, []float64{20, 50})
	require.NoError(t, err)
	assert.InDelta(t, 25, f.Values[1], 1e-6, "a parabola bridges the gap")
	assert.Greater(t, f.Widths[1], 10.0)
	assert.Less(t, f.Widths[0], 6.0)
}

// Over a gap that is too wide a polynomial would end anywhere: 1e-3 of noise at
// the edges grows with the cube of the way.
func TestLocalRunsStraightOverAWideGap(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var xs, ys []float64
	for i := range 200 {
		if x := float64(i) / 2; x < 20 || x > 80 {
			xs, ys = append(xs, x), append(ys, 1+0.001*r.NormFloat64())
		}
	}
	at := []float64{19, 30, 50, 70, 81}
	straight, err := Local{HalfWidth: 3, Gap: 15, Robust: 2}.Fit(xs, ys, nil, at)
	require.NoError(t, err)
	for _, v := range straight.Values {
		assert.InDelta(t, 1, v, 0.005)
	}
	void, err := Local{HalfWidth: 3, Robust: 2}.Fit(xs, ys, nil, at)
	require.NoError(t, err)
	worst := 0.0
	for _, v := range void.Values {
		worst = max(worst, math.Abs(v-1))
	}
	assert.Greater(t, worst, 0.01, "without the limit it must fail, or this test shows nothing")
}

func TestLocalRefusesNonsense(t *testing.T) {
	_, err := Local{}.Fit([]float64{1, 2}, []float64{1, 2}, nil, []float64{1})
	assert.ErrorContains(t, err, "2 points")
	_, err = Local{Least: 3}.Fit([]float64{1, 3, 2}, []float64{1, 2, 3}, nil, []float64{1})
	assert.ErrorContains(t, err, "not in order")
	// All points at one place: their mean, not a division by nothing.
	f, err := Local{Least: 3}.Fit([]float64{2, 2, 2, 2}, []float64{1, 2, 3, 2}, nil, []float64{2})
	require.NoError(t, err)
	assert.InDelta(t, 2, f.Values[0], exact)
}
