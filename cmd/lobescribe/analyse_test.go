package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
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
		got, err := analyseFile(&cobra.Command{}, name, lift.Options{})
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
	_, err := analyseFile(&cobra.Command{}, name, lift.Options{})
	require.ErrorContains(t, err, "turn.csv")
	assert.ErrorContains(t, err, "20002")
	_, err = analyseFile(&cobra.Command{}, filepath.Join(t.TempDir(), "none.csv"), lift.Options{})
	assert.ErrorContains(t, err, "no such file")
}
