package find_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/lines"
	"lobescribe/device/lines/find"
	"lobescribe/device/lines/formats"
	"lobescribe/device/lines/guess"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// lobe is a valve that rests, opens, closes and rests, a line every 40 ms.
func lobe(i int) float64 {
	return 4.8 * (1 - math.Cos(2*math.Pi*math.Min(math.Max(float64(i-30)/60, 0), 1)))
}

func heardLines(f *find.Finder, n int, line func(i int) string) (out wire.Out) {
	for i := range n {
		f.Decode(wire.Chunk{Bytes: []byte(line(i)), At: measure.Second + measure.Stamp(i)*40*measure.Millisecond}, &out)
	}
	return out
}

// The last lines as they came, with each number where it stands and what it is
// taken for; and the column that a person names is the one that is read.
func TestTheViewOfTheLastLines(t *testing.T) {
	line := func(i int) string { return fmt.Sprintf("%d;X+0.000;Y%+.3f;21.5\r\n", 40*i, lobe(i)) }
	f := find.New(lines.Options{})
	f.BeginsQuiet()
	out := heardLines(f, 130, line)
	require.True(t, f.Found().Settled, f.Found().Says)
	require.NotEmpty(t, out.Readings)
	format, ok := f.Format()
	require.True(t, ok)
	v := f.View().Of(format, []byte("cut\r\n"+line(55)+line(60)))
	require.Len(t, v.Lines, 2)
	require.Len(t, v.Columns, 4)
	last := v.Lines[1]
	var cut []string
	for _, s := range last.Spans {
		cut = append(cut, last.Text[s.From:s.To]+" "+v.Columns[s.Column].Role.String()+" "+v.Columns[s.Column].Key)
	}
	assert.Equal(t, []string{"2400 ignored 1", "+0.000 ignored x", fmt.Sprintf("%+.3f lift y", lobe(60)), "21.5 ignored 4"}, cut)

	for key, want := range map[string]float64{"y": lobe(60), "Y": lobe(60), "3": lobe(60), "4": 21.5, "X": 0} {
		f := find.New(lines.Options{Column: key, Unit: measure.InMillimetres})
		f.BeginsQuiet()
		out := heardLines(f, 130, line)
		require.Len(t, out.Readings, 130, key)
		assert.InDelta(t, want, out.Readings[60].Lift.Millimetres(), 0.0006, key)
	}
	f = find.New(lines.Options{Column: "7"})
	assert.Empty(t, heardLines(f, 130, line).Readings)
	assert.Contains(t, f.Found().Says, "there is no column 7")
}

// Two channels in turn that both move are asked about, and a name takes one.
func TestTwoChannelsInTurn(t *testing.T) {
	line := func(i int) string {
		return fmt.Sprintf("A: %.3f mm\r\nB: %.3f mm\r\n", lobe(i), lobe(i+15)/2)
	}
	f := find.New(lines.Options{})
	f.BeginsQuiet()
	assert.Empty(t, heardLines(f, 130, line).Readings)
	assert.Contains(t, f.Found().Says, "column=")
	f = find.New(lines.Options{Column: "B"})
	f.BeginsQuiet()
	out := heardLines(f, 130, line)
	require.Len(t, out.Readings, 130, f.Found().Says)
	assert.InDelta(t, lobe(75)/2, out.Readings[60].Lift.Millimetres(), 0.0006)
	assert.Zero(t, out.Refused)
}

// What was taken while all stood still is given up when another column moves as a
// valve does; and the trace is told.
func TestAColumnThatStandsStillIsGivenUp(t *testing.T) {
	f := find.New(lines.Options{})
	f.BeginsQuiet()
	out := heardLines(f, 300, func(i int) string { return fmt.Sprintf("12.500 %d\r\n", int(1000*lobe(i-100))) })
	require.NotEmpty(t, out.Notes, f.Found().Says)
	assert.Equal(t, measure.NoteReZero, out.Notes[0].Kind)
	assert.Contains(t, f.Found().Says, "chosen again")
	last := out.Readings[len(out.Readings)-1]
	assert.Equal(t, measure.Length(0), last.Lift)
}

// Of axes at rest none is taken until one moves, whichever it is, beside a clock.
func TestAxesAtRestAreWaitedFor(t *testing.T) {
	for _, layout := range []string{"%[1]d;X+0.000;Y%+.3[2]f\r\n", "%[1]d;X%+.3[2]f;Y+0.000\r\n", "X+0.000 Y+1.250 Z%+.3[2]f T%[1]d\r\n"} {
		f := find.New(lines.Options{Port: lines.IndicatorPort, Unit: measure.InMillimetres})
		f.BeginsQuiet()
		out := heardLines(f, 260, func(i int) string { return fmt.Sprintf(layout, 40*i, lobe(i-90)) })
		require.Len(t, out.Readings, 260, "%s: %s", layout, f.Found().Says)
		assert.InDelta(t, 9.6, out.Readings[150].Lift.Millimetres(), 0.0006, layout)
		assert.Empty(t, out.Notes)
	}
}

// A refusal shows the line and says what may be done.
func TestARefusalIsANextStep(t *testing.T) {
	f := find.New(lines.Options{})
	heardLines(f, 130, func(i int) string { return fmt.Sprintf("<%c%d%c%d|%d>>\r\n", 'a'+i%20, i%7, 'g'+i%11, i%5, i%3) })
	says := f.Found().Says
	require.False(t, f.Found().Settled, says)
	for _, want := range []string{"The last line is", "formats new ADDRESS", "doctor ADDRESS", "baud rate"} {
		assert.Contains(t, says, want)
	}
}

// Quoted text is never a number or an inch mark.
func TestQuotedTextIsNoNumber(t *testing.T) {
	f := find.New(lines.Options{})
	f.BeginsQuiet()
	out := heardLines(f, 130, func(i int) string {
		return fmt.Sprintf("{\"node\":\"C1\",\"serial\":\"0042\",\"at\":\"12:03:%02d\",\"lift_mm\":%.3f}\n", i%60, lobe(i))
	})
	require.Len(t, out.Readings, 130, f.Found().Says)
	assert.InDelta(t, lobe(60), out.Readings[60].Lift.Millimetres(), 0.0006)
	assert.Empty(t, f.Found().Assumes)
}

// A format made from one line reads that line.
func TestADraftReadsItsLine(t *testing.T) {
	for line, want := range map[string]string{"X+0.00;12.345;7": "0 mm", "Height (in): 0.500": "12.7 mm", "1.250 mm OK": "1.25 mm", "82": "82 mm"} {
		f, ok := guess.Draft([]byte(line), "mine")
		require.True(t, ok, line)
		var text strings.Builder
		require.NoError(t, formats.Write(&text, f))
		own, err := formats.Read(strings.NewReader(text.String()), "mine.toml")
		require.NoError(t, err, text.String())
		f, err = own.Named("mine")
		require.NoError(t, err)
		d, out := lines.NewDecoder(f, lines.Options{}), wire.Out{}
		d.BeginsQuiet()
		d.Decode(wire.Chunk{Bytes: []byte(line + "\r\n")}, &out)
		require.Len(t, out.Readings, 1, line)
		assert.Equal(t, want, out.Readings[0].Lift.String(), line)
	}
	_, ok := guess.Draft([]byte("no number here"), "mine")
	assert.False(t, ok)
}
