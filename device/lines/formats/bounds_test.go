package formats_test

import (
	"fmt"
	"math/big"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// A format is a person's own, and may have been made by a program, or sent by
// somebody: what takes minutes to read, floods each line with words or moves the
// terminal is refused with its line.
func TestFormatsThatAttack(t *testing.T) {
	file := func(name, more, column string) string {
		return "[[format]]\nname = \"" + name + "\"\n" + more + "\n[[format.column]]\nrole = \"lift\"\nunit = \"mm\"\n" + column + "\n"
	}
	list := func(n int, item string) string {
		var all []string
		for i := range n {
			all = append(all, fmt.Sprintf(item, i))
		}
		return "[" + strings.Join(all, ",") + "]"
	}
	for name, c := range map[string]struct{ text, says string }{
		"a key of many parts":       {strings.Repeat("a.", 100_000) + "b = 1", "nested deeper"},
		"tables in tables":          {"a = " + strings.Repeat("{b=", 50_000), "nested deeper"},
		"lists in lists":            {"a = " + strings.Repeat("[", 200_000), "nested deeper"},
		"a head of many parts":      {"[" + strings.Repeat("a.", 100_000) + "b]", "nested deeper"},
		"a long name":               {file(strings.Repeat("x", 100_000), "", ""), "100000 letters; it may have 64"},
		"a bell in a name":          {file(`x\u0007`, "", ""), "control character"},
		"a line's end in a name":    {file(`x\ny`, "", ""), "control character"},
		"a name turned round":       {file(`x\u202ey`, "", ""), "control character"},
		"a terminal's title":        {file("x", `says = "\u001b]0;title\u0007"`, ""), "control character"},
		"a word that moves":         {file("x", `words = [{ text = "\u001b[2J" }]`, ""), "control character"},
		"a long sentence":           {file("x", `says = "`+strings.Repeat("s", 500_000)+`"`, ""), "500000 letters; it may have 200"},
		"sixty thousand tags":       {file("x", "", "tags = "+list(60_000, `"T%d"`)), "60000 tags"},
		"as many words":             {file("x", "words = "+list(20_000, `{text="W%d"}`), ""), "20000 tags"},
		"as many statuses":          {file("x", "", "status = "+list(20_000, `{text="S%d"}`)), "20000 tags"},
		"as many beginnings":        {file("x", "skip = "+list(60_000, `"S%d"`), ""), "60000 tags"},
		"a tag longer than a line":  {file("x", "", `tags = ["`+strings.Repeat("T", 1000)+`"]`), "1000 bytes"},
		"a long question":           {file("x", `poll = "`+strings.Repeat("?", 1000)+`"`, ""), "poll has 1000 bytes"},
		"an unknown check":          {file("x", `check = "`+strings.Repeat("c", 500_000)+`"`, ""), "the check"},
		"decimals beyond":           {file("x", "", "decimals = 999999999"), "decimals must be from 0 to 9"},
		"a scale that is no number": {file("x", "", `scale = "NaN mm"`), "is not a length"},
		"a scale without end":       {file("x", "", `scale = "1e308 mm"`), "is not a length"},
		"a line without end":        {file("x", "max_line = 9223372036854775807", ""), "from 1 to 4096"},
		"a number that is none":     {file("x", "max_line = nan", ""), "incompatible types"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			began := time.Now()
			_, err := formats.Read(strings.NewReader(c.text), "own.toml")
			require.ErrorContains(t, err, c.says)
			assert.Regexp(t, `^formats file own.toml, line [1-9][0-9]*: `, err.Error())
			assert.Less(t, len(err.Error()), 1500)
			assert.Less(t, time.Since(began), 5*time.Second)
			assert.NotRegexp(t, "[\x00-\x1f\x7f\u202e]", err.Error())
		})
	}
	for _, sound := range []string{ownFormat, file("x", `says = "a \" [[[[ { # . . . in a text"`, "tags = ['[', \"{\", '''a.b.c''']") + "# [[[[[[\n"} {
		assert.Zero(t, formats.TooDeep(sound))
	}
}

// Whatever a format says and a device sends, a reading is the number of the line,
// worked out here with fractions, and within what a length can be.
func TestFormatsThatMatchAnything(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 2))
	scales := []measure.Length{0, 1, measure.Micrometre, measure.Millimetre, 9_000_000_000 * measure.Millimetre}
	pieces := []string{"0", "-0", "+0", "-0.000", "1", "-1", "0.001", "9223372036854775807", "-9223372036854775808", "18446744073709551616",
		"9223372036.854775807", "1e308", "1E+308", "NaN", "nan", "inf", "-Infinity", "--1", "+-1", "1.", ".5", ".", "-", "1_000", "0x1p9", "１", "²",
		"00000000000000000000000000000001", "1.00000000000000000000000000000001", "99999999", "400000000"}
	tags := []string{" ", "-", "1", "12", "e", "T"}
	readings := 0
	for range 3000 {
		f := lines.Format{Name: "x", Columns: []lines.Column{{Role: lines.Lift, Unit: measure.InMillimetres, Scale: scales[rng.IntN(len(scales))], Decimals: rng.IntN(4) * 3,
			Tags: tags[:rng.IntN(len(tags))], UnitRule: lines.UnitRule(rng.IntN(3))}}, Jump: 1 << 60}
		f.Columns[0].Whole = f.Columns[0].Scale > 0
		if f.Columns[0].Whole {
			f.Columns[0].Decimals = 0
		}
		require.NoError(t, f.Validate())
		d := lines.NewDecoder(f, lines.Options{})
		d.BeginsQuiet()
		piece := pieces[rng.IntN(len(pieces))]
		for i := range 3 { // the third is held against nothing any more
			out := wire.Out{}
			d.Decode(wire.Chunk{At: measure.Stamp(i) * measure.Second, Bytes: []byte(piece + "\n")}, &out)
			for _, r := range out.Readings {
				readings++
				want, ok := new(big.Rat).SetString(piece)
				if !ok || len(f.Columns[0].Tags) > 0 {
					continue // a tag may have taken a part of it
				}
				per := f.Columns[0].Scale
				if per == 0 {
					per = measure.Millimetre
				}
				want.Mul(want, new(big.Rat).SetInt64(int64(per)))
				require.True(t, want.IsInt() && want.Num().IsInt64(), "%q with %+v is %v", piece, f, r.Lift)
				require.Equal(t, want.Num().Int64(), int64(r.Lift), "%q with %+v", piece, f)
			}
		}
	}
	assert.Positive(t, readings)
}
