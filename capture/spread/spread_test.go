package spread_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/spread"
	"lobescribe/device/measure"
)

// Derived here: a range of 0.41 mm of two lifts with 8 and 6 um has
// sqrt(8^2 + 6^2) = 10 um (JCGM 100:2008, 5.1.2).
func TestOfTwo(t *testing.T) {
	s, err := spread.Of([]spread.Lift{
		{Engine: "a", Max: 10_500 * measure.Micrometre, U: 8 * measure.Micrometre},
		{Engine: "b", Max: 10_910 * measure.Micrometre, U: 6 * measure.Micrometre}})
	require.NoError(t, err)
	assert.Equal(t, 410*measure.Micrometre, s.Range)
	assert.Equal(t, 10*measure.Micrometre, s.RangeU)
	assert.Equal(t, 10_705*measure.Micrometre, s.Median)
	assert.Equal(t, spread.LeastWorth, s.Least)
	assert.Equal(t, []spread.Place{{Off: -205 * measure.Micrometre}, {Off: 205 * measure.Micrometre}}, s.Each, "two show no outlier")
}

func TestOneStandsOut(t *testing.T) {
	var lifts []spread.Lift
	for i, um := range []int64{10_500, 10_510, 10_490, 10_505, 10_100} {
		lifts = append(lifts, spread.Lift{Engine: string(rune('a' + i)), Max: measure.Length(um) * measure.Micrometre, U: 10 * measure.Micrometre})
	}
	s, err := spread.Of(lifts)
	require.NoError(t, err)
	for i, p := range s.Each {
		assert.Equal(t, i == 4, p.Outlier, "%d", i)
	}
	one, err := spread.Of(lifts[:1])
	require.NoError(t, err)
	assert.Zero(t, one.Range+one.RangeU)
	_, err = spread.Of(nil)
	assert.Error(t, err)
	_, err = spread.Of([]spread.Lift{lifts[0], lifts[0]})
	assert.ErrorContains(t, err, "twice")
}
