package shims

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// everyStack tries all stacks there are, one by one: the plain way, that choose
// must agree with.
func everyStack(onHand []Thickness, wanted, least, most measure.Length) (total measure.Length, pieces int, ok bool) {
	var walk func(kind int, sum measure.Length, n int)
	better := func(sum measure.Length, n int) bool {
		d, best := (sum - wanted).Abs(), (total - wanted).Abs()
		return !ok || d < best || d == best && (n < pieces || n == pieces && sum < total)
	}
	walk = func(kind int, sum measure.Length, n int) {
		if kind == len(onHand) {
			if sum >= least && sum <= most && better(sum, n) {
				total, pieces, ok = sum, n, true
			}
			return
		}
		for i := range onHand[kind].Count + 1 {
			walk(kind+1, sum+measure.Length(i)*onHand[kind].Thickness, n+i)
		}
	}
	walk(0, 0, 0)
	return total, pieces, ok
}

func TestChooseAgainstEveryStack(t *testing.T) {
	// Steps of a tenth of a thou and of a hundredth of a millimetre, mixed.
	thickness := rapid.OneOf(
		rapid.Map(rapid.Int64Range(1, 600), func(n int64) measure.Length { return measure.Length(n) * 2540 }),
		rapid.Map(rapid.Int64Range(1, 150), func(n int64) measure.Length { return measure.Length(n) * 10_000 }),
	)
	kind := rapid.Custom(func(t *rapid.T) Thickness {
		return Thickness{thickness.Draw(t, "thickness"), rapid.IntRange(0, 4).Draw(t, "count")}
	})
	limit := rapid.Int64Range(-500_000, 6_000_000)
	rapid.Check(t, func(t *rapid.T) {
		onHand := rapid.SliceOfN(kind, 0, 5).Draw(t, "on hand")
		wanted := measure.Length(limit.Draw(t, "wanted"))
		least, most := measure.Length(0), measure.Length(math.MaxInt64/4)
		if rapid.Bool().Draw(t, "limited") {
			least = measure.Length(limit.Draw(t, "least"))
			most = least + measure.Length(rapid.Int64Range(0, 3_000_000).Draw(t, "room"))
		}
		want, pieces, ok := everyStack(onHand, wanted, least, most)
		got, err := choose(onHand, wanted, least, most)
		if !ok {
			require.ErrorIs(t, err, errNoStack)
			return
		}
		require.NoError(t, err)
		assert.Equal(t, want, got.Total(), "nearest to wanted")
		assert.Len(t, got, pieces, "fewest pieces")
		left := map[measure.Length]int{}
		for _, h := range onHand {
			left[h.Thickness] += h.Count
		}
		for i, l := range got {
			left[l]--
			assert.GreaterOrEqual(t, left[l], 0, "no more than there are")
			assert.True(t, i == 0 || got[i-1] >= l, "thickest first")
		}
	})
}

// The trade's three shims (0.015, 0.030, 0.060 in; common practice, no source).
func TestChooseTheTradesShims(t *testing.T) {
	in := measure.FromInches
	onHand := []Thickness{{in(0.015), 2}, {in(0.030), 2}, {in(0.060), 1}}
	for wanted, want := range map[float64]Stack{
		0.010: {in(0.015)},
		0.007: {},
		0.030: {in(0.030)}, // one of 0.030, not two of 0.015
		0.075: {in(0.060), in(0.015)},
		0.119: {in(0.060), in(0.030), in(0.030)},
		9:     {in(0.060), in(0.030), in(0.030), in(0.015), in(0.015)},
	} {
		got, err := choose(onHand, in(wanted), 0, math.MaxInt64/4)
		require.NoError(t, err)
		assert.Equal(t, want, got, "wanted %v", wanted)
	}
}

// Thicknesses without a common step of any size are refused, not waited for.
func TestChooseRefusesTooFine(t *testing.T) {
	_, err := choose([]Thickness{{381_001, 1000}, {762_003, 1000}}, 150*measure.Millimetre, 0, math.MaxInt64/4)
	assert.ErrorIs(t, err, errTooFine)
}

func BenchmarkChoose(b *testing.B) {
	for name, onHand := range map[string][]Thickness{
		"three kinds, 0.015 in apart": {{381_000, 4}, {762_000, 4}, {1_524_000, 2}},
		"eight kinds, 0.001 mm apart": {{101_000, 5}, {153_000, 5}, {254_000, 5}, {381_000, 5}, {509_000, 5}, {762_000, 5}, {1_016_000, 5}, {1_525_000, 5}},
		"mm and inch, 20 nm apart":    {{381_000, 4}, {762_000, 4}, {500_000, 4}, {253_740, 4}},
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := choose(onHand, 2_422_667, 0, math.MaxInt64/4); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
