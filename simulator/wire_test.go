package simulator

import (
	"bytes"
	"math"
	"math/big"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

func parseCount(t require.TestingT, line []byte) (count int64, index bool) {
	text, mark, _ := strings.Cut(strings.TrimSpace(string(line)), " ")
	count, err := strconv.ParseInt(text, 10, 64)
	require.NoError(t, err)
	return count, mark == "I"
}

// reader reads lines of a format back by other means than they were written:
// the layout made into a regular expression, the number into a rational.
type reader struct {
	f   Format
	re  *regexp.Regexp
	end string
}

func readerOf(f Format) reader {
	pattern := regexp.QuoteMeta(f.Layout)
	const num = ` *([+-]?) *([0-9]*[.,]?[0-9]+)-?`
	for name, re := range map[string]string{"lift": `(?P<lift>` + num + `)`, "unit": `(?P<unit>in|mm|"|I|M)`, "angle": `(?P<angle>` + num + `)`, "count": `(?P<count>-?[0-9]+)`, "index": `[I-]`, "check": `[0-9A-F]{2}`} {
		pattern = strings.ReplaceAll(pattern, `\{`+name+`\}`, re)
	}
	r := reader{f, regexp.MustCompile("^" + pattern + "$"), f.End}
	if r.end == "" {
		r.end = "\r\n"
	}
	return r
}

func (r reader) decode(t require.TestingT, line []byte, resolution measure.Length, unit measure.Unit) (lift measure.Length, angle, count float64) {
	text, ok := strings.CutSuffix(string(line), r.end)
	m := r.re.FindStringSubmatch(text)
	if !ok || m == nil {
		require.FailNow(t, "no such line", "%q against %v", line, r.re)
	}
	group := func(name string) string {
		if i := r.re.SubexpIndex(name); i >= 0 {
			text := strings.NewReplacer(" ", "", ",", ".").Replace(m[i])
			if bare, ok := strings.CutSuffix(text, "-"); ok && name != "count" {
				return "-" + bare
			}
			return text
		}
		return ""
	}
	switch group("unit") {
	case "in", "I", `"`:
		unit = measure.InInches
	case "mm", "M":
		unit = measure.InMillimetres
	}
	if number := group("lift"); number != "" {
		step := unit.Length()
		if r.f.WholeCounts {
			step = resolution
		} else if r.f.Step > 0 {
			step = r.f.Step
		}
		v, ok := new(big.Rat).SetString(number)
		if !ok {
			require.FailNow(t, "no number", "%q", line)
		}
		nm, _ := v.Mul(v, new(big.Rat).SetInt64(int64(step))).Float64()
		lift = measure.Length(math.Round(nm))
	}
	for name, to := range map[string]*float64{"angle": &angle, "count": &count} {
		*to = math.NaN()
		if number := group(name); number != "" {
			var err error
			if *to, err = strconv.ParseFloat(number, 64); err != nil {
				require.NoError(t, err)
			}
		}
	}
	return lift, angle, count
}

func TestLinesParseBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sc := anyScenario().Draw(t, "scenario")
		sc.Indicator.Rate = min(sc.Indicator.Rate, 20)
		s, err := sc.Play()
		require.NoError(t, err)
		f := sc.Indicator.Format
		require.Len(t, s.Indicator, len(s.Trace.Readings))
		lines, unit := readerOf(f), sc.Indicator.withDefaults().Unit
		for i, c := range s.Indicator {
			r := s.Trace.Readings[i]
			lift, angle, count := lines.decode(t, c.Bytes, sc.Indicator.Resolution, unit)
			slack := measure.Length(0)
			if f.Step > 0 {
				slack = f.Step / 2
			}
			if (lift - r.Lift).Abs() > slack {
				t.Fatalf("%q is %v, sent was %v", c.Bytes, lift, r.Lift)
			}
			if math.Abs(angle-r.Angle.Degrees()) > 0.00501 { // false for NaN
				t.Fatalf("%q, sent was %v", c.Bytes, r.Angle)
			}
			// The step is itself rounded to the microdegree.
			if math.Abs(count*s.Trace.AngleStep.Degrees()-r.Angle.Degrees()) > 1e-6+math.Abs(count)*0.51e-6 {
				t.Fatalf("%q, sent was %v", c.Bytes, r.Angle)
			}
		}
	})
}

func TestNumbersOnTheWire(t *testing.T) {
	for want, c := range map[string]struct {
		f    Format
		lift measure.Length
		res  measure.Length
		unit measure.Unit
	}{
		"0.4200 in\r\n":     {NumberAndUnit(), 420 * measure.Thou, 12_700, measure.InInches},
		"-0.00005\n":        {Format{Layout: "{lift}", End: "\n"}, -1270, 1270, measure.InInches},
		"+0010.67mm\r":      {Format{Layout: "{lift}{unit}", End: "\r", Sign: PlusAlways, Whole: 4}, 10_670_000, 10_000, measure.InMillimetres},
		" 1.250\n":          {Format{Layout: "{lift}", End: "\n", Sign: BlankForPlus}, 1_250_000, 1000, measure.InMillimetres},
		"- 1.250\n":         {Format{Layout: "{lift}", End: "\n", Sign: SpacedSign}, -1_250_000, 1000, measure.InMillimetres},
		"-.0005\"\n":        {Format{Layout: "{lift}{unit}", End: "\n", Inch: `"`, BarePoint: true}, -12_700, 12_700, measure.InInches},
		"     -1.5 thou\n":  {Format{Layout: "{lift} {unit}", End: "\n", Whole: 6, Blanks: true}, -38_100, 12_700, measure.InThou},
		"-840\n":            {Format{Layout: "{lift}", End: "\n", WholeCounts: true}, -420 * measure.Thou, 12_700, measure.InInches},
		"D-000042 x0\n":     {Format{Layout: "D{lift} x0", End: "\n", Step: 2540, Whole: 6}, -42 * 2540, 2540, measure.InInches},
		"01A+0000.0000 S\n": {Format{Layout: "01A{lift} S", End: "\n", Sign: PlusAlways, Whole: 4}, 0, 12_700, measure.InInches},
		"0.4200-in\n":       {Format{Layout: "{lift}{unit}", End: "\n", Sign: MinusBehind}, -420 * measure.Thou, 12_700, measure.InInches},
		"-10,67 mm\n":       {Format{Layout: "{lift} {unit}", End: "\n", Comma: true}, -10_670_000, 10_000, measure.InMillimetres},
		"\x02+001.25M\x03":  {Format{Layout: "\x02{lift}{unit}", End: "\x03", Sign: PlusAlways, Whole: 3, Metric: "M"}, 1_250_000, 10_000, measure.InMillimetres},
		"0.1235\n":          {Format{Layout: "{lift}", End: "\n", Decimals: 4}, 123_450, 1, measure.InMillimetres},
	} {
		l, err := c.f.compile()
		require.NoError(t, err)
		assert.Equal(t, want, string(l.appendLine(nil, said{lift: c.lift, resolution: c.res, unit: c.unit})))
	}
}

// The check is that of NMEA 0183, the exclusive or between $ and *. The first
// sentence is the README's of a public parser of it, seen; the others are from
// memory, recomputed.
func TestCheckAgainstNMEA(t *testing.T) {
	for _, sentence := range []string{
		"$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D",
		"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
		"$GPGLL,5300.97914,N,00259.98174,E,125926,A*28",
		"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
	} {
		l, err := Format{Layout: sentence[:len(sentence)-2] + "{check}"}.compile()
		require.NoError(t, err)
		assert.Equal(t, sentence+"\r\n", string(l.appendLine(nil, said{})))
	}
}

// A layout is text that people write: none makes it panic, and whatever it
// takes ends as it should.
func FuzzLayout(f *testing.F) {
	for _, list := range [][]Format{Formats(), EncoderFormats(), CombinedFormats()} {
		for _, format := range list {
			f.Add(format.Layout, format.End, int64(-10_668_000))
		}
	}
	f.Add("{lift", "", int64(0))
	f.Add("}{{unit}", "\n", int64(1))
	f.Fuzz(func(t *testing.T, layout, end string, lift int64) {
		l, err := Format{Layout: layout, End: end}.compile()
		if err != nil {
			return
		}
		line := l.appendLine([]byte("before"), said{lift: measure.Length(lift % 1e12), resolution: 1270, unit: measure.InInches})
		if !bytes.HasPrefix(line, []byte("before")) || !bytes.HasSuffix(line, []byte(l.End)) {
			t.Fatalf("%q", line)
		}
	})
}

func joined(chunks []Chunk) []byte {
	var all []byte
	for _, c := range chunks {
		all = append(all, c.Bytes...)
	}
	return all
}

func TestSameSeedSameBytes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sc := anyScenario().Draw(t, "scenario")
		sc.Indicator.Rate, sc.Openings = min(sc.Indicator.Rate, 20), 1
		sc.Indicator.Wire = Wire{Baud: 9600, Mischief: Mischief{Noise: 0.01, Missing: 0.01, Garbage: 0.05, Duplicates: 0.05, Stalls: 0.01,
			Split: rapid.SampledFrom([]Split{WholeLines, EachByte, Ragged, Blocks}).Draw(t, "split")}}
		a, err := sc.Play()
		require.NoError(t, err)
		b, err := sc.Play()
		require.NoError(t, err)
		require.Equal(t, a.Indicator, b.Indicator)
		require.Equal(t, a.Encoder, b.Encoder)
		require.Equal(t, a.Trace, b.Trace)
		require.Equal(t, a.Truth.Openings, b.Truth.Openings)
		sc.Seed++
		c, err := sc.Play()
		require.NoError(t, err)
		require.NotEqual(t, joined(a.Indicator), joined(c.Indicator))
	})
}

func TestChunksAreInOrderAndHoldTheSameBytesHoweverCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sc := anyScenario().Draw(t, "scenario")
		sc.Openings = 1
		sc.Hand.Speed += 60 * measure.Degree
		sc.Indicator.Wire.Baud = rapid.SampledFrom([]int{0, 1200, 9600, 115_200}).Draw(t, "baud")
		whole, err := sc.Play()
		require.NoError(t, err)
		for _, split := range []Split{WholeLines, EachByte, Ragged, Blocks} {
			for _, stalls := range []float64{0, 0.05} {
				sc.Indicator.Wire.Mischief = Mischief{Split: split, Stalls: stalls}
				s, err := sc.Play()
				require.NoError(t, err)
				require.True(t, slices.IsSortedFunc(s.Indicator, func(a, b Chunk) int { return int(a.At - b.At) }), "split %d", split)
				require.Equal(t, string(joined(whole.Indicator)), string(joined(s.Indicator)))
				require.Equal(t, whole.Trace, s.Trace)
				for i, c := range s.Indicator {
					if len(c.Bytes) == 0 || split == EachByte && len(c.Bytes) != 1 || split == Blocks && len(c.Bytes) > 62 {
						t.Fatalf("chunk %d of split %d has %d bytes", i, split, len(c.Bytes))
					}
				}
				require.GreaterOrEqual(t, s.Indicator[0].At, s.Trace.Readings[0].At)
			}
		}
	})
}

// Ten bits a character: 9600 baud sends 960 characters a second, so a line of
// 16 bytes takes 16.667 ms and at most 60 lines a second go through (8N1: start,
// eight and stop bit; derived).
func TestBaudPacesTheLines(t *testing.T) {
	format := Format{Layout: "01A{lift} S", Sign: PlusAlways, Whole: 3, Decimals: 4} // 16 bytes with CR LF
	s := play(t, Scenario{Indicator: Indicator{Rate: 1000, Format: format, Wire: Wire{Baud: 9600}}})
	require.Len(t, s.Indicator[0].Bytes, 16)
	assert.InDelta(t, 16_667, float64(s.Indicator[0].At-s.Trace.Readings[0].At), 1)
	for i := range s.Indicator[1:] {
		require.GreaterOrEqual(t, s.Indicator[i+1].At-s.Indicator[i].At, measure.Stamp(16_666))
	}
	lines := float64(len(s.Indicator)) / s.Truth.End.Seconds()
	assert.LessOrEqual(t, lines, 60.)
	assert.Greater(t, lines, 55.)
	assert.Len(t, s.Trace.Readings, len(s.Indicator), "what could not be sent is no reading")
}

func TestMischiefSpoilsWhatItSays(t *testing.T) {
	format := Format{Layout: "{lift} {unit}", End: "\n"}
	base := Scenario{Openings: 3, Indicator: Indicator{Format: format}}
	good := play(t, base)
	for name, m := range map[string]Mischief{
		"noise": {Noise: 0.005}, "missing": {Missing: 0.005}, "garbage": {Garbage: 0.05}, "duplicates": {Duplicates: 0.05},
	} {
		bad := base
		bad.Indicator.Wire.Mischief = m
		s := play(t, bad)
		require.Equal(t, good.Trace, s.Trace, "the readings were taken all the same")
		require.Len(t, s.IndicatorLines, len(s.Indicator))
		spoiled, again, rubbish := 0, 0, 0
		for i, l := range s.IndicatorLines {
			clean := good.Indicator[l.Reading].Bytes
			switch {
			case l.Spoiled:
				spoiled++
				require.NotEqual(t, clean, s.Indicator[i].Bytes)
			case m.Garbage > 0 && len(s.Indicator[i].Bytes) > len(clean):
				rubbish++
				before, ok := bytes.CutSuffix(s.Indicator[i].Bytes, clean)
				require.True(t, ok)
				require.False(t, bytes.ContainsAny(before, "0123456789"))
				require.Equal(t, byte('\n'), before[len(before)-1])
			default:
				require.Equal(t, clean, s.Indicator[i].Bytes)
			}
			if l.Again {
				again++
			}
		}
		n := float64(len(s.IndicatorLines))
		switch name {
		case "noise", "missing":
			assert.InDelta(t, 0.05, float64(spoiled)/n, 0.02, "a line has some ten bytes")
		case "garbage":
			assert.InDelta(t, 0.025, float64(spoiled)/n, 0.012)
			assert.InDelta(t, 0.025, float64(rubbish)/n, 0.012)
		case "duplicates":
			assert.InDelta(t, 0.05, float64(again)/n, 0.02)
			assert.Zero(t, spoiled)
		}
	}
}

func TestFormatNames(t *testing.T) {
	seen := map[string]bool{}
	for _, list := range [][]Format{Formats(), EncoderFormats(), CombinedFormats()} {
		for _, f := range list {
			require.NoError(t, f.check())
			assert.False(t, seen[f.Name], f.Name)
			seen[f.Name] = true
			got, err := FormatNamed(f.Name)
			require.NoError(t, err)
			assert.Equal(t, f, got)
		}
	}
	_, err := FormatNamed("morse")
	assert.ErrorContains(t, err, "bare-cr")
}

func TestEncodeGivesTheTraceBack(t *testing.T) {
	s := play(t, Scenario{Openings: 1, Encoder: &Encoder{}, Indicator: Indicator{Noise: 3000, Resolution: 1270}})
	for _, format := range []Format{NumberAndUnit(), CombinedFormats()[2]} {
		chunks, err := Encode(s.Trace, EncodeOptions{Unit: measure.InInches, Format: format})
		require.NoError(t, err)
		require.Len(t, chunks, len(s.Trace.Readings))
		lines := readerOf(format)
		for i, c := range chunks {
			lift, _, _ := lines.decode(t, c.Bytes, 1270, measure.InInches)
			require.Equal(t, s.Trace.Readings[i].Lift, lift)
			require.Equal(t, s.Trace.Readings[i].At, c.At)
		}
	}
	// Without a resolution every nanometre is written.
	chunks, err := Encode(measure.Trace{Readings: []measure.Reading{{Lift: -1234567, Has: measure.HasLift}, {Has: measure.HasAngle}}}, EncodeOptions{})
	require.NoError(t, err)
	require.Len(t, chunks, 1)
	assert.Equal(t, "-1.234567 mm\r\n", string(chunks[0].Bytes))
}
