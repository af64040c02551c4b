package chunk

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// turned is what a bench gives: a hand-turned lobe, 0.0005 in resolution, an
// encoder of 2400 counts, and stamps that jitter by a third of a millisecond.
func turned(n int, seed uint64) []measure.Reading {
	rng := rand.New(rand.NewPCG(seed, 1))
	out := make([]measure.Reading, n)
	angle := 0.0
	for i := range out {
		angle += 0.6 + 0.3*math.Sin(float64(i)/900) + 0.05*rng.NormFloat64()
		lift := 0.0
		if a := math.Mod(angle, 720); a < 240 {
			lift = 10.668 * math.Pow(math.Sin(a/240*math.Pi), 2)
		}
		at := float64(i)*10_000 + 330*rng.NormFloat64()
		if i > 0 {
			at = max(at, float64(out[i-1].At)+1)
		}
		out[i] = measure.Reading{
			At:    measure.Stamp(at),
			Lift:  measure.Length(math.Round((lift+0.003*rng.NormFloat64())/0.0127)) * 12_700,
			Angle: measure.Angle(math.Round(angle/0.15)) * 150_000,
			Has:   measure.HasLift | measure.HasAngle,
		}
	}
	return out
}

func encode(rs []measure.Reading) []byte {
	var e Encoder
	return e.Append(nil, 7, 100, rs)
}

func TestRoundTripOfABench(t *testing.T) {
	for _, n := range []int{1, 2, 3, 127, 128, 129, 130, 257, 5000, MaxReadings} {
		in := turned(n, uint64(n))
		b := encode(in)
		var d Decoder
		out, h, err := d.Append(nil, b)
		require.NoError(t, err)
		require.Equal(t, in, out)
		assert.Equal(t, Head{Trace: 7, First: 100, Count: n, From: in[0].At, Until: in[n-1].At, Has: measure.HasLift | measure.HasAngle}, h)
	}
}

// readings of any kind: missing quantities, extreme numbers, all at once.
func anyReadings() *rapid.Generator[[]measure.Reading] {
	number := rapid.OneOf(
		rapid.Int64(), rapid.Int64Range(-5, 5),
		rapid.SampledFrom([]int64{math.MinInt64, math.MaxInt64, 0, -1, 12_700, 1 << 62}),
		rapid.Map(rapid.Int64Range(-3000, 3000), func(v int64) int64 { return v * 2540 }),
	)
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) measure.Reading {
		r := measure.Reading{At: measure.Stamp(number.Draw(t, "at")), Has: measure.Has(rapid.IntRange(0, int(measure.HasAll)).Draw(t, "has"))}
		if r.Has&measure.HasLift != 0 {
			r.Lift = measure.Length(number.Draw(t, "lift"))
		}
		if r.Has&measure.HasAngle != 0 {
			r.Angle = measure.Angle(number.Draw(t, "angle"))
		}
		if r.Has&measure.HasSweep != 0 {
			r.Sweep = measure.Length(number.Draw(t, "sweep"))
		}
		return r
	}), 1, 400)
}

func TestRoundTripOfAnything(t *testing.T) {
	var e Encoder // kept from case to case, as the store keeps it
	var d Decoder
	rapid.Check(t, func(t *rapid.T) {
		in := anyReadings().Draw(t, "readings")
		trace, first := rapid.Uint64().Draw(t, "trace"), rapid.Uint64Range(0, math.MaxUint64-1000).Draw(t, "first")
		b := e.Append([]byte("before"), trace, first, in)
		require.Equal(t, "before", string(b[:6]))
		out, h, err := d.Append(nil, b[6:])
		require.NoError(t, err)
		require.Equal(t, in, out)
		peeked, err := Peek(b[6:])
		require.NoError(t, err)
		require.Equal(t, h, peeked)
		require.Equal(t, trace, h.Trace)
		require.Equal(t, first, h.First)
	})
}

func TestTwoInstrumentsTakingTurnsCostNothingExtra(t *testing.T) {
	both := turned(4000, 5)
	var turns []measure.Reading
	for i, r := range both {
		if i%2 == 0 {
			turns = append(turns, measure.Reading{At: r.At, Lift: r.Lift, Has: measure.HasLift})
		} else {
			turns = append(turns, measure.Reading{At: r.At, Angle: r.Angle, Has: measure.HasAngle})
		}
	}
	var d Decoder
	b := encode(turns)
	out, _, err := d.Append(nil, b)
	require.NoError(t, err)
	require.Equal(t, turns, out)
	assert.Less(t, len(b), len(encode(both)))
}

func TestCut(t *testing.T) {
	for _, n := range []int{1, 300, 5000} {
		b := encode(turned(n, 1))
		require.Equal(t, b, Cut(append(append([]byte{}, b...), "Lc and more"...)))
		for _, cut := range []int{0, 1, 7, 8, len(b) - 1} {
			require.Nil(t, Cut(b[:cut]))
		}
		b[len(b)/2] ^= 1
		require.Nil(t, Cut(b))
	}
}

func TestAWrongQuantityIsNotStored(t *testing.T) {
	var d Decoder
	out, _, err := d.Append(nil, encode([]measure.Reading{{At: 1, Lift: 5, Angle: 6, Has: measure.HasAngle}}))
	require.NoError(t, err)
	assert.Equal(t, []measure.Reading{{At: 1, Angle: 6, Has: measure.HasAngle}}, out)
}

func TestEveryFlippedBitIsFound(t *testing.T) {
	b := encode(turned(300, 3))
	var d Decoder
	keep := []measure.Reading{{At: 1}}
	for bit := range len(b) * 8 {
		b[bit/8] ^= 1 << (bit % 8)
		out, _, err := d.Append(keep, b)
		require.Error(t, err, "bit %d", bit)
		require.Equal(t, keep, out)
		b[bit/8] ^= 1 << (bit % 8)
	}
	for n := range len(b) {
		_, _, err := d.Append(nil, b[:n])
		require.Error(t, err, "cut at %d", n)
	}
}

func TestSentinels(t *testing.T) {
	_, err := Peek([]byte("no chunk at all"))
	require.ErrorIs(t, err, ErrNotAChunk)
	b := encode(turned(3, 1))
	b[2] = version + 1
	_, err = Peek(b)
	require.ErrorIs(t, err, ErrDamaged, "the version is under the checksum")
	reseal(b)
	_, err = Peek(b)
	require.ErrorIs(t, err, ErrNewer)
	b[2] = 1
	b[len(b)-1] ^= 1
	_, err = Peek(b)
	require.ErrorIs(t, err, ErrDamaged)
	assert.Panics(t, func() { encode(nil) })
	assert.Panics(t, func() { encode([]measure.Reading{{Has: measure.HasAll + 1}}) })
}

// reseal makes the checksum fit, to get past it in tests.
func reseal(b []byte) {
	if len(b) >= fixedBytes {
		binary.LittleEndian.PutUint32(b[4:], checksum(b))
	}
}

// FuzzDecode lets the fuzzer past the checksum, which would otherwise shield
// the coding from it.
func FuzzDecode(f *testing.F) {
	seeds, err := filepath.Glob("testdata/fuzz/FuzzDecode/*")
	if err != nil || len(seeds) == 0 {
		f.Fatalf("the committed corpus is missing: %v", err)
	}
	f.Add(encode(turned(3, 1)))
	f.Add(encode(turned(500, 2)))
	f.Add([]byte("Lc\x01\x03"))
	f.Fuzz(func(t *testing.T, b []byte) {
		b = append([]byte(nil), b...)
		var d Decoder
		for range 2 {
			if c := Cut(b); c != nil && !bytes.HasPrefix(b, c) {
				t.Fatal("cut from elsewhere")
			}
			out, h, err := d.Append(nil, b)
			if err == nil {
				if len(out) != h.Count {
					t.Fatalf("%d readings, head says %d", len(out), h.Count)
				}
				// What decodes is stable: packed again it says the same.
				var e Encoder
				again, h2, err := d.Append(nil, e.Append(nil, h.Trace, h.First, out))
				if err != nil || h2 != h {
					t.Fatalf("%+v, then %+v, %v", h, h2, err)
				}
				for i := range out {
					if again[i] != out[i] {
						t.Fatalf("reading %d: %+v, then %+v", i, out[i], again[i])
					}
				}
			}
			reseal(b)
		}
	})
}

func TestCorpusIsNotEmpty(t *testing.T) {
	files, err := os.ReadDir("testdata/fuzz/FuzzDecode")
	require.NoError(t, err)
	require.NotEmpty(t, files)
}

func BenchmarkEncode16k(b *testing.B) {
	rs := turned(16384, 1)
	var e Encoder
	var dst []byte
	for b.Loop() {
		dst = e.Append(dst[:0], 1, 0, rs)
	}
	b.ReportMetric(float64(len(dst))/float64(len(rs)), "bytes/reading")
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(rs)), "ns/reading")
}

func BenchmarkDecode16k(b *testing.B) {
	rs := turned(16384, 1)
	chunk := encode(rs)
	var d Decoder
	dst := make([]measure.Reading, 0, len(rs))
	for b.Loop() {
		var err error
		if dst, _, err = d.Append(dst[:0], chunk); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(rs)), "ns/reading")
}
