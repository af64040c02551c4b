package measure

import (
	"encoding/json"
	"math"
	"math/big"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseLength(t *testing.T) {
	for text, want := range map[string]Length{
		"0.420 in":                             10_668_000,
		`.420"`:                                10_668_000,
		"420 thou":                             10_668_000,
		"10.668 mm":                            10_668_000,
		"10668um":                              10_668_000,
		"-0.0005in":                            -12_700,
		"0.00005 inch":                         1270, // half the step of the finest common indicator
		"+ 1.25 MM":                            1_250_000,
		"- .5 mm":                              -500_000,
		"7. mm":                                7_000_000,
		"  3.5mils ":                           88_900,
		"2″":                                   50_800_000,
		"0.0000004 mm":                         0,
		"0.0000005 mm":                         1,
		"-0.0000005 mm":                        -1,
		"0.000000000000000000000000000001 in":  0,
		"000000000000000000000000000000001 mm": 1_000_000,
	} {
		got, err := ParseLength(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
}

func TestParseLengthSaysWhatIsWrong(t *testing.T) {
	for text, says := range map[string]string{
		"":                       "it is empty",
		"mm":                     "does not start with a number",
		".":                      "does not start with a number",
		"1.2.3 mm":               `".3 mm" is not a unit`,
		"0.42":                   "the unit is missing",
		"0.42 furlong":           `"furlong" is not a unit`,
		"1e3 mm":                 `"e3 mm" is not a unit`,
		"0,42 mm":                `",42 mm" is not a unit`,
		"9999999999999999999 mm": "number too large",
		"99999999999999999 in":   "number too large",
		"NaN mm":                 "does not start with a number",
	} {
		_, err := ParseLength(text)
		require.Error(t, err, text)
		assert.Contains(t, err.Error(), says, text)
		assert.Contains(t, err.Error(), strconv.Quote(text))
	}
}

func TestBareNumberTakesTheGivenUnit(t *testing.T) {
	got, err := ParseLengthIn("420", InThou)
	require.NoError(t, err)
	assert.Equal(t, 420*Thou, got)
	got, err = ParseLengthIn("0.420 in", InMillimetres)
	require.NoError(t, err)
	assert.Equal(t, 420*Thou, got, "a unit in the text wins")
}

func TestPrinting(t *testing.T) {
	l := 420 * Thou
	assert.Equal(t, "10.668 mm", l.String())
	assert.Equal(t, "0.4200 in", l.In(InInches))
	assert.Equal(t, "420.0 thou", l.In(InThou))
	assert.Equal(t, "10.668 mm", l.In(InMillimetres))
	assert.Equal(t, "10668 µm", l.In(InMicrometres))
	assert.Equal(t, "-0.0005", (-Thou/2).Decimal(InInches, 4))
	assert.Equal(t, "0.0005", Length(11_430).Decimal(InInches, 4), "0.00045 in rounds away from zero")
	assert.Equal(t, "0.000", Length(-1).Decimal(InMillimetres, 3), "no minus before zero")
	assert.Equal(t, "-9223372036854.775808 mm", Length(math.MinInt64).String())
}

// The oracle of the integer arithmetic is big.Rat.
func TestFromDecimalAgreesWithRationals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.Int64Range(-999_999_999_999, 999_999_999_999).Draw(t, "mantissa")
		d := rapid.IntRange(0, 24).Draw(t, "decimals")
		unit := rapid.SampledFrom([]Length{Millimetre, Inch, Thou, Micrometre}).Draw(t, "unit")
		got, err := FromDecimal(m, d, unit)
		exact := new(big.Rat).SetInt(new(big.Int).Mul(big.NewInt(m), big.NewInt(int64(unit))))
		exact.Quo(exact, new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(d)), nil)))
		if exact.Abs(exact).Cmp(new(big.Rat).SetInt64(math.MaxInt64)) > 0 {
			require.ErrorIs(t, err, ErrOutOfRange)
			return
		}
		require.NoError(t, err)
		want, _ := new(big.Int).SetString(exact.FloatString(0), 10) // rounds half away from zero
		if m < 0 {
			want.Neg(want)
		}
		require.Equal(t, want.Int64(), int64(got))
	})
}

func TestInchAndMetricLoseNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Any count of the finest inch indicator, through text in mm and back.
		l := Length(rapid.Int64Range(-2_000_000, 2_000_000).Draw(t, "counts")) * 1270
		viaMetric, err := ParseLength(l.String())
		require.NoError(t, err)
		viaInch, err := ParseLength(viaMetric.Decimal(InInches, 5) + " in")
		require.NoError(t, err)
		require.Equal(t, l, viaInch)
		require.Equal(t, l, FromInches(l.Inches()))
		require.Equal(t, l, FromMillimetres(l.Millimetres()))
	})
}

func TestJSONIsExact(t *testing.T) {
	type all struct {
		L Length `json:"l_mm"`
		A Angle  `json:"a_deg"`
		T Stamp  `json:"t_s"`
	}
	b, err := json.Marshal(all{L: -1270, A: 106_500_001, T: 12_250_000})
	require.NoError(t, err)
	assert.JSONEq(t, `{"l_mm":-0.00127,"a_deg":106.500001,"t_s":12.25}`, string(b))
	rapid.Check(t, func(t *rapid.T) {
		in := all{Length(rapid.Int64Range(-1e17, 1e17).Draw(t, "l")), Angle(rapid.Int64Range(-1e17, 1e17).Draw(t, "a")), Stamp(rapid.Int64Range(-1e17, 1e17).Draw(t, "t"))}
		b, err := json.Marshal(in)
		require.NoError(t, err)
		var out all
		require.NoError(t, json.Unmarshal(b, &out))
		require.Equal(t, in, out)
	})
	var l Length
	require.NoError(t, json.Unmarshal([]byte("1.0668e1"), &l))
	assert.Equal(t, 420*Thou, l)
	for _, bad := range []string{`"1"`, `null1`, `1e400`, `1e30`, `true`} {
		assert.Error(t, l.UnmarshalJSON([]byte(bad)), bad)
	}
}

func TestParseAngle(t *testing.T) {
	for text, want := range map[string]Angle{
		"106.5": 106_500_000, "-12 deg": -12 * Degree, "0.15°": 150_000, "720": Cycle,
	} {
		got, err := ParseAngle(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
	for _, bad := range []string{"", "deg", "12 rad", "1 2"} {
		_, err := ParseAngle(bad)
		assert.ErrorContains(t, err, strconv.Quote(bad))
	}
	assert.Equal(t, 350*Degree, (-10 * Degree).Wrap(Turn))
	assert.Equal(t, 10*Degree, (730 * Degree).Wrap(Cycle))
}

func TestScanDecimalAllocatesNothing(t *testing.T) {
	line := []byte("+00012.3450 mm")
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		m, d, n, err := ScanDecimal(line)
		if m != 123450 || d != 4 || n != 11 || err != nil {
			t.Fatal(m, d, n, err)
		}
	}))
}

func FuzzParseLength(f *testing.F) {
	for _, s := range []string{"0.420 in", `.420"`, "420 thou", "-", "1e9", "9999999999999999999 in", "+ 1 µm"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		l, err := ParseLength(text)
		if err != nil {
			return
		}
		again, err := ParseLength(l.String())
		if err != nil || again != l {
			t.Fatalf("%q -> %v -> %v, %v", text, l, again, err)
		}
	})
}
