package find_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/lines"
	"lobescribe/device/lines/find"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
	"lobescribe/simulator"
)

// heardFrom feeds text to f, 20 lines a second, in pieces of at most size
// bytes, from a time on; it returns what came out and when it ended.
func heardFrom(f *find.Finder, text string, size int, at measure.Stamp) (all wire.Out, end measure.Stamp) {
	perByte := 50 * measure.Millisecond * measure.Stamp(strings.Count(text, "\n")) / measure.Stamp(len(text))
	var out wire.Out
	for len(text) > 0 {
		n := min(size, len(text))
		at += perByte * measure.Stamp(n)
		out.Reset()
		f.Decode(wire.Chunk{Bytes: []byte(text[:n]), At: at}, &out)
		all.Readings = append(all.Readings, out.Readings...)
		all.Refused = all.Refused.Plus(out.Refused)
		text = text[n:]
	}
	return all, at
}

func each(n int, line func(i int) string) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(line(i))
	}
	return b.String()
}

// What was found while the engine stood still may not fit when it turns; then
// it is found again, and no line is lost.
func TestFoundAgainWithoutALoss(t *testing.T) {
	const before, after = 80, 60
	for name, c := range map[string]struct{ still, turning func(i int) string }{
		"whole degrees while still": {
			func(int) string { return "angle:0 lift:0.000 mm\r\n" },
			func(i int) string { return fmt.Sprintf("angle:%.1f lift:%.3f mm\r\n", float64(i)/2, float64(i)/1000) }},
		"another layout": {
			func(int) string { return "0.5;0.000 mm\r\n" },
			func(i int) string { return fmt.Sprintf("%.3f mm @ %.1f deg\r\n", float64(i)/1000, float64(i)/2) }},
		"a word behind that was not there": {
			func(int) string { return "0.0 0.000 mm\n" },
			func(i int) string { return fmt.Sprintf("%.1f %.3f mm turning\n", float64(i)/2, float64(i)/1000) }},
	} {
		for _, size := range []int{1, 3, 17, 4000} {
			t.Run(fmt.Sprintf("%s, %d bytes at once", name, size), func(t *testing.T) {
				f := find.New(lines.Options{})
				f.BeginsQuiet()
				got, at := heardFrom(f, each(before, c.still), size, 0)
				require.Len(t, got.Readings, before)
				require.True(t, f.Found().Settled)
				assert.NotContains(t, f.Found().Says, "again")
				got, _ = heardFrom(f, each(after, c.turning), size, at)
				require.Len(t, got.Readings, after, f.Found().Says)
				assert.Zero(t, got.Refused)
				for i, r := range got.Readings {
					assert.Equal(t, measure.Length(i)*measure.Micrometre, r.Lift)
					assert.Equal(t, measure.Angle(i)*measure.Degree/2, r.Angle)
					assert.Greater(t, r.At, at)
				}
				assert.True(t, f.Found().Settled)
				assert.Contains(t, f.Found().Says, "found again")
			})
		}
	}
}

// While lines come that nothing fits, it says so; and when the old ones come
// again it reads them as before.
func TestNoiseDoesNotDriveAFormatAway(t *testing.T) {
	good := func(i int) string { return fmt.Sprintf("%.3f mm\r\n", float64(i)/1000) }
	f := find.New(lines.Options{})
	f.BeginsQuiet()
	_, at := heardFrom(f, each(80, good), 9, 0)
	require.True(t, f.Found().Settled)
	got, at := heardFrom(f, each(5, func(i int) string { return "rst cause\r\n" }), 9, at)
	assert.Equal(t, int64(5), got.Refused.Total())
	assert.True(t, f.Found().Settled, "a few lines are nothing")
	got, at = heardFrom(f, each(2000, func(i int) string { return fmt.Sprintf("\x91\x13%c\x80\r\n", 'a'+i%20) }), 9, at)
	assert.Empty(t, got.Readings)
	assert.Equal(t, int64(2000), got.Refused.Total())
	assert.False(t, f.Found().Settled)
	assert.Contains(t, f.Found().Says, "do not fit")
	got, _ = heardFrom(f, each(80, good), 9, at)
	assert.Len(t, got.Readings, 80)
	assert.Zero(t, got.Refused)
	assert.True(t, f.Found().Settled)
	assert.NotContains(t, f.Found().Says, "again")
}

// One instrument is put in the place of another: whatever the two are, each
// line of the second is read right, from its first on.
func TestOneInstrumentAfterAnother(t *testing.T) {
	var formats []simulator.Format
	for _, f := range simulator.Formats() {
		if f.SaysUnit() {
			formats = append(formats, f)
		}
	}
	require.Greater(t, len(formats), 8)
	for i, a := range formats {
		for j, b := range formats {
			t.Run(a.Name+", then "+b.Name, func(t *testing.T) {
				split := simulator.Split((i + j) % 4)
				first := session{format: a, unit: measure.InInches, rest: measure.Second, split: split}
				second := session{format: b, unit: measure.InMillimetres, rest: measure.Second, split: split}
				f := find.New(lines.Options{})
				f.BeginsQuiet()
				var out wire.Out
				var at measure.Stamp
				feed := func(s session) (got, want []measure.Reading, refused wire.Refused) {
					chunks, sent, readings := s.play(t)
					from := at
					for _, c := range chunks {
						out.Reset()
						at = from + c.At
						f.Decode(wire.Chunk{Bytes: c.Bytes, At: at}, &out)
						got, refused = append(got, out.Readings...), refused.Plus(out.Refused)
					}
					for _, l := range sent {
						want = append(want, readings[l.Reading])
					}
					return got, want, refused
				}
				got, want, _ := feed(first)
				same(t, want, got, measure.HasLift, 0)
				got, want, refused := feed(second)
				same(t, want, got, measure.HasLift, 0)
				assert.Zero(t, refused)
			})
		}
	}
}
