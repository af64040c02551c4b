package encoder

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// board is a shaft with an index and a counter that can lose counts.
type board struct {
	counts, edge int64 // the index lies between counts edge-1 and edge of each turn
	shaft, says  int64
}

// to turns the shaft and tells whether the index was passed on the way.
func (b *board) to(shaft int64) (number int64, index bool) {
	turnOf := func(n int64) int64 {
		n -= b.edge
		if n < 0 {
			n -= b.counts - 1
		}
		return n / b.counts
	}
	index = turnOf(b.shaft) != turnOf(shaft)
	b.says += shaft - b.shaft
	b.shaft = shaft
	return b.says, index
}

// However the engine is turned, forth and back, fast and slow, the index never
// speaks of lost counts when none were lost.
func TestIndexIsQuietWhenAllIsWell(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := &board{counts: 2400, edge: rapid.Int64Range(0, 2399).Draw(t, "edge")}
		c := crank(t, Options{Counts: 2400, Wrap: rapid.SampledFrom([]measure.Angle{0, measure.Turn}).Draw(t, "wrap")})
		c.FromCounts(0)
		for range rapid.IntRange(1, 100).Draw(t, "lines") {
			n, index := b.to(b.shaft + rapid.Int64Range(-500, 500).Draw(t, "way"))
			c.FromCounts(((n % 2400) + 2400) % 2400)
			if index {
				require.Zero(t, c.Index())
			}
		}
	})
}

// What is lost or counted twice is told with its number: exactly where each
// count has a line, and else short of it by no more than a line's way.
func TestIndexTellsHowManyCounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := &board{counts: 2400, edge: rapid.Int64Range(0, 2399).Draw(t, "edge")}
		c := crank(t, Options{Counts: 2400})
		way := rapid.Int64Range(1, 40).Draw(t, "counts a line")
		miss := rapid.Int64Range(-900, 900).Draw(t, "too many")
		at := b.edge + 2400 + rapid.Int64Range(100, 1500).Draw(t, "where, after the second mark")
		told, marks := int64(0), 0
		for shaft := int64(0); shaft < 6*2400; shaft += way {
			if b.shaft < at && shaft >= at {
				b.says += miss
			}
			n, index := b.to(shaft)
			c.FromCounts(n)
			if index {
				marks++
				missed := c.Index()
				if missed != 0 {
					require.Zero(t, told, "told once")
				}
				told += missed
			}
		}
		require.GreaterOrEqual(t, marks, 3)
		// The place of the index is known to a line's way on either side.
		require.InDelta(t, miss, told, float64(2*way))
		require.LessOrEqual(t, max(told, -told), max(miss, -miss), "never more than were missed")
		if way == 1 && (miss > 1 || miss < -1) {
			require.InDelta(t, miss, told, 2)
		}
	})
}

func TestIndexInWords(t *testing.T) {
	c := crank(t, Options{Counts: 2400})
	assert.Empty(t, c.Lost(0))
	assert.Contains(t, c.Lost(-7), "7 counts lost between two marks of the index (1.05 deg of crank)")
	assert.Contains(t, c.Lost(1), "1 count too many")
	assert.Zero(t, c.Index(), "before any number there is nothing to compare")
}
