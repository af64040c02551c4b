package find_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/internal/corpus"
	"lobescribe/device/lines"
	"lobescribe/device/lines/find"
	"lobescribe/device/measure"
)

// listenTo feeds lines to a finder, ten a second, and returns what came out.
func listenTo(t *testing.T, o lines.Options, n int, line func(i int) string) (*find.Finder, []measure.Reading) {
	t.Helper()
	var b strings.Builder
	size := 0
	for i := range n {
		l := line(i)
		b.WriteString(l)
		size = len(l)
	}
	f := find.New(o)
	// Run lets a byte take 20 ms.
	out := corpus.Run(f, []byte("\r\n"+b.String()), max(1, size/3))
	return f, out.Readings
}

func TestFinding(t *testing.T) {
	for _, c := range []struct {
		name  string
		o     lines.Options
		line  func(i int) string
		says  string
		check func(t *testing.T, r measure.Reading, i int)
	}{
		{"inch by its fives", lines.Options{}, func(i int) string { return fmt.Sprintf("%.4f\r", float64(i)*0.0005) }, "assumed in",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Length(i)*measure.Thou/2, r.Lift)
			}},
		{"millimetres by their hundredths", lines.Options{}, func(i int) string { return fmt.Sprintf("%6.2f\r\n", float64(i)*0.01) }, "assumed mm",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Length(i)*10*measure.Micrometre, r.Lift)
			}},
		{"a unit that was said wins", lines.Options{Unit: measure.InInches}, func(i int) string { return fmt.Sprintf("%.2f\r\n", float64(i)*0.01) }, "in as you said",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Length(i)*10*measure.Thou, r.Lift)
			}},
		{"whole numbers", lines.Options{}, func(i int) string { return fmt.Sprintf("%05d\n", i) }, "assumed 0.001 mm a count",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Length(i)*measure.Micrometre, r.Lift)
			}},
		{"degrees and lift by position", lines.Options{}, func(i int) string { return fmt.Sprintf("%.1f %.3f\n", float64(i)*0.5, 5+float64(i%7)*0.001) }, "angle, by its place: 1 decimals | lift: 3 decimals",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Angle(i)*measure.Degree/2, r.Angle)
				assert.Equal(t, 5*measure.Millimetre+measure.Length(i%7)*measure.Micrometre, r.Lift)
			}},
		{"lift first by its unit", lines.Options{}, func(i int) string { return fmt.Sprintf("%.4f in;%d.0 deg\n", 0.1, i) }, "lift: 4 decimals, in behind it | angle",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Angle(i)*measure.Degree, r.Angle)
				assert.Equal(t, 100*measure.Thou, r.Lift)
			}},
		{"tags tell", lines.Options{}, func(i int) string { return fmt.Sprintf("Z:%.3f\tANG:%.2f\n", 1.5, float64(i)) }, `lift: "Z:" before it`,
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Angle(i)*measure.Degree, r.Angle)
				assert.Equal(t, 1500*measure.Micrometre, r.Lift)
			}},
		{"a board's clock is left out", lines.Options{}, func(i int) string { return fmt.Sprintf("%d,%.3f\r\n", 123456+i*280, 1.5) }, "left out (looks like a clock)",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, 1500*measure.Micrometre, r.Lift)
				assert.Equal(t, measure.HasLift, r.Has)
			}},
		{"clock, counts and lift", lines.Options{Crank: corpus.Crank{}}, func(i int) string { return fmt.Sprintf("%d,%d,%.3f\r\n", 123456+i*340, 77, 1.5) }, "left out (looks like a clock): whole numbers | counts: whole numbers | lift",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.HasLift|measure.HasAngle, r.Has)
			}},
		{"a number of the line, counts and lift", lines.Options{Crank: corpus.Crank{}}, func(i int) string { return fmt.Sprintf("%d,%d,%.3f\r\n", 1000+i, 77, 1.5) }, "left out (say counts= if these are an encoder's): whole numbers | counts: whole numbers | lift",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.HasLift|measure.HasAngle, r.Has)
			}},
		{"an evenly turned crank is no clock", lines.Options{}, func(i int) string { return fmt.Sprintf("%.2f %.2f\r\n", float64(i)*0.6, 1.5) }, "angle, by its place",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Angle(i)*measure.Degree*6/10, r.Angle)
			}},
		{"a clock in seconds is no crank", lines.Options{}, func(i int) string { return fmt.Sprintf("%.2f %.2f\r\n", 10+float64(i)*0.24, 1.5) }, "left out (looks like a clock)",
			func(t *testing.T, r measure.Reading, i int) { assert.Equal(t, measure.HasLift, r.Has) }},
		{"two indicators on one board", lines.Options{}, func(i int) string { return fmt.Sprintf("A:%.3f B:%.3f\r\n", float64(i)/1000, 1.5) }, "lift",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.HasLift, r.Has)
				assert.Equal(t, measure.Length(i)*measure.Micrometre, r.Lift)
			}},
		{"a temperature behind the lift", lines.Options{}, func(i int) string { return fmt.Sprintf("lift:%.3f mm temp:%.1f\r\n", float64(i)/1000, 21.5) }, "lift",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.HasLift, r.Has)
				assert.Equal(t, measure.Length(i)*measure.Micrometre, r.Lift)
			}},
		{"a letter for the unit", lines.Options{}, func(i int) string { return fmt.Sprintf("%+08.4fI\r", float64(i)*0.0005) }, "the letter I of its unit behind it",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Length(i)*measure.Thou/2, r.Lift)
			}},
		{"a unit parted by a comma", lines.Options{}, func(i int) string { return fmt.Sprintf("LIFT,%.4f,in\r\n", float64(i)*0.0005) }, `lift: "LIFT," before it`,
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Length(i)*measure.Thou/2, r.Lift)
			}},
		{"a name and a status as columns", lines.Options{}, func(i int) string {
			return fmt.Sprintf("IND;%.3f mm;%s\r\n", float64(i)/1000, []string{"OK", "MOVING"}[i%2])
		}, `left out: words | lift`,
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Length(i)*measure.Micrometre, r.Lift)
			}},
		{"counts without their number a turn", lines.Options{}, func(i int) string { return fmt.Sprintf("%d,%.3f\r\n", 77, 1.5) }, "say counts= if these are an encoder's",
			func(t *testing.T, r measure.Reading, i int) { assert.Equal(t, measure.HasLift, r.Has) }},
		{"chatter before", lines.Options{}, func(i int) string {
			if i < 5 {
				return []string{"rst:0x1 (POWERON)\r\n", "\xff\xfe\x80\r\n", "load 4010\r\n", "\r\n", "ready\r\n"}[i]
			}
			return fmt.Sprintf("%.3f mm\r\n", float64(i-5)/1000)
		}, "mm behind it",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Length(i)*measure.Micrometre, r.Lift)
			}},
		{"semicolons and no ends of line", lines.Options{}, func(i int) string { return fmt.Sprintf("%+.3f mm;", float64(i)/1000) }, "ends in a semicolon",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Length(i)*measure.Micrometre, r.Lift)
			}},
		{"trailing zeros dropped", lines.Options{}, func(i int) string { return fmt.Sprintf("%v mm\n", float64(i)/100) }, "0 to 2 decimals",
			func(t *testing.T, r measure.Reading, i int) {
				assert.Equal(t, measure.Length(i)*10*measure.Micrometre, r.Lift)
			}},
	} {
		t.Run(c.name, func(t *testing.T) {
			const n = 80
			f, got := listenTo(t, c.o, n, c.line)
			found := f.Found()
			require.True(t, found.Settled, found.Says)
			assert.Contains(t, found.Says, c.says)
			assert.Equal(t, strings.Contains(found.Says, "assumed"), found.Assumed)
			require.GreaterOrEqual(t, len(got), n-10)
			skip := 0
			if c.name == "semicolons and no ends of line" {
				skip = 1 // the first was not whole
			}
			for i, r := range got {
				c.check(t, r, i+skip)
			}
		})
	}
}

func TestWhatCannotBeFoundIsSaid(t *testing.T) {
	f, got := listenTo(t, lines.Options{}, 100, func(i int) string { return fmt.Sprintf("\x91\x13%c\x80\r\n", 'a'+i%20) })
	assert.Empty(t, got)
	assert.False(t, f.Found().Settled)
	assert.Contains(t, f.Found().Says, "is the baud rate right")
	f, _ = listenTo(t, lines.Options{}, 300, func(i int) string { return "0123456789" })
	assert.False(t, f.Found().Settled)
	f, _ = listenTo(t, lines.Options{}, 3, func(i int) string { return "x" })
	assert.Contains(t, f.Found().Says, "listening")
}

func TestFinderKeepsItsFormatOverAReconnect(t *testing.T) {
	f, _ := listenTo(t, lines.Options{}, 80, func(i int) string { return "1.500 mm\r\n" })
	require.True(t, f.Found().Settled)
	f.Reset()
	got := corpus.Run(f, []byte("00 mm\r\n1.500 mm\r\n"), 4)
	require.Len(t, got.Readings, 1)
	assert.Equal(t, 1500*measure.Micrometre, got.Readings[0].Lift)
}
