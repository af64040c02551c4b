//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/dashboard/schema"
	"lobescribe/dashboard/schema/strict"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// fits holds a JSON text against a schema, in which every key must be described.
func fits(t *testing.T, place string, text []byte) {
	t.Helper()
	c, err := strict.New(place)
	require.NoError(t, err)
	require.NoError(t, c.Check(text), "%s: %s", place, text)
}

// What the built daemon really sends over its socket while an engine is turned,
// with an indicator that runs out of travel, is as the schemas say; so is what
// the commands print of it afterwards.
func TestWhatIsSentAndPrintedIsAsTheSchemasSay(t *testing.T) {
	t.Parallel()
	session, err := simulator.Scenario{
		Seed: 3, Valve: simulator.BenchMule().Valves[0], Openings: 3, Encoder: &simulator.Encoder{},
		Hand: simulator.Hand{Style: simulator.Smooth, Speed: 240 * measure.Degree},
		Indicator: simulator.Indicator{Rate: 100, Format: simulator.CombinedFormats()[0], Wire: simulator.Wire{Baud: 115200},
			TravelLeft: 9 * measure.Millimetre},
	}.Play()
	require.NoError(t, err)
	data := t.TempDir()
	daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", playing(t, session)+"&unit=in")
	said := daemon.socket()
	whole, err := strict.New("live")
	require.NoError(t, err)
	parts, seen := map[string]*strict.Checker{}, map[string]int{}
	until := func(what string, enough func() bool) {
		t.Helper()
		deadline := time.After(patience)
		for !enough() {
			select {
			case text, ok := <-said:
				require.True(t, ok, "the socket ended")
				var m struct{ Type, State string }
				require.NoError(t, json.Unmarshal(text, &m))
				if parts[m.Type] == nil {
					parts[m.Type], err = strict.New("live.json#/$defs/" + m.Type)
					require.NoError(t, err)
				}
				require.NoError(t, parts[m.Type].Check(text), "%s", text) // says more plainly what is wrong
				require.NoError(t, whole.Check(text), "%s", text)
				seen[m.Type]++
				seen[m.Type+" "+m.State]++
			case <-deadline:
				t.Fatalf("no %s among %v", what, seen)
			}
		}
	}
	until("opening and its fault", func() bool { return seen["opening"] >= 2 && seen["cue"] >= 4 && seen["fault"] > 0 })
	daemon.send("POST", "/api/v1/mark", struct{}{})
	daemon.send("PUT", "/api/v1/settings", map[string]any{"units": "mm"})
	daemon.send("POST", "/api/v1/engines", map[string]any{"id": "mule", "name": "Mule", "cylinders": 4, "valves_per_cylinder": 2})
	daemon.send("PUT", "/api/v1/bench", map[string]any{"engine": "mule", "valve": "1I"})
	daemon.send("POST", "/api/v1/trace/end", struct{}{})
	until("findings", func() bool { return seen["findings"] > 0 })
	daemon.send("POST", "/api/v1/replay", map[string]any{"trace": 1, "rate": 50})
	until("replay", func() bool { return seen["replay"] > 1 })
	daemon.send("DELETE", "/api/v1/devices/indicator", struct{}{})
	until("lost device", func() bool { return seen["device lost"] > 0 })
	for _, kind := range []string{"hello", "readings", "state heel", "state opening", "state nose", "state closing", "cue", "opening", "fault",
		"device live", "device lost", "trace recording", "trace kept", "findings", "replay", "mark", "settings", "bench"} {
		assert.NotZero(t, seen[kind], kind)
	}
	t.Logf("seen: %v", seen)

	var state json.RawMessage
	daemon.get("/api/v1/state", &state)
	fits(t, "live.json#/$defs/hello", state)
	var served json.RawMessage
	daemon.get("/api/v1/schema/live.json", &served)
	assert.JSONEq(t, string(runBinary(t, "schema", "live")), string(served), "printed and served is the same")
	require.NoError(t, daemon.stop())

	list := runBinary(t, "traces", "--json", "--data", data)
	fits(t, "traces", list)
	assert.Contains(t, string(list), `"faults"`)
	lines := runBinary(t, "export", "1", "--format", "jsonl", "--data", data)
	kinds := map[string]int{}
	for line := range bytes.Lines(lines) {
		var keys map[string]any
		require.NoError(t, json.Unmarshal(line, &keys))
		for key := range keys {
			kinds[key]++
		}
		if kinds["t_s"] < 50 || keys["t_s"] == nil { // one reading is as another
			fits(t, "trace", line)
		}
	}
	for _, key := range []string{"trace", "note", "t_s", "lift_mm", "angle_deg"} {
		assert.NotZero(t, kinds[key], key)
	}
	file := filepath.Join(t.TempDir(), "turn.jsonl")
	require.NoError(t, os.WriteFile(file, lines, 0o600))
	findings := runBinary(t, "analyse", file, "--json")
	fits(t, "findings", findings)
	assert.Contains(t, string(findings), `"travel-end"`)
	assert.Contains(t, string(findings), `"nose_angle_deg"`)
	fits(t, "findings", runBinary(t, "record", "--indicator", playing(t, session)+"&unit=in", "--openings", "1", "--json", "--data", data))
	listed := string(runBinary(t, "schema"))
	for _, s := range schema.All() {
		assert.Contains(t, listed, s.Name)
	}
}
