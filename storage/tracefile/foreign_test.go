package tracefile

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// Each table holds the same three readings, at 0, 10 and 20 ms: 1.27 mm is
// 0.050 in, and 2.54 mm 0.100 in, exactly.
func TestTablesOfOtherPrograms(t *testing.T) {
	for name, c := range map[string]struct{ text, how string }{
		"semicolons, decimal commas": {"t_s;lift_mm\n0;0\n0,01;1,27\n0,02;2,54\n", "semicolons between columns, commas as decimal points"},
		"tabs":                       {"t_s\tlift_mm\n0\t0\n0.01\t1.27\n0.02\t2.54\n", "tabs between columns"},
		"names and units":            {"Time (s),Valve lift (mm)\n0,0\n0.01,1.27\n0.02,2.54\n", `"time (s)" as seconds, "valve lift (mm)" as lift in mm`},
		"inches":                     {"\"Elapsed time [ms]\"\t\"Lift [in]\"\n0\t0\n10\t0.050\n20\t0.100\n", `tabs between columns, "elapsed time [ms]" as milliseconds, "lift [in]" as lift in in`},
		"thou, extra column":         {"sample;time_ms;dial (thou);temperature\n1;0;0;20,5\n2;10;50;20,5\n3;20;100;20,5\n", "semicolons between columns"},
		"a column called seconds":    {"Seconds,Displacement mm\n0,0\n0.01,1.27\n0.02,2.54\n", `"seconds" as seconds`},
	} {
		t.Run(name, func(t *testing.T) {
			got, about, err := ReadAbout(strings.NewReader(c.text), Options{Name: "x.csv"})
			require.NoError(t, err)
			require.Len(t, got.Readings, 3)
			for i, r := range got.Readings {
				assert.Equal(t, measure.Stamp(i)*10*measure.Millisecond, r.At)
				assert.Equal(t, measure.Length(i)*50*measure.Thou, r.Lift)
			}
			assert.Contains(t, about.Remark, c.how)
		})
	}
	got, about, err := ReadAbout(strings.NewReader("time (s);crank angle;lift (mm)\n0;10,5;0\n0,01;11;1,27\n"), Options{})
	require.NoError(t, err)
	assert.Equal(t, measure.FromDegrees(10.5), got.Readings[0].Angle)
	assert.Contains(t, about.Remark, `"crank angle" as degrees`)
}

// What could mean two things is refused, and a column of ours goes before one
// that only looks like it.
func TestWhatCannotBeKnownOfATable(t *testing.T) {
	for text, says := range map[string]string{
		"Time,Lift (mm)\n0,1\n":               "there is no column t_s",
		"Time (s),Lift\n0,1\n":                "neither a column lift_mm",
		"Time (s),Lift (furlong)\n0,1\n":      "neither a column lift_mm",
		"Time (s),Lift (s)\n0,1\n":            "neither a column lift_mm",
		"Time (mm),Lift (mm)\n0,1\n":          "there is no column t_s",
		"time (s),lift (mm),valve (in)\n":     "two columns for the same",
		"Time (s);Lift (mm)\n0,01;1.234,56\n": "is not a number",
	} {
		_, _, err := ReadAbout(strings.NewReader(text), Options{})
		assert.ErrorContains(t, err, says, "%q", text)
	}
	got, about, err := ReadAbout(strings.NewReader("t_s,lift_mm,angle,time (ms)\n1,2,77,5\n"), Options{})
	require.NoError(t, err)
	assert.Equal(t, measure.Second, got.Readings[0].At)
	assert.Equal(t, 2*measure.Millimetre, got.Readings[0].Lift)
	assert.False(t, got.Readings[0].Has&measure.HasAngle != 0)
	assert.Empty(t, about.Remark)
}
