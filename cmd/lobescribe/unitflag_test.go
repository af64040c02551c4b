package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
	"lobescribe/capture/prove"
	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// --unit stands only on commands where it does something: each of them, found by
// walking the commands, prints something else in inches than in millimetres.
func TestUnitDoesSomethingWhereItStands(t *testing.T) {
	for _, name := range []string{"HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME", "LocalAppData", "AppData"} {
		t.Setenv(name, t.TempDir())
	}
	dir := t.TempDir()
	data, turn, side := filepath.Join(dir, "data"), filepath.Join(dir, "turn.csv"), filepath.Join(dir, "side.csv")
	trace := simpleTurns(2)
	var text, sweep strings.Builder
	text.WriteString("t_s,lift_mm\n")
	sweep.WriteString("lift_mm,sweep_mm\n")
	for _, r := range trace.Readings {
		fmt.Fprintf(&text, "%v,%v\n", r.At.Seconds(), r.Lift.Millimetres())
		fmt.Fprintf(&sweep, "%v,%v\n", r.Lift.Millimetres(), 42+r.Lift.Millimetres()/100-r.Lift.Millimetres()*r.Lift.Millimetres()/500)
	}
	require.NoError(t, os.WriteFile(turn, []byte(text.String()), 0o600))
	require.NoError(t, os.WriteFile(side, []byte(sweep.String()), 0o600))
	require.NoError(t, os.Mkdir(data, 0o700))
	store, err := storage.Open(filepath.Join(data, "bench.db"), storage.Options{})
	require.NoError(t, err)
	require.NoError(t, func() error {
		_, err := store.PutEngine(storage.Engine{ID: "v8", Cylinders: 8, ValvesPerCylinder: 2})
		return err
	}())
	id, err := daemon.ImportTrace(store, trace, storage.Head{Engine: "v8", Valve: "3I"})
	require.NoError(t, err)
	below := 2 * measure.Millimetre
	_, err = store.PutTrial(storage.Trial{Engine: "v8", Valve: "3I", At: time.Now(), AdjusterBelowValve: &below})
	require.NoError(t, err)
	proved, err := address.Parse("serial:/dev/ttyUSB0")
	require.NoError(t, err)
	require.NoError(t, store.PutIndicator(storage.Indicator{ID: proved.Identity(), Proof: prove.Proof{
		Low: 0, High: 25 * measure.Millimetre, StopU: 10 * measure.Micrometre, In: 1, Repeat: 10 * measure.Micrometre, Stick: 20 * measure.Micrometre, Step: 10 * measure.Micrometre, Rate: 50}}))
	require.NoError(t, store.Close())
	sim := simulateFlags{unit: "mm", rate: 50, speed: 20, link: "tcp", hand: "smooth", noEncoder: true}
	live, err := sim.serve(t.Context())
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, live.Close()) })
	sheet := filepath.Join(dir, "sheet.html")

	words := map[string][]string{
		"analyse":   {turn},
		"config":    {},
		"leave-out": {id.String(), "1", "--why", "slipped"},
		"prove":     {"serial:/dev/ttyUSB0", "--show"},
		"record":    {"--indicator", addresses(live)[capture.Indicator], "--openings", "1"},
		"sheet":     {"v8", "-o", sheet},
		"show":      {id.String()},
		"traces":    {},
		"trials":    {"v8", "3I"},

		"calc clearance": {"--installed", "45 mm", "--lift", "12 mm", "--solid", "29 mm"},
		"calc cosine":    {"--reading", "10.7 mm", "--lean", "8"},
		"calc photo":     {"--lift", "12 mm", "--valve-arm", "40 mm", "--lean", "0", "--bend", "0", "--photo", "1600x1600 @ 6 mm: stem 800,820 800,1420; pivot 202.28,747.7; tip 800,800"},
		"calc pushrod":   {"--rod", "3I = 221.2 mm", "--stack-change", "0.8 mm", "--ratio", "1.5"},
		"calc rocker":    {"--ratio", "1.4", "--lift", "12 mm", "--below", "3 mm"},
		"calc shims":     {"--ratio", "1.4", "--trial", "0.381: 3.5 mm"},
		"calc spring":    {"--load", "45 mm: 350 N", "--load", "35 mm: 650 N", "--installed", "45 mm", "--lift", "10 mm"},
		"calc sweep":     {"--turn", side, "--valve-arm", "40 mm", "--heel", "0 mm", "--lift", "10 mm"},
		"calc timing":    {"--stroke", "86 mm", "--rod", "143 mm", "--piston-at", "30,90"},
	}
	printed := func(args ...string) string {
		var out, says bytes.Buffer
		code := run(t.Context(), args, strings.NewReader(""), &out, &says)
		require.Equal(t, exitDone, code, "%v: %s", args, says.String())
		if args[0] == "sheet" {
			page, err := os.ReadFile(sheet)
			require.NoError(t, err)
			return string(page)
		}
		return out.String()
	}
	met := 0
	var walk func(*cobra.Command, []string)
	walk = func(cmd *cobra.Command, path []string) {
		if cmd.Flags().Lookup("unit") != nil && cmd.Runnable() {
			args, known := words[strings.Join(path, " ")]
			if !assert.True(t, known, "lobescribe %s has --unit: say here how it is called", strings.Join(path, " ")) {
				return
			}
			met++
			args = append(append(append([]string{}, path...), args...), "--unit")
			if cmd.Flags().Lookup("data") != nil || cmd.InheritedFlags().Lookup("data") != nil {
				args = append([]string{args[0], "--data", data}, args[1:]...)
			}
			inches, millimetres := printed(append(args, "in")...), printed(append(args, "mm")...)
			assert.NotEqual(t, inches, millimetres, "--unit does nothing on lobescribe %s", strings.Join(path, " "))
			if path[0] != "config" { // which prints the setting, and no length
				assert.Regexp(t, `\d in\b`, inches, "lobescribe %s", strings.Join(path, " "))
				assert.Regexp(t, `\d mm\b`, millimetres, "lobescribe %s", strings.Join(path, " "))
				alone := bothUnits.ReplaceAllString(inches, "")
				assert.NotRegexp(t, `\d mm\b`, alone, "lobescribe %s --unit in", strings.Join(path, " "))
			}
		}
		for _, c := range cmd.Commands() {
			walk(c, append(append([]string{}, path...), c.Name()))
		}
	}
	walk(newRoot(), nil)
	assert.Equal(t, len(words), met, "a command of the list has no --unit any more")
}

// bothUnits is a length as the fault of a trace says it, which is stored in words: in either
// unit. A computer at its limit may lose readings of the recording, and be told of it.
var bothUnits = regexp.MustCompile(`\d mm \([0-9.]+ in\)`)

// simpleTurns is a simple-harmonic lift of 10 mm, four seconds an opening.
func simpleTurns(openings int) measure.Trace {
	t := measure.Trace{Resolution: 10 * measure.Micrometre}
	for i := range 50 * 8 * openings {
		phase, lift := i%400, measure.Length(0)
		if phase >= 100 && phase < 300 {
			x := float64(phase-200) / 100
			lift = measure.Length(10*(1-x*x)*(1-x*x)*1000) * measure.Micrometre
		}
		t.Readings = append(t.Readings, measure.Reading{At: measure.Stamp(i) * 20_000, Lift: lift, Has: measure.HasLift})
	}
	return t
}
