package timing

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// Leys and others, Journal of Experimental Social Psychology 49 (2013), the
// worked example 1 3 3 6 8 10 10 1000: median 7, deviation 5.1891 (from
// memory, recomputed). They apply no correction for few values.
func TestMedianDeviation(t *testing.T) {
	values := []float64{1, 3, 3, 6, 8, 10, 10, 1000}
	m, d := RobustDeviation(values, false)
	assert.Equal(t, 7.0, m)
	assert.InDelta(t, 5.1891, d, 1e-9)
	assert.Equal(t, 1000.0, values[7], "the values are not sorted under the caller's hands")
	_, corrected := RobustDeviation(values, true)
	assert.InDelta(t, 5.1891*1.129, corrected, 1e-9)
	// Few normal values: with the factor it stands for the deviation on
	// average. 20 000 rows of 5 scatter by about half a per cent.
	var sum []float64
	r := rand.New(rand.NewPCG(11, 12))
	for range 20000 {
		v := make([]float64, 5)
		for i := range v {
			v[i] = r.NormFloat64()
		}
		_, d := RobustDeviation(v, true)
		sum = append(sum, d)
	}
	assert.InDelta(t, 1, stat.Mean(sum, nil), 0.03)
}

func lifts(v Valve, values ...float64) []Figures {
	out := make([]Figures, len(values))
	for i, x := range values {
		out[i] = Figures{Name: fmt.Sprintf("%d %s", i+1, v), Valve: v, MaxLift: mm(x)}
	}
	return out
}

func TestAWornLobeIsSaid(t *testing.T) {
	c, err := CompareValves(append(lifts(Intake, 10.67, 10.66, 10.31, 10.68), lifts(Exhaust, 10.40, 10.41, 10.39, 10.40)...), CompareOptions{})
	require.NoError(t, err)
	require.Len(t, c.Groups, 2)
	assert.InDelta(t, 0.37, c.Groups[0].Spread, 1e-9)
	for _, m := range c.Groups[0].Members {
		assert.Equal(t, m.Name == "3 intake", m.Outlier, m.Name)
	}
	for _, m := range c.Groups[1].Members {
		assert.False(t, m.Outlier)
	}
	found := ""
	for _, s := range c.Says {
		if found == "" && strings.HasPrefix(s.String(), "3 intake") {
			found = s.String()
		}
	}
	assert.Contains(t, found, "lifts 0.355 mm (3.3 %) less than the others of its kind: a worn lobe")
}

func TestEqualValvesAreNotToldApart(t *testing.T) {
	// All alike but for one count of a hundredth: the deviation is 0, and yet
	// nothing is odd.
	c, err := CompareValves(lifts(Intake, 10.67, 10.67, 10.67, 10.67, 10.67, 10.68), CompareOptions{})
	require.NoError(t, err)
	for _, m := range c.Groups[0].Members {
		assert.False(t, m.Outlier)
	}
	assert.Empty(t, c.Says)
}

func TestFewValvesAreSaidToBeFew(t *testing.T) {
	c, err := CompareValves(lifts(Exhaust, 10.0, 9.0), CompareOptions{CardLift: map[Valve]measure.Length{Exhaust: mm(10)}})
	require.NoError(t, err)
	assert.Contains(t, c.Groups[0].Note, "too few")
	for _, m := range c.Groups[0].Members {
		assert.False(t, m.Outlier, "of two, neither can be called odd")
	}
	assert.Contains(t, fmt.Sprint(c.Says), "2 exhaust lifts 1 mm less than the card")
	// Three: the odd one shows if two agree.
	c, err = CompareValves(lifts(Exhaust, 10.0, 10.0, 9.0), CompareOptions{})
	require.NoError(t, err)
	assert.True(t, c.Groups[0].Members[2].Outlier)
	assert.Contains(t, c.Groups[0].Note, "3 valves are few")
	c, err = CompareValves(lifts(Exhaust, 10.0, 9.5, 9.0), CompareOptions{})
	require.NoError(t, err)
	for _, m := range c.Groups[0].Members {
		assert.False(t, m.Outlier, "three that all differ tell nothing")
	}
}

func TestAnglesOfValves(t *testing.T) {
	row := func(i int, open, close float64) Figures {
		return Figures{Name: fmt.Sprint(i), Valve: Intake, MaxLift: mm(10), OpeningHalf: ptr(deg(open)), ClosingHalf: ptr(deg(close)), Duration: ptr(deg(close - open))}
	}
	c, err := CompareValves([]Figures{row(1, 45, 162), row(2, 45.3, 162.2), row(3, 49, 166.1), row(4, 44.9, 161.8), row(5, 45.1, 162.1), row(6, 45, 157)}, CompareOptions{})
	require.NoError(t, err)
	says := fmt.Sprint(c.Says)
	assert.Contains(t, says, "3 is 4 degrees later than the others at both half lifts: its lobe is turned on the cam")
	assert.Contains(t, says, "6 is open 5 degrees shorter than the others")
}

func TestValvesFromCurves(t *testing.T) {
	var all []Figures
	for i, scale := range []float64{1, 1, 0.96, 1} {
		shape := lobe345(115, 115)
		var pts []Point
		for x := -40.0; x < 260; x += 2 {
			pts = append(pts, Point{deg(x), mm(scale * shape(x))})
		}
		c, err := FromPoints(pts, Options{Valve: Intake})
		require.NoError(t, err)
		tm, err := c.Timing(nil, "")
		require.NoError(t, err)
		all = append(all, FiguresOf(fmt.Sprintf("cylinder %d", i+1), tm))
	}
	c, err := CompareValves(all, CompareOptions{})
	require.NoError(t, err)
	require.Len(t, c.Groups, 4)
	assert.True(t, c.Groups[0].Members[2].Outlier)
	assert.InDelta(t, 115, c.Groups[1].Median, 0.01)
	assert.InDelta(t, 47.5, c.Groups[2].Median, 0.01)
}

func TestCompareValvesSaysWhatIsWrong(t *testing.T) {
	for _, c := range []struct {
		in   []Figures
		says string
	}{
		{nil, "none given"},
		{[]Figures{{Valve: Intake}}, "valves[0].name"},
		{[]Figures{{Name: "a"}, {Name: "a"}}, "valves[1].name"},
		{[]Figures{{Name: "a", Valve: "left"}}, "valves[0].valve"},
		{[]Figures{{Name: "a", MaxLift: mm(-1)}}, "valves[0].max_lift_mm"},
		{[]Figures{{Name: "a"}}, "nothing to compare"},
	} {
		_, err := CompareValves(c.in, CompareOptions{})
		assert.ErrorContains(t, err, c.says)
	}
}

// Scaling all lifts (and what counts as the same) scales the result; which
// one is odd does not depend on the order.
func TestCompareValvesProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 16).Draw(t, "valves")
		values := make([]float64, n)
		for i := range values {
			values[i] = 8 + float64(rapid.IntRange(0, 2000).Draw(t, "lift"))/1000
		}
		run := func(scale float64, backwards bool) map[string]bool {
			f := lifts(Intake, values...)
			for i := range f {
				f[i].MaxLift = measure.Length(float64(f[i].MaxLift) * scale)
			}
			if backwards {
				for i, j := 0, len(f)-1; i < j; i, j = i+1, j-1 {
					f[i], f[j] = f[j], f[i]
				}
			}
			c, err := CompareValves(f, CompareOptions{LiftU: measure.Length(50_000 * scale)})
			require.NoError(t, err)
			out := map[string]bool{}
			for _, m := range c.Groups[0].Members {
				out[m.Name] = m.Outlier
			}
			return out
		}
		base := run(1, false)
		require.Equal(t, base, run(2, false))
		require.Equal(t, base, run(1, true))
		odd := 0
		for _, o := range base {
			if o {
				odd++
			}
		}
		require.LessOrEqual(t, odd, n/2, "less than half can be odd")
	})
}
