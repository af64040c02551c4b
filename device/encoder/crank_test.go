package encoder

import (
	"math/big"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

var _ wire.Crank = (*Crank)(nil)

func crank(t require.TestingT, o Options) *Crank {
	c, err := New(o)
	require.NoError(t, err)
	return c
}

// Counts after 4x: an encoder of 600 lines has 2400, 0.15 degrees each; 360 has
// 1440, 0.25; 1024 has 4096, 0.087890625. (Ordinary arithmetic, derived; the
// definitions are common practice.)
func TestAngleOfACount(t *testing.T) {
	for _, c := range []struct {
		counts int64
		says   string
		step   measure.Angle
		at     int64 // this count
		want   string
	}{
		{2400, "0.15", 150_000, 7, "1.05"},
		{1440, "0.25", 250_000, -3, "-0.75"},
		{4096, "0.087890625", 87_891, 1, "0.087890625"},
		{4096, "0.087890625", 87_891, 64, "5.625"},
		{4096, "0.087890625", 87_891, 1_000_000, "87890.625"},
	} {
		exact, ok := new(big.Rat).SetString(c.says)
		require.True(t, ok)
		assert.Zero(t, exact.Cmp(big.NewRat(360, c.counts)))
		k := crank(t, Options{Counts: c.counts})
		assert.Equal(t, c.step, k.Step())
		want, _ := new(big.Rat).SetString(c.want)
		assert.Equal(t, rounded(want), k.FromCounts(c.at), "%d of %d", c.at, c.counts)
	}
}

// rounded returns degrees in microdegrees, half away from zero.
func rounded(degrees *big.Rat) measure.Angle {
	u := new(big.Rat).Mul(degrees, big.NewRat(int64(measure.Degree), 1))
	half := big.NewRat(1, 2)
	if u.Sign() < 0 {
		half.Neg(half)
	}
	u.Add(u, half)
	return measure.Angle(new(big.Int).Quo(u.Num(), u.Denom()).Int64())
}

// wraps are the ways in which a board's number may start again.
func wraps(counts int64) map[string]func(int64) int64 {
	fold := func(p, low int64) func(int64) int64 {
		return func(n int64) int64 { return ((n-low)%p+p)%p + low }
	}
	return map[string]func(int64) int64{
		"never":          func(n int64) int64 { return n },
		"a turn":         fold(counts, 0),
		"16 bit":         func(n int64) int64 { return int64(uint16(n)) },
		"16 bit, signed": func(n int64) int64 { return int64(int16(n)) },
		"24 bit":         fold(1<<24, 0),
		"32 bit":         func(n int64) int64 { return int64(uint32(n)) },
		"32 bit, signed": func(n int64) int64 { return int64(int32(n)) },
	}
}

// Whatever the wrap, angles grow without end and are those of exact rational
// arithmetic, from a start anywhere near the place where the number starts
// again.
func TestAnglesGrowWithoutEndWhateverTheWrap(t *testing.T) {
	for _, name := range []string{"never", "a turn", "16 bit", "16 bit, signed", "24 bit", "32 bit", "32 bit, signed"} {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				o := Options{
					Counts:  rapid.SampledFrom([]int64{1440, 2400, 4096, 10_000, 20_480}).Draw(t, "counts"),
					OnCam:   rapid.Bool().Draw(t, "on cam"),
					Reverse: rapid.Bool().Draw(t, "reverse"),
					Offset:  measure.Angle(rapid.Int64Range(-int64(measure.Turn), int64(measure.Turn)).Draw(t, "offset")),
				}
				fold := wraps(o.Counts)[name]
				place := rapid.SampledFrom([]int64{0, 1 << 15, 1 << 16, 1 << 24, 1 << 31, 1 << 32}).Draw(t, "near")
				n := place + rapid.Int64Range(-3000, 3000).Draw(t, "start")
				c := crank(t, o)
				first := c.FromCounts(fold(n))
				// The number of the start stands for itself.
				base := fold(n) - n
				assert.Equal(t, exact(o, n+base), first)
				direction := rapid.SampledFrom([]int64{1, -1}).Draw(t, "direction")
				last := first
				for range rapid.IntRange(1, 60).Draw(t, "lines") {
					n += direction * rapid.Int64Range(1, o.Counts/8).Draw(t, "step")
					got := c.FromCounts(fold(n))
					require.Equal(t, exact(o, n+base), got, "count %d, printed %d", n, fold(n))
					if (direction > 0) != o.Reverse {
						require.Greater(t, got, last)
					} else {
						require.Less(t, got, last)
					}
					last = got
				}
			})
		})
	}
}

// exact is the angle of a count by rational arithmetic.
func exact(o Options, n int64) measure.Angle {
	turn := int64(360)
	if o.OnCam {
		turn = 720
	}
	a := rounded(new(big.Rat).Mul(big.NewRat(n, 1), big.NewRat(turn, o.Counts)))
	if o.Reverse {
		a = -a
	}
	return a + o.Offset
}

// A count on the cam is worth twice the crank.
func TestCamIsHalfTheCrank(t *testing.T) {
	on := crank(t, Options{Counts: 2400, OnCam: true})
	assert.Equal(t, 300_000*measure.Microdegree, on.Step())
	first := on.FromCounts(0)
	on.FromCounts(1000)
	on.FromCounts(2000)
	assert.Equal(t, measure.Cycle, on.FromCounts(2400)-first)
	d := crank(t, Options{OnCam: true})
	assert.Equal(t, 210*measure.Degree, d.FromDegrees(105*measure.Degree))
}

func TestPrintedDegreesComeRound(t *testing.T) {
	for _, c := range []struct {
		name  string
		wrap  measure.Angle // of the board
		low   measure.Angle
		told  bool
		cam   bool
		limit int64 // degrees between two lines
	}{
		{"360 told", measure.Turn, 0, true, false, 179},
		{"720 told", measure.Cycle, 0, true, false, 359},
		{"360 found", measure.Turn, 0, false, false, 89},
		{"720 found", measure.Cycle, 0, false, false, 89},
		{"-180 to 180, found", measure.Turn, -measure.Turn / 2, false, false, 89},
		{"never", 0, 0, false, false, 89},
		{"cam, 360 told", measure.Turn, 0, true, true, 179},
	} {
		t.Run(c.name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				o := Options{OnCam: c.cam}
				if c.told {
					o.Wrap = c.wrap
				}
				fold := func(a measure.Angle) measure.Angle {
					if c.wrap == 0 {
						return a
					}
					return (a - c.low).Wrap(c.wrap) + c.low
				}
				per := measure.Angle(1)
				if c.cam {
					per = 2
				}
				k := crank(t, o)
				a := measure.Angle(rapid.Int64Range(0, int64(measure.Cycle)-1).Draw(t, "start"))
				base := k.FromDegrees(fold(a)) - per*a
				lines := rapid.IntRange(1, 60).Draw(t, "lines")
				forward := rapid.Bool().Draw(t, "forward")
				for range lines {
					step := measure.Angle(rapid.Int64Range(0, c.limit*int64(measure.Degree)).Draw(t, "step"))
					if !forward {
						step = -step
					}
					a += step
					require.Equal(t, per*a+base, k.FromDegrees(fold(a)))
				}
			})
		})
	}
}

func TestCountsThatStartAgainAsTold(t *testing.T) {
	c := crank(t, Options{Counts: 2400, Wrap: measure.Cycle})
	assert.Equal(t, 4799*measure.Angle(150_000), c.FromCounts(4799))
	assert.Equal(t, 2*measure.Turn, c.FromCounts(0))
	assert.Equal(t, 2*measure.Turn+2300*measure.Angle(150_000), c.FromCounts(2300))
	assert.Equal(t, 2*measure.Turn-measure.Angle(150_000), c.FromCounts(4799), "the shorter way is back")
}

// One number that noise made does not keep the turn from being found, and a
// number that goes on beyond a turn was never one that starts again.
func TestNoiseAndSecondThoughts(t *testing.T) {
	c := crank(t, Options{Counts: 2400})
	for n := int64(2000); n < 2400; n += 100 {
		c.FromCounts(n)
	}
	c.FromCounts(987_654)
	c.FromCounts(2390)
	assert.Equal(t, measure.Turn+measure.Angle(10*150_000), c.FromCounts(10))

	c = crank(t, Options{Counts: 2400})
	c.FromCounts(10)
	c.FromCounts(2000) // the link was lost meanwhile; taken to have turned back
	c.FromCounts(2300)
	c.FromCounts(2500)
	assert.Equal(t, 2600*measure.Angle(150_000), c.FromCounts(2600))
}

// Numbers that no board sends do no harm.
func TestAnyNumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := crank(t, Options{Counts: rapid.Int64Range(1, 1<<31-1).Draw(t, "counts"),
			OnCam: rapid.Bool().Draw(t, "cam"), Reverse: rapid.Bool().Draw(t, "reverse")})
		for range 20 {
			n := rapid.Int64().Draw(t, "n")
			a := c.FromCounts(n)
			require.LessOrEqual(t, max(a, -a), measure.Angle(1<<53))
			c.FromDegrees(measure.Angle(n))
			c.Index()
		}
	})
}

func TestParseKeys(t *testing.T) {
	keys := func(pairs map[string]string) func(string) string {
		return func(k string) string { return pairs[k] }
	}
	c, err := Parse(keys(nil))
	require.NoError(t, err)
	assert.Nil(t, c)
	c, err = Parse(keys(map[string]string{"counts": "2400", "on": "cam", "reverse": "yes", "offset": "-12.5", "wrap": "360"}))
	require.NoError(t, err)
	assert.Equal(t, -12_500_000-300_000*measure.Microdegree, c.FromCounts(1))
	assert.Equal(t, "2400 counts a turn of the cam, 0.3 deg of crank each, counting down as the engine turns", c.Says())
	_, err = Parse(keys(map[string]string{"counts": "many"}))
	assert.ErrorContains(t, err, "as in counts=2400")
	_, err = Parse(keys(map[string]string{"offset": "left"}))
	assert.ErrorContains(t, err, "degrees")
	_, err = New(Options{Wrap: 90 * measure.Degree})
	assert.ErrorContains(t, err, "360 or 720")
	_, err = New(Options{Counts: -1})
	assert.ErrorContains(t, err, "4x")
}

func BenchmarkFromCounts(b *testing.B) {
	c := crank(b, Options{Counts: 2400})
	n := int64(0)
	b.ReportAllocs()
	for b.Loop() {
		n = (n + 7) % 2400
		c.FromCounts(n)
	}
}
