package thin_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/dashboard/thin"
)

func drawColumns(t *rapid.T) thin.Columns {
	n := rapid.IntRange(0, 500).Draw(t, "n")
	var c thin.Columns
	at := rapid.Int64Range(-1000, 1_000_000).Draw(t, "begin")
	if rapid.Bool().Draw(t, "encoder") {
		c.Angle = []int64{}
	}
	for range n {
		at += rapid.OneOf(rapid.Int64Range(0, 3), rapid.Int64Range(0, 100_000)).Draw(t, "step")
		c.At = append(c.At, at)
		c.Lift = append(c.Lift, rapid.Int64Range(-1e9, 1e9).Draw(t, "lift"))
		if c.Angle != nil {
			c.Angle = append(c.Angle, at*3)
		}
	}
	return c
}

// Checked against the definition in the package comment, computed the slow
// way: for every reading, which column it falls into.
func TestMinMaxIsItsDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawColumns(t)
		from := rapid.Int64Range(-2000, 2_000_000).Draw(t, "from")
		to := from + rapid.Int64Range(1, 5_000_000).Draw(t, "span")
		columns := rapid.IntRange(1, 60).Draw(t, "columns")
		got := thin.MinMax(c, from, to, columns)

		var want thin.Series
		var inside []int
		for i, at := range c.At {
			if at >= from && at <= to {
				inside = append(inside, i)
			}
		}
		if len(inside) <= columns {
			for _, i := range inside {
				want.At = append(want.At, c.At[i])
				want.Min = append(want.Min, c.Lift[i])
				want.Max = append(want.Max, c.Lift[i])
			}
		} else {
			in := make([][]int, columns)
			for _, i := range inside {
				// The largest column whose left edge is not after the reading.
				column := 0
				for k := range columns {
					if c.At[i] >= from+int64(k)*(to-from)/int64(columns) {
						column = k
					}
				}
				in[column] = append(in[column], i)
			}
			for _, list := range in {
				if len(list) == 0 {
					continue
				}
				least, most := c.Lift[list[0]], c.Lift[list[0]]
				for _, i := range list {
					least, most = min(least, c.Lift[i]), max(most, c.Lift[i])
				}
				want.At = append(want.At, c.At[list[len(list)/2]])
				want.Min = append(want.Min, least)
				want.Max = append(want.Max, most)
			}
		}
		require.Equal(t, fmt.Sprint(want.At, want.Min, want.Max), fmt.Sprint(got.At, got.Min, got.Max))
		if c.Angle != nil {
			require.Len(t, got.Angle, len(got.At))
			for i := range got.At {
				require.Equal(t, got.At[i]*3, got.Angle[i], "time and angle are of one reading")
			}
		} else {
			require.Nil(t, got.Angle)
		}
	})
}

func TestASpikeOfOneReadingIsDrawn(t *testing.T) {
	var c thin.Columns
	for i := range int64(1_000_000) {
		c.At, c.Lift = append(c.At, i*1000), append(c.Lift, 0)
	}
	c.Lift[654_321] = 10_668_000
	c.Lift[123_456] = -1
	s := thin.MinMax(c, 0, c.At[len(c.At)-1], 900)
	require.Len(t, s.At, 900)
	var highs, lows int
	for i := range s.Max {
		if s.Max[i] == 10_668_000 {
			highs++
		}
		if s.Min[i] == -1 {
			lows++
		}
	}
	assert.Equal(t, 1, highs)
	assert.Equal(t, 1, lows)
}

func TestAGapStaysAGap(t *testing.T) {
	var c thin.Columns
	for i := range int64(2000) {
		at := i * 1000
		if i >= 1000 {
			at += 8_000_000 // the link was lost for eight seconds
		}
		c.At, c.Lift = append(c.At, at), append(c.Lift, i)
	}
	s := thin.MinMax(c, 0, 10_000_000, 100)
	for _, at := range s.At {
		assert.False(t, at > 1_000_000 && at < 9_000_000, "nothing is invented at %d", at)
	}
	assert.Len(t, s.At, 20)
}

func BenchmarkMinMax(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{10_000, 1_000_000} {
		c := thin.Columns{At: make([]int64, n), Lift: make([]int64, n), Angle: make([]int64, n)}
		for i := range n {
			c.At[i], c.Lift[i], c.Angle[i] = int64(i)*1000, r.Int64N(1e7), int64(i)
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				thin.MinMax(c, 0, c.At[n-1], 900)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/reading")
		})
	}
}
