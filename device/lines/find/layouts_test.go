package find_test

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lobescribe/device/lines"
	"lobescribe/device/lines/find"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// Boards that people solder together write their lines in any way. Whatever the
// order, names, units and separators, as long as the line itself tells what is
// what: the readings are those that were sent, from the first line on, also
// where the engine stands still while the format is found.
func TestAnyLayoutThatTellsWhatIsWhat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pick := func(what string, of ...string) string { return rapid.SampledFrom(of).Draw(t, what) }
		separator := pick("separator", ",", ";", "\t", " ", ", ", "|")
		liftName := pick("name of lift", "", "", "lift:", "L=", "Z:", "LIFT ", "pos: ")
		unit := pick("unit", " mm", "mm", " MM")
		turnName := pick("name of angle", "", "angle:", "A:", "ang=", "DEG=", "crank: ", "TH=")
		degree := ""
		turnFirst := rapid.Bool().Draw(t, "angle first")
		if turnName == "" && !turnFirst {
			degree = pick("degrees", " deg", "deg", "°")
		}
		if liftName != "" && turnName != "" {
			unit = pick("unit or none", unit, "")
		}
		decimals := rapid.IntRange(1, 3).Draw(t, "decimals of angle")
		other := pick("beside it", "", "", "S 0", "OK", "temp:21.5", "n=17")
		end := pick("end", "\r\n", "\n", "\r")
		still := rapid.IntRange(0, 90).Draw(t, "lines at rest")
		moving := 150 - still
		step := rapid.IntRange(1, 40).Draw(t, "steps of angle a line")
		if perSecond := float64(step) * places(decimals).Degrees() / 0.03; perSecond > 0.7 && perSecond < 1.4 {
			t.Skip("as even as this, and a degree a second: that is what a clock looks like")
		}
		size := rapid.IntRange(1, 100).Draw(t, "bytes at once")
		from := rapid.IntRange(-3000, 3000).Draw(t, "lift at the start, um")

		var b strings.Builder
		var want []measure.Reading
		perPlace := int64(places(decimals))
		for i := range still + moving {
			k := int64(max(0, i-still+1) * step)
			um := int64(from + max(0, i-still+1)*7%2000)
			r := measure.Reading{Has: measure.HasLift | measure.HasAngle, Lift: measure.Length(um) * measure.Micrometre, Angle: measure.Angle(k * perPlace)}
			want = append(want, r)
			lift := liftName + r.Lift.Decimal(measure.InMillimetres, 3) + unit
			turn := fmt.Sprintf("%s%.*f%s", turnName, decimals, r.Angle.Degrees(), degree)
			parts := []string{lift, turn}
			if turnFirst {
				parts = []string{turn, lift}
			}
			if other != "" {
				parts = append(parts, other)
			}
			b.WriteString(strings.Join(parts, separator) + end)
		}

		o := lines.Options{}
		if unit == "" {
			o.Unit = measure.InMillimetres
		}
		f := find.New(o)
		f.BeginsQuiet()
		text := b.String()
		first, _, _ := strings.Cut(text, end)
		var got []measure.Reading
		var out wire.Out
		perByte := 30 * measure.Millisecond * measure.Stamp(still+moving) / measure.Stamp(len(text))
		for at := 0; at < len(text); at += size {
			upTo := min(at+size, len(text))
			out.Reset()
			f.Decode(wire.Chunk{Bytes: []byte(text[at:upTo]), At: measure.Second + perByte*measure.Stamp(upTo)}, &out)
			got = append(got, out.Readings...)
		}
		found := f.Found()
		if !found.Settled {
			t.Fatalf("%q: %s", first, found.Says)
		}
		if len(got) != len(want) {
			t.Fatalf("%q: %d readings of %d lines, found %s", first, len(got), len(want), found.Says)
		}
		for i := range want {
			if got[i].Has != want[i].Has || got[i].Lift != want[i].Lift || got[i].Angle != want[i].Angle {
				t.Fatalf("%q: line %d is %+v, sent was %+v, found %s", first, i, got[i], want[i], found.Says)
			}
		}
	})
}
