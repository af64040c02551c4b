package timing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"lobescribe/device/measure"
)

// JCGM 100:2008 (GUM); the clauses from memory, the numbers recomputed.
func TestUncertaintyIsTheGuides(t *testing.T) {
	// 4.4.3, twenty readings in °C (readings from memory; they give the
	// remembered mean and deviation exactly).
	mean, u := meanTypeA([]float64{96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72})
	assert.InDelta(t, 100.145, mean, 1e-9)
	assert.InDelta(t, 0.332916, u, 1e-6)
	// 4.3.7 and 4.4.5: rectangular, half width 4; example copper.
	assert.InDelta(t, 2.3094, rectangular(4), 5e-5)
	assert.InDelta(t, 0.230940e-6, rectangular(0.40e-6), 1e-12)
	// F.2.2.1: resolution.
	assert.InDelta(t, 0.000144338, count(0.0005), 1e-9)
	assert.InDelta(t, 0.00288675, count(0.01), 1e-8)
	// An encoder of 600 lines, counted four times: 0.15 degrees.
	assert.InDelta(t, 0.0433013, count(360./2400), 1e-7)
	assert.InDelta(t, 0.25, 360./(360*4), 0)
	assert.InDelta(t, 0.087890625, 360./(1024*4), 0)
	// H.1: the effective degrees of freedom. 16.75 with the combined
	// uncertainty unrounded (17.5 if it is rounded to 32 nm first).
	parts := []component{{25, 18}, {9.7, 25.6}, {2.9, 50}, {16.6, 2}}
	assert.InDelta(t, 16.75, effectiveFreedom(parts...), 0.02)
	assert.InDelta(t, 31.7, combined(parts...), 0.05)
	// t for 95 %, two-sided, from the usual table: the quantile used for
	// 95.45 % lies a little above.
	for nu, want := range map[float64]float64{1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 9: 2.26, 16: 2.12} {
		_, k := expand(component{1, nu})
		assert.Greater(t, k, want)
		assert.Less(t, k, want*1.1)
	}
	expanded, k := expand(component{u: 3}, component{u: 4})
	assert.Equal(t, 2.0, k)
	assert.InDelta(t, 10, expanded, 1e-12)
	// 6.2.1, own example (derived): five lifts, resolution 0.0005 in, ± 0.001 in.
	mean, u = meanTypeA([]float64{.4200, .4205, .4195, .4200, .4205})
	assert.InDelta(t, .4201, mean, 1e-12)
	assert.InDelta(t, 0.000187083, u, 1e-9)
	assert.InDelta(t, 0.001247664, coverage*combined(component{u: u}, component{u: count(0.0005)}, component{u: rectangular(0.001)}), 1e-9)
	_, u = meanTypeA([]float64{7})
	assert.Zero(t, u)
}

// NIST StRD (from memory, recomputed): numbers that a careless sum of squares
// gets wrong.
func TestMeansOfLargeNumbers(t *testing.T) {
	mean, u := meanTypeA([]float64{10000001, 10000003, 10000002})
	assert.InDelta(t, 10000002, mean, 1e-9)
	assert.InDelta(t, 1/math.Sqrt(3), u, 1e-9)
	acc4 := []float64{10000000.2}
	for range 500 {
		acc4 = append(acc4, 10000000.1, 10000000.3)
	}
	m, s := stat.MeanStdDev(acc4, nil)
	assert.InDelta(t, 10000000.2, m, 1e-7)
	assert.InDelta(t, 0.1, s, 1e-7)
}

// pinByHalving finds numerically how far the middle of two equal heights of a
// piston with an offset pin lies from its top.
func pinByHalving(a, l, e, half float64) float64 {
	height := func(deg float64) float64 {
		s, c := math.Sincos(deg * math.Pi / 180)
		return a*c + math.Sqrt(l*l-(a*s-e)*(a*s-e))
	}
	top := math.Asin(e/(l+a)) * 180 / math.Pi
	level := height(top - half)
	low, high := top, top+2*half
	for range 60 {
		if mid := (low + high) / 2; height(mid) > level {
			low = mid
		} else {
			high = mid
		}
	}
	return (low+top-half)/2 - top
}

func TestPositiveStop(t *testing.T) {
	// 33 and 329: top dead centre at 1, not at 181.
	s := Stop{First: []measure.Angle{deg(33)}, Second: []measure.Angle{deg(329)}, AngleStep: deg(0.15), Repeat: deg(0.1)}
	got, err := s.TDC()
	require.NoError(t, err)
	assert.Equal(t, deg(1), got.TDC)
	assert.Equal(t, deg(32), got.Half)
	// Two counted readings that repeat within ± 0.1, half of each: 0.0433013/√2 and
	// 0.1/√3/√2, expanded.
	assert.InDelta(t, 2*math.Hypot(0.0433013, 0.1/math.Sqrt(3))/math.Sqrt2, got.U.Degrees(), 1e-6)
	assert.Equal(t, 2.0, got.K)
	assert.Empty(t, got.Warnings)
	// The other way round, and counted over many turns.
	s = Stop{First: []measure.Angle{deg(329 + 720)}, Second: []measure.Angle{deg(33 - 3600)}}
	got, err = s.TDC()
	require.NoError(t, err)
	assert.Equal(t, deg(1), got.TDC)
	assert.NotEmpty(t, got.Warnings, "nothing is known about how well the stop repeats")
	assert.InDelta(t, 2*0.5/math.Sqrt(3)/math.Sqrt2, got.U.Degrees(), 1e-6, "and then it is taken as half a degree")
	// A wrist pin 1 mm off the axis, stroke 86, rod 143: the middle of equal heights
	// 32 degrees either side against the top, by the model's own search below.
	k := Crank{Stroke: 86 * measure.Millimetre, Rod: 143 * measure.Millimetre}
	assert.InDelta(t, pinByHalving(43, 143, 1, 32), k.pinMoves(32, 1), 2e-4)
	// Readings repeated: means of 33.1 and 329.1, each with u = 0.1/√3.
	s = Stop{First: []measure.Angle{deg(33), deg(33.1), deg(33.2)}, Second: []measure.Angle{deg(329), deg(329.1), deg(329.2)}}
	got, err = s.TDC()
	require.NoError(t, err)
	assert.Equal(t, deg(1.1), got.TDC)
	u := 0.1 / math.Sqrt(3) / math.Sqrt2
	assert.InDelta(t, u*got.K, got.U.Degrees(), 0.001)
	assert.InDelta(t, 2.87, got.K, 0.01, "Student's t of 95.45 % for 4 degrees of freedom (JCGM 100:2008, Table G.2; from memory)")

	for _, c := range []struct {
		s    Stop
		says string
	}{
		{Stop{First: []measure.Angle{1}}, "each side"},
		{Stop{First: []measure.Angle{deg(10)}, Second: []measure.Angle{deg(10.2)}}, "both sides read the same"},
		{Stop{First: []measure.Angle{deg(90)}, Second: []measure.Angle{deg(-80)}}, "cannot be told"},
		{Stop{First: []measure.Angle{deg(33), deg(330)}, Second: []measure.Angle{deg(329)}}, "first_deg[1]"},
		{Stop{First: []measure.Angle{deg(33)}, Second: []measure.Angle{deg(329)}, Repeat: -1}, "repeat_deg"},
	} {
		_, err := c.s.TDC()
		assert.ErrorContains(t, err, c.says)
	}
}

func TestIndicatorOnThePiston(t *testing.T) {
	k := Crank{mm(86), mm(143)}
	// Exact drops about a top dead centre at 359.2.
	var exact Piston
	exact.Crank = &k
	for _, half := range []float64{15, 20, 25, 30} {
		exact.Drops = append(exact.Drops, Drop{deg(359.2 - half), deg(359.2 + half - 360), k.Travel(deg(half))})
	}
	got, err := exact.TDC()
	require.NoError(t, err)
	assert.InDelta(t, 359.2, got.TDC.Degrees(), 1e-6)
	assert.InDelta(t, 22.5, got.Half.Degrees(), 1e-6)
	require.Len(t, got.Warnings, 1)
	assert.Contains(t, got.Warnings[0].String(), "no uncertainty can be given")

	// One pair: the drop's uncertainty over the slope. At 30 degrees the
	// piston falls 0.4477 mm a degree.
	slope := (k.travel(30.001) - k.travel(29.999)) / 0.002
	one := Piston{Crank: &k, Drops: exact.Drops[3:], DropU: mm(0.02)}
	got, err = one.TDC()
	require.NoError(t, err)
	assert.InDelta(t, 0.02/slope/math.Sqrt2, got.U.Degrees(), 1e-5)
	one.Crank = nil
	approx, err := one.TDC()
	require.NoError(t, err)
	assert.InEpsilon(t, got.U.Degrees(), approx.U.Degrees(), 0.06, "the parabola's slope is near enough for an uncertainty")

	// Several pairs that scatter: Type A with Student's factor.
	several := exact
	several.Drops = append([]Drop(nil), exact.Drops...)
	for i, off := range []float64{0.1, -0.1, 0.2, -0.2} {
		several.Drops[i].After += 2 * deg(off)
	}
	got, err = several.TDC()
	require.NoError(t, err)
	assert.InDelta(t, 359.2, got.TDC.Degrees(), 1e-6)
	s := math.Sqrt((0.01 + 0.01 + 0.04 + 0.04) / 3 / 4)
	assert.InDelta(t, 3.31, got.K, 0.01, "Student's t of 95.45 % for 3 degrees of freedom (JCGM 100:2008, Table G.2; from memory)")
	assert.InDelta(t, s*got.K, got.U.Degrees(), 0.001)

	// A drop that this stroke and rod do not give.
	wrong := exact
	wrong.Drops = append([]Drop(nil), exact.Drops...)
	wrong.Drops[2].Drop *= 2
	got, err = wrong.TDC()
	require.NoError(t, err)
	require.NotEmpty(t, got.Warnings)
	assert.Contains(t, got.Warnings[0].String(), "drops[2]")

	for _, c := range []struct {
		p    Piston
		says string
	}{
		{Piston{}, "piston.drops"},
		{Piston{Drops: []Drop{{deg(340), deg(20), 0}}}, "drops[0].drop_mm"},
		{Piston{Drops: []Drop{{deg(20), deg(20), mm(5)}}}, "drops[0]"},
		{Piston{Drops: []Drop{{deg(340), deg(20), mm(5)}, {deg(160), deg(200), mm(5)}}}, "drops[1]"},
		{Piston{Drops: []Drop{{deg(340), deg(20), mm(5)}}, Crank: &Crank{mm(86), mm(40)}}, "piston.crank.rod_mm"},
		{Piston{Drops: []Drop{{deg(340), deg(20), mm(5)}}, DropU: -1}, "drop_u_mm"},
	} {
		_, err := c.p.TDC()
		assert.ErrorContains(t, err, c.says)
	}
}
