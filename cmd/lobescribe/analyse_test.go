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
