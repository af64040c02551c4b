package sheet

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// A reader of the paper puts a ruler between two numbers of an axis; so does this
// test, and reads the curve back.
func TestACurveIsReadBackFromItsAxes(t *testing.T) {
	for _, c := range []struct {
		unit     measure.Unit
		top, low float64 // mm
		from, to float64
		ticks    func(float64, float64) []tick
	}{
		{measure.InInches, 10.9, 0, -0.8, 1.3, nil},
		{measure.InMillimetres, 10.9, -0.02, -170, 260, crankTicks},
		{measure.InMillimetres, 0.31, -0.1, 0, 0.02, nil},
		{measure.InInches, 250, 0, 0, 4000, nil},
	} {
		var points []Point
		for i := range 101 {
			part := float64(i) / 100
			points = append(points, Point{c.from + part*(c.to-c.from), c.low + (c.top-c.low)*math.Sin(math.Pi*part)})
		}
		p := picture{width: 8 * centimetre, height: 4 * centimetre, yUnit: c.unit, xTicks: c.ticks, xLabel: "crank", uprights: []float64{0}, levels: []float64{c.top / 2}}
		svg, err := p.draw([]line{{points, "", intakeInk}})
		require.NoError(t, err)

		xs, ys := numbersOf(t, string(svg), "middle"), numbersOf(t, string(svg), "end")
		require.GreaterOrEqual(t, len(xs), 2)
		require.GreaterOrEqual(t, len(ys), 2)
		require.LessOrEqual(t, len(ys), 6)
		curve := regexp.MustCompile(`<path d="([^"]*)" stroke="#0b4f8a"`).FindStringSubmatch(string(svg))
		require.NotNil(t, curve)
		drawn := regexp.MustCompile(`[ML](-?[0-9.]+),(-?[0-9.]+)`).FindAllStringSubmatch(curve[1], -1)
		require.Len(t, drawn, len(points))
		one := c.unit.Length().Millimetres()
		for i, at := range drawn {
			assert.InDelta(t, points[i].X, ruler(xs, 0, number(t, at[1])), (c.to-c.from)/500)
			assert.InDelta(t, points[i].Y/one, ruler(ys, 1, number(t, at[2])), c.top/one/250)
			assert.Less(t, number(t, at[1]), p.width)
			assert.Less(t, number(t, at[2]), p.height)
			assert.Positive(t, number(t, at[2]))
		}
	}
	_, err := picture{width: 10, height: 10, yUnit: measure.InInches}.draw([]line{{points: []Point{{0, 0}, {1, 0}}}})
	assert.ErrorContains(t, err, "nothing in it")
}

// mark is where a number of an axis stands, and the number.
type mark struct {
	at [2]float64
	is float64
}

// numbersOf are the numbers of the axis whose labels are anchored so; their marks are
// the short strokes that the axis has for each of them, in the same order.
func numbersOf(t *testing.T, svg, anchor string) (out []mark) {
	t.Helper()
	for _, m := range regexp.MustCompile(`<path d="M([0-9.]+),([0-9.]+)L([0-9.]+),([0-9.]+)" stroke="#000" stroke-width="0.5"/><text [^>]*text-anchor="`+anchor+`"[^>]*>([-0-9.]+|[TB]DC)</text>`).FindAllStringSubmatch(svg, -1) {
		is, ok := map[string]float64{"TDC": 0, "BDC": 180}[m[5]]
		if !ok {
			is = number(t, m[5])
		}
		if ok && len(out) == 0 && is == 180 {
			is = -180
		}
		end := map[string]int{"middle": 1, "end": 3}[anchor]
		out = append(out, mark{[2]float64{number(t, m[end]), number(t, m[end+1])}, is})
	}
	return out
}

// ruler reads a place off the first and the last mark.
func ruler(marks []mark, along int, at float64) float64 {
	a, b := marks[0], marks[len(marks)-1]
	return a.is + (at-a.at[along])/(b.at[along]-a.at[along])*(b.is-a.is)
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	require.NoError(t, err)
	return v
}

func TestRoundTicks(t *testing.T) {
	labels := func(from, to float64) (out []string) {
		for _, at := range roundTicks(from, to) {
			out = append(out, at.label)
		}
		return out
	}
	assert.Equal(t, []string{"0.0", "0.1", "0.2", "0.3", "0.4"}, labels(0, 0.45))
	assert.Equal(t, []string{"0", "5", "10"}, labels(-0.02, 11.4))
	assert.Equal(t, []string{"-1.0", "-0.5", "0.0", "0.5", "1.0"}, labels(-1, 1.2))
	assert.Equal(t, []string{"0", "1000", "2000", "3000", "4000"}, labels(0, 4000))
	assert.Equal(t, []string{"0.000", "0.001", "0.002"}, labels(0, 0.0029999))
	for width := 1e-6; width < 1e6; width *= 1.037 {
		ticks := roundTicks(-width/3, width*2/3)
		assert.GreaterOrEqual(t, len(ticks), 2, "%g", width)
		assert.LessOrEqual(t, len(ticks), 6, "%g", width)
	}
}
