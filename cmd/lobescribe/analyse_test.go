package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage/tracefile"
)

// A trace of several batches with a hole in its times gives the same findings
// out of a file of each format as it gives in memory.
func TestAnalyseFile(t *testing.T) {
	session, err := simulator.Scenario{Seed: 21, Openings: 4, Encoder: &simulator.Encoder{},
		Indicator: simulator.Indicator{Rate: 500, Unit: measure.InMillimetres, Noise: 2000,
			Lost: []simulator.Loss{{At: 20 * measure.Second, For: 3 * measure.Second}}}}.Play()
	require.NoError(t, err)
	trace := session.Trace
	require.Greater(t, len(trace.Readings), 3*4096)
	for _, format := range []tracefile.Format{tracefile.CSV, tracefile.JSONLines, tracefile.Parquet} {
		name := filepath.Join(t.TempDir(), "turn")
		var text bytes.Buffer
		require.NoError(t, tracefile.Write(&text, trace, format))
		require.NoError(t, os.WriteFile(name, text.Bytes(), 0o600))
		stored, err := tracefile.ReadFile(name)
		require.NoError(t, err)
		want, err := lift.Analyse(stored, lift.Options{})
		require.NoError(t, err)
		require.NotEmpty(t, want.Openings)
		got, err := analyseFile(command(t), name, lift.Options{})
		require.NoError(t, err)
		assert.Equal(t, want, got, "format %v", format)
		gaps := 0
		for _, f := range got.Faults {
			if f.Kind == lift.Gap {
				gaps++
			}
		}
		assert.Equal(t, 1, gaps, "format %v", format)
	}
}

// Lift and angle of one moment on two rows are a trace as on one: the findings are the same
// out of a file of each format and of what is imported, and what is stored are the rows.
func TestRowsOfTheirOwn(t *testing.T) {
	session, err := simulator.Scenario{Seed: 4, Openings: 3, Encoder: &simulator.Encoder{}, Indicator: simulator.Indicator{Rate: 100}}.Play()
	require.NoError(t, err)
	one := session.Trace
	one.Resolution, one.AngleStep, one.Notes = 0, 0, nil
	two := measure.Trace{}
	for i, r := range one.Readings {
		lift, angle := r, r
		lift.Has, lift.Angle, angle.Has, angle.Lift = measure.HasLift, 0, measure.HasAngle, 0
		if i < len(one.Readings)/2 {
			two.Readings = append(two.Readings, lift, angle)
		} else {
			two.Readings = append(two.Readings, angle, lift)
		}
	}
	want, err := lift.Analyse(one, lift.Options{})
	require.NoError(t, err)
	require.NotNil(t, want.Openings[0].OpeningHalf.Angle)
	same := func(want, got lift.Findings, says any) {
		t.Helper()
		require.Len(t, got.Openings, len(want.Openings), says)
		assert.Equal(t, want.Faults, got.Faults, says)
		for i, o := range got.Openings {
			w := want.Openings[i]
			require.NotNil(t, o.OpeningHalf.Angle, says)
			// What the crank does between two rows is in the ±.
			assert.InDelta(t, w.OpeningHalf.AngleU.Degrees(), o.OpeningHalf.AngleU.Degrees(), 0.02, says)
			assert.InDelta(t, w.ClosingHalf.AngleU.Degrees(), o.ClosingHalf.AngleU.Degrees(), 0.02, says)
			o.OpeningHalf.AngleU, o.ClosingHalf.AngleU = w.OpeningHalf.AngleU, w.ClosingHalf.AngleU
			assert.Equal(t, w, o, says)
		}
	}
	for _, format := range []tracefile.Format{tracefile.CSV, tracefile.JSONLines, tracefile.Parquet} {
		dir := t.TempDir()
		name := filepath.Join(dir, "turn")
		var text bytes.Buffer
		require.NoError(t, tracefile.Write(&text, two, format))
		require.NoError(t, os.WriteFile(name, text.Bytes(), 0o600))
		got, err := analyseFile(command(t), name, lift.Options{})
		require.NoError(t, err)
		same(want, got, format)
		var out, complaint bytes.Buffer
		for _, line := range [][]string{{"import", name}, {"show", "1", "--json"}, {"export", "1"}} {
			out.Reset()
			require.Zero(t, run(t.Context(), append(line, "--data", dir), strings.NewReader(""), &out, &complaint), complaint.String())
			if line[0] == "show" {
				assert.True(t, strings.Contains(out.String(), fmt.Sprintf(`"angle_deg": %v`, want.Openings[0].OpeningHalf.Angle.Degrees())), "format %v", format)
			}
		}
		stored, err := tracefile.Read(&out)
		require.NoError(t, err)
		assert.Equal(t, two.Readings, stored.Readings, "format %v", format)
	}
}

// What does not read is told with the file and the line, however far down.
func TestAnalyseFileThatBreaksOff(t *testing.T) {
	name := filepath.Join(t.TempDir(), "turn.csv")
	text := []byte("t_s,lift_mm\n")
	for i := range 20_000 {
		text = fmt.Appendf(text, "%d.%03d,1.25\n", i/1000, i%1000)
	}
	require.NoError(t, os.WriteFile(name, append(text, "20,a\n"...), 0o600))
	_, err := analyseFile(command(t), name, lift.Options{})
	require.ErrorContains(t, err, "turn.csv")
	assert.ErrorContains(t, err, "20002")
	_, err = analyseFile(command(t), filepath.Join(t.TempDir(), "none.csv"), lift.Options{})
	assert.ErrorContains(t, err, "no such file")
}

// An angle that starts again after each turn is counted on, and the one line on how
// the file was read says so; an angle that goes on, or a misread one, is not spoken of.
func TestAnalyseSaysThatAnAngleStartsAgain(t *testing.T) {
	for name, c := range map[string]struct {
		angle func(i int) float64
		says  string
	}{
		"an index":     {func(i int) float64 { return math.Mod(float64(i)*3, 360) }, "lobescribe: the crank angle starts again after a turn, 3 times, and was counted on\n"},
		"counted down": {func(i int) float64 { return 360 - math.Mod(float64(i)*3, 360) }, "lobescribe: the crank angle starts again after a turn, 3 times, and was counted on\n"},
		"goes on":      {func(i int) float64 { return float64(i) * 3 }, ""},
		"misread once": {func(i int) float64 { return float64(i)*3 + map[bool]float64{i == 200: 360}[true] }, ""},
	} {
		t.Run(name, func(t *testing.T) {
			var file strings.Builder
			file.WriteString("t_s,lift_mm,angle_deg\n")
			for i := range 470 {
				turn := math.Mod(float64(i)*3/720, 1)
				fmt.Fprintf(&file, "%.2f,%.3f,%.1f\n", float64(i)/50, 10*math.Max(0, math.Sin(2*math.Pi*turn)), c.angle(i))
			}
			path := filepath.Join(t.TempDir(), "turn.csv")
			require.NoError(t, os.WriteFile(path, []byte(file.String()), 0o600))
			var out, complaint bytes.Buffer
			require.Zero(t, run(t.Context(), []string{"analyse", path, "--data", t.TempDir()}, strings.NewReader(""), &out, &complaint), complaint.String())
			assert.Equal(t, c.says, complaint.String())
			complaint.Reset()
			require.Zero(t, run(t.Context(), []string{"analyse", "-", "--data", t.TempDir()}, strings.NewReader(file.String()), &out, &complaint), complaint.String())
			assert.Equal(t, c.says, complaint.String(), "off standard input")
		})
	}
}

// command is one as main runs it: with a context.
func command(t *testing.T) *cobra.Command {
	c := &cobra.Command{}
	c.SetContext(t.Context())
	return c
}
