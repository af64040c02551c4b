package tracefile

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// Each text holds the same three readings, at 0, 10 and 20 ms: 1.27 mm is
// 0.050 in, and 2.54 mm 0.100 in, exactly (1 in = 25.4 mm, ISO 1959:1976 and the
// international yard and pound agreement of 1959).
func TestTablesThatAreLaidOutOtherwise(t *testing.T) {
	for name, c := range map[string]struct{ text, how string }{
		"dates and times":            {"Timestamp;Lift (mm)\n2026-11-28 22:07:01,000;0\n2026-11-28 22:07:01,010;1,27\n2026-11-28 22:07:01,020;2,54\n", `"timestamp" as time of day`},
		"ISO 8601, zone, Z":          {"time,lift (mm)\n2026-11-28T22:07:01Z,0\n2026-11-28T23:07:01.01+01:00,1.27\n2026-11-28T22:07:01.02Z,2.54\n", `"time" as time of day`},
		"over midnight":              {"time,lift_mm\n23:59:59.99,0\n0:00:00,1.27\n00:00:00.01,2.54\n", `"time" as time of day`},
		"over midnight, month first": {"date/time,lift_mm\n11/12/2026 11:59:59.99 PM,0\n11/13/2026 12:00:00 AM,1.27\n11/13/2026 12:00:00.01 AM,2.54\n", "time of day"},
		"over midnight, day first":   {"date/time,lift_mm\n11/12/2026 23:59:59.99,0\n12/12/2026 00:00:00,1.27\n12/12/2026 00:00:00.01,2.54\n", "time of day"},
		"minutes and seconds":        {"clock,lift_mm\n59:59.99,0\n1:00:00,1.27\n1:00:00.01,2.54\n", "time of day"},
		"units below":                {"Time,Valve lift,Ambient\n(ms),(in),degC\n0,0,20\n10,.05,20\n20,.1,20\n", ""},
		"a row of units":             {"Time,Valve lift\n[ms],[in]\n0,0\n10,.05\n20,.1\n", `"time (ms)" as milliseconds, "valve lift (in)" as lift in in`},
		"lines above the header":     {"Bench two\nExported: 28.11.2026; 4 channels\n\nTime (s);Lift (mm)\n0;0\n0,01;1,27\n0,02;2,54\n", "3 lines above the header passed over"},
		"blanks between columns":     {"t_s   lift_mm\n0.00  0\n0.01  1.27\n  0.02  2.54\n", "blanks between columns"},
		"commas for both":            {"t_s,lift_mm\n0,00,0,0\n0,01,1,27\n0,02,2,54\n", "commas between columns and in numbers"},
		"decimal commas in quotes":   {"t_s,lift_mm\n\"0,00\",\"0,0\"\n\"0,01\",\"1,27\"\n\"0,02\",\"2,54\"\n", ""},
		"an empty column at the end": {"time (s);lift (mm)\n0;0;\n0,01;1,27;\n0,02;2,54;\n", "semicolons"},
		"centimetres":                {"time (s),travel (cm)\n0,0\n.01,.127\n.02,.254\n", "lift in cm"},
		"clock beside a stop watch":  {"Time of day,Elapsed (ms),Lift (mm)\n22:07:01,0,0\n22:07:01,10,1.27\n22:07:01,20,2.54\n", `"elapsed (ms)" as milliseconds`},
	} {
		t.Run(name, func(t *testing.T) { threeReadings(t, c.text, Options{}, c.how) })
	}
}

// threeReadings reads a text that holds 0, 1.27 and 2.54 mm at 0, 10 and 20 ms.
func threeReadings(t *testing.T, text string, o Options, how string) {
	got, about, err := ReadAbout(strings.NewReader(text), o)
	require.NoError(t, err)
	require.Len(t, got.Readings, 3)
	for i, r := range got.Readings {
		assert.Equal(t, measure.Stamp(i)*10*measure.Millisecond, r.At, "reading %d", i)
		assert.Equal(t, measure.Length(i)*50*measure.Thou, r.Lift, "reading %d", i)
	}
	assert.Contains(t, about.Remark, how)
}

// What is said on the command line or the page goes before what a header says.
func TestChosenColumns(t *testing.T) {
	for name, c := range map[string]struct{ text, choose, how string }{
		"no header":              {"0;0\n0,01;1,27\n0,02;2,54\n", "time=1:s,lift=2:mm", `"column 2" as lift in mm`},
		"no header, blanks":      {"0 7 0\n10 7 .05\n20 7 .1\n", "lift=3:in,time=1:ms", "blanks between columns"},
		"names":                  {"Zeit;Hub\n0;0\n10;50\n20;100\n", "time=zeit:ms,lift=Hub:thou", `"hub" as lift in thou`},
		"a name with a comma":    {"\"Zeit, s\",\"Hub, mm\"\n0,0\n0.01,1.27\n0.02,2.54\n", `time="Zeit, s",lift="Hub, mm"`, `"hub, mm" as lift in mm`},
		"unit in the name":       {"Ch 1 (s);Ch 2 (in)\n0;0\n,01;,05\n,02;,1\n", "time=1,lift=2", "lift in in"},
		"no times":               {"Hub\n0\n1.27\n2.54\n", "lift=1:mm,rate=100", "100 rows a second"},
		"no times, no header":    {"0\n1.27\n2.54\n", "lift=1:mm,rate=100", "100 rows a second"},
		"a clock by its number":  {"x;y\n22:07:01,00;0\n22:07:01,01;1,27\n22:07:01,02;2,54\n", "time=1,lift=2:mm", "time of day"},
		"lines above":            {"Rig 7\nrun 4\n\nA;B\n0;0\n0,01;1,27\n0,02;2,54\n", "time=1:s,lift=2:mm", "3 lines above the header passed over"},
		"lines above, no header": {"Rig 7\n0;0\n0,01;1,27\n0,02;2,54\n", "time=1:s,lift=2:mm", "the line above the numbers passed over"},
		"only the decimal sign":  {"time (s),lift (mm)\n\"0\",\"0\"\n\"0,010\",\"1,270\"\n\"0,020\",\"2,540\"\n", "decimal=comma", "commas as decimal points"},
		"ours, another column":   {"t_s,lift_mm,other_mm\n0,9,0\n0.01,9,1.27\n0.02,9,2.54\n", "time=t_s,lift=other_mm", `"other_mm" as lift in mm`},
	} {
		t.Run(name, func(t *testing.T) {
			choice, err := ParseChoice(c.choose)
			require.NoError(t, err)
			threeReadings(t, c.text, Options{Columns: choice}, c.how)
		})
	}
	choice, err := ParseChoice("angle=1:rad,lift=2:mm")
	require.NoError(t, err)
	got, _, err := ReadAbout(strings.NewReader("0 0\n3.14159265358979 1\n6.28318530717959 2\n"), Options{Columns: choice})
	require.NoError(t, err)
	for i, r := range got.Readings { // half a turn is pi radians
		assert.Equal(t, measure.Angle(i)*180*measure.Degree, r.Angle)
	}
}

// A table off a degree wheel has no times: rows come as if the crank was turned
// evenly, whichever way the wheel counts and wherever it begins again.
func TestTableOffADegreeWheel(t *testing.T) {
	const step = 10 * measure.Second / wheelRate // ten degrees
	for _, text := range []string{
		"angle_deg,lift_mm\n340,0\n350,1\n0,2\n10,3\n",
		"Degrees;Lift (mm)\n-20;0\n-10;1\n0;2\n10;3\n",
		"crank angle\tdial (in)\n20\t0\n10\t0.0393700787\n0\t0.0787401575\n350\t0.1181102362\n",
		"Wheel   Lift_mm\n20  0\n30  1\n40  2\n50  3\n",
		"crank,lift\ndeg,mm\n20,0\n30,1\n40,2\n50,3\n",
	} {
		got, about, err := ReadAbout(strings.NewReader(text), Options{})
		require.NoError(t, err, text)
		require.Len(t, got.Readings, 4)
		for i, r := range got.Readings {
			assert.Equal(t, measure.Stamp(i)*step, r.At, text)
			assert.Equal(t, measure.Length(i)*measure.Millimetre, r.Lift, text)
			assert.True(t, r.Has == measure.HasLift|measure.HasAngle)
			by := (r.Angle - got.Readings[0].Angle) // ten degrees a row, one way or the other
			assert.Equal(t, measure.Angle(i)*10*measure.Degree, max(by, -by), text)
		}
		assert.Contains(t, about.Remark, "as if turned at 30 degrees a second")
	}
	_, _, err := ReadAbout(strings.NewReader("angle_deg,lift_mm\n340,0\n,1\n"), Options{})
	assert.ErrorContains(t, err, "line 3: the row has no angle; in a table without times every row needs one")
}

// A date tells when the trace began, unless it might be two days.
func TestWhenATableBegan(t *testing.T) {
	for text, want := range map[string]string{
		"2026-11-28T22:07:01.5+01:00": "2026-11-28T21:07:01.5Z",
		"28-Nov-2026 10:07:01.5 PM Z": "2026-11-28T22:07:01.5Z",
		"28/11/2026 22:07:01.5Z":      "2026-11-28T22:07:01.5Z",
		"11/28/2026 22:07:01.5Z":      "2026-11-28T22:07:01.5Z",
		"11/12/2026 22:07:01.5Z":      "",
		"22:07:01.5":                  "",
	} {
		_, about, err := ReadAbout(strings.NewReader("time;lift_mm\n"+text+";1\n"), Options{})
		require.NoError(t, err, text)
		if want == "" {
			assert.True(t, about.Started.IsZero(), text)
			continue
		}
		assert.Equal(t, want, about.Started.UTC().Format("2006-01-02T15:04:05.999Z07:00"), text)
	}
}

// What a file does not tell is asked for in words that help; what was chosen and is
// not there is refused.
func TestTablesThatCannotBeRead(t *testing.T) {
	for name, c := range map[string]struct{ text, choose, says string }{
		"a clock that stands still":  {"time;lift_mm\n22:07:01;1\n22:07:01;2\n", "", "line 3: all readings have the time 0 s; give them a clock with more decimals, or choose the columns without the time"},
		"hours and minutes":          {"time;lift_mm\n22:07;1\n", "", "no column t_s"},
		"a clock that breaks":        {"time;lift_mm\n22:07:01.5;1\n22:61:01;2\n", "", `line 3: time is "22:61:01": that is no time of day`},
		"a date that is none":        {"time;lift_mm\n2026-02-30 22:07:01.5;1\n", "", "no column t_s"},
		"thousand or decimal":        {"time (s),lift (mm)\n\"1,234\",1\n", "", "a thousand or a decimal comma?"},
		"one decimal is missing":     {"t_s,lift_mm\n0,01,1,27\n0,02,2\n", "", "the row has 3 parts between commas"},
		"time goes back":             {"time,lift_mm\n22:07:02.5,1\n22:07:01.5,2\n", "", "readings must be in order of time"},
		"no header":                  {"0,1\n0.01,2\n", "", "the header row is missing"},
		"only a lift":                {"Lift (mm)\n1\n2\n", "", "there is no column t_s"},
		"column not there":           {"a;b\n1;2\n", "time=1:s,lift=3:mm", "there is no column 3: the row has 2"},
		"name not there":             {"a;b\n1;2\n", "time=a:s,lift=hub:mm", `there is no column "hub": the columns are ["a" "b"]`},
		"no unit":                    {"a;b\n1;2\n", "time=1:s,lift=2", `nothing says what unit "b" is in: say it behind the column, as in lift=2:mm`},
		"words in a chosen column":   {"a;b\nx;y\n", "time=1:s,lift=2:mm", "has no numbers in the chosen columns"},
		"JSON lines":                 {"{\"t_s\":1,\"lift_mm\":2}\n", "time=1:s,lift=2:mm", "columns can be chosen in a table of text only, and this is jsonl"},
		"a header alone":             {"a;b\n", "time=1:s,lift=2:mm", "there are no readings in it, only a header"},
		"rows that end early":        {"a;b\n1;2\n3\n", "time=1:s,lift=2:mm", "line 3: the row has 1 cells, the header 2"},
		"a quote that is not closed": {"a;b\n1;2\n3;\"4\n", "time=1:s,lift=2:mm", "line 3: a quote is opened and never closed"},
		"too large":                  {"a;b\n1;99999999999999999999\n", "time=1:s,lift=2:mm", "too large for any bench"},
	} {
		t.Run(name, func(t *testing.T) {
			choice, err := ParseChoice(c.choose)
			require.NoError(t, err)
			_, _, err = ReadAbout(strings.NewReader(c.text), Options{Columns: choice})
			assert.ErrorContains(t, err, c.says)
			var f *Fault
			assert.True(t, errors.As(err, &f), "%v", err)
		})
	}
}

func TestParseChoiceRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"lift":                       `"lift" is no choice`,
		"lift=":                      "is no choice",
		"hight=2":                    `there is no "hight": time, lift, angle, rate`,
		"lift=0:mm":                  "columns count from 1",
		"lift=1:furlong":             `unit "furlong" is not known`,
		"time=1:mm,lift=2:mm":        `unit "mm" is none of time: write s, ms, us or clock`,
		"angle=1:s,lift=2:mm":        "none of an angle: write deg, rad or turns",
		"time=1:s":                   "no column is chosen for the lift",
		"lift=1:mm":                  "nothing says when the rows were measured",
		"lift=1:mm,rate=0":           "rate=0 is not a number of rows a second",
		"lift=1:mm,rate=NaN":         "rate=NaN is not a number of rows a second",
		"time=1:s,lift=1:mm":         "one column is chosen for two things",
		"time=1:s,lift=2:mm,lift=3":  "lift is chosen twice",
		"time=1:s,lift=2:mm,rate=50": "time and rate say the same",
		"decimal=dot":                "comma or point",
		"separator=|":                "comma, semicolon, tab or space",
		`lift="a:mm`:                 "quotes of",
	} {
		_, err := ParseChoice(text)
		assert.ErrorContains(t, err, says, text)
	}
}

// What a text looked like goes with the refusal, so that somebody may choose.
func TestLookOfATableThatWasRefused(t *testing.T) {
	look := func(text string) *Table {
		_, err := NewReader(strings.NewReader(text), Options{})
		var f *Fault
		require.ErrorAs(t, err, &f)
		require.NotNil(t, f.Table)
		return f.Table
	}
	got := look("Rig 7, run 4\nZeit;Hub;Crank\n22:07:01,5;1,27;10\n22:07:01,6;2,54;20\n")
	assert.Equal(t, &Table{Names: []string{"Zeit", "Hub", "Crank"},
		Rows:  [][]string{{"22:07:01,5", "1,27", "10"}, {"22:07:01,6", "2,54", "20"}},
		Taken: []string{"time:clock", "", "angle:deg"}}, got)
	got = look("0 1\n2 3\n")
	assert.Equal(t, &Table{Names: []string{"", ""}, Rows: [][]string{{"0", "1"}, {"2", "3"}}, Taken: []string{"", ""}}, got)
	got = look("Time (s),Lift\n0,1\n")
	assert.Equal(t, []string{"time:s", ""}, got.Taken)
	got = look(strings.Repeat("x", 5000) + ",y\n1,2\n")
	assert.Len(t, got.Names[0], 40)
}

// However a text is cut and whatever it holds, reading it ends in readings or in a
// sentence; and what was refused can be looked at.
func FuzzTables(f *testing.F) {
	seeds := []string{"Time (s);Lift (mm)\n0;0\n0,01;1,27\n", "a;b\n1;2\n", "22:07:01,5 1\n", "t,lift\ns,mm\n1,2\n", "\t\n", "\"a\n\";b\n1;2\n", "angle_deg,lift_mm\n340,0\n0,2\n"}
	require.NotEmpty(f, seeds)
	for i, text := range seeds {
		f.Add(text, []string{"", "time=1:s,lift=2:mm", "lift=1:in,rate=50", "decimal=comma"}[i%4])
	}
	f.Fuzz(func(t *testing.T, text, choose string) {
		choice, err := ParseChoice(choose)
		if err != nil {
			return
		}
		got, _, err := ReadAbout(strings.NewReader(text), Options{Columns: choice})
		if err == nil {
			require.NotEmpty(t, got.Readings)
			for i := 1; i < len(got.Readings); i++ {
				require.LessOrEqual(t, got.Readings[i-1].At, got.Readings[i].At)
			}
			return
		}
		require.NotEmpty(t, err.Error())
		require.NotContains(t, err.Error(), "%!")
	})
}

// A table is read batch by batch like any trace, however long it is.
func TestTableOfManyRows(t *testing.T) {
	var b bytes.Buffer
	b.WriteString("Zeit;Hub\n")
	const n = 50_000
	for i := range n {
		fmt.Fprintf(&b, "%d,%02d;%d,%03d\n", i/100, i%100, i%12, i%1000)
	}
	choice, err := ParseChoice("time=1:s,lift=2:mm")
	require.NoError(t, err)
	r, err := NewReader(&b, Options{Columns: choice})
	require.NoError(t, err)
	seen := 0
	for {
		batch, err := r.Next()
		if err != nil {
			break
		}
		for _, x := range batch {
			require.Equal(t, measure.Stamp(seen)*10*measure.Millisecond, x.At)
			require.Equal(t, measure.Length(seen%12)*measure.Millimetre+measure.Length(seen%1000)*measure.Micrometre, x.Lift)
			seen++
		}
	}
	assert.Equal(t, n, seen)
}
