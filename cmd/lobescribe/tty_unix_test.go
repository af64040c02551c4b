//go:build unix

package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage/tracefile"
)

// run runs the built binary to its end and returns its stdout.
func runBinary(t testing.TB, args ...string) []byte {
	t.Helper()
	return runBinaryUntil(context.Background(), t, args...)
}

// runBinaryUntil is runBinary, which fails when ctx ends first.
func runBinaryUntil(ctx context.Context, t testing.TB, args ...string) []byte {
	t.Helper()
	name, err := builtBinary()
	require.NoError(t, err)
	cmd := exec.CommandContext(ctx, name, args...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	require.NoError(t, cmd.Run(), "%v: %s", args, &errs)
	return out.Bytes()
}

// playing sends a session out of a pseudo-tty, over and over, until the test
// ends, and returns the address.
func playing(t testing.TB, s *simulator.Session) string {
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=115200&format=auto"})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for simulator.PlayBytes(ctx, s.Indicator, link, 1) == nil {
		}
	}()
	t.Cleanup(func() {
		stop()
		<-ended
		assert.NoError(t, link.Close())
	})
	return link.Address()
}

// The headless way: bytes on a tty in, findings out, the trace kept.
func TestRecordFindsWhatTheSimulatorTurned(t *testing.T) {
	t.Parallel()
	session, err := simulator.Scenario{
		Seed: 3, Valve: simulator.BenchMule().Valves[0], Openings: 3, Encoder: &simulator.Encoder{},
		Hand:      simulator.Hand{Style: simulator.Smooth, Speed: 240 * measure.Degree},
		Indicator: simulator.Indicator{Rate: 200, Format: simulator.CombinedFormats()[0], Wire: simulator.Wire{Baud: 115200}},
	}.Play()
	require.NoError(t, err)
	data := t.TempDir()
	out := runBinary(t, "record", "--indicator", playing(t, session)+"&unit=in", "--openings", "2", "--save", "--json", "--data", data)
	var f lift.Findings
	require.NoError(t, json.Unmarshal(out, &f), "%s", out)
	require.Len(t, f.Openings, 2)
	truth := session.Truth
	for _, o := range f.Openings {
		// A count and a half, and what may fall between two readings at 240
		// degrees a second: a lobe of 11 mm and some 140 degrees of crank a
		// flank has about 0.002 mm per degree squared at its nose.
		assert.InDelta(t, truth.MaxLift.Millimetres(), o.MaxLift.Millimetres(), 0.030)
		require.NotNil(t, o.NoseAngle)
		assert.Greater(t, *o.NoseAngle, *o.OpeningHalf.Angle)
		assert.Less(t, *o.NoseAngle, *o.ClosingHalf.Angle)
		width := (*o.ClosingHalf.Angle - *o.OpeningHalf.Angle).Degrees()
		assert.InDelta(t, (truth.HalfOpeningWidth + truth.HalfClosingWidth).Degrees(), width, 0.6)
	}
	var list []struct {
		ID       uint64   `json:"id"`
		MaxLift  *float64 `json:"max_lift_mm"`
		Readings int      `json:"readings"`
		CutShort bool     `json:"cut_short"`
	}
	require.NoError(t, json.Unmarshal(runBinary(t, "traces", "--json", "--data", data), &list))
	require.Len(t, list, 1)
	assert.False(t, list[0].CutShort)
	require.NotNil(t, list[0].MaxLift)
	assert.InDelta(t, f.MaxLift.Millimetres(), *list[0].MaxLift, 1e-9, "the list shows the same finding")
}

func TestListenPrintsReadingsAsJSONLines(t *testing.T) {
	t.Parallel()
	session, err := simulator.Scenario{Seed: 5, Indicator: simulator.Indicator{Rate: 100}}.Play()
	require.NoError(t, err)
	out := runBinary(t, "listen", playing(t, session), "--count", "150")
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	require.Len(t, lines, 150)
	var sent []measure.Length
	last := measure.Stamp(0)
	for _, line := range lines {
		var r struct {
			At    measure.Stamp   `json:"t_s"`
			Lift  *measure.Length `json:"lift_mm"`
			Angle *measure.Angle  `json:"angle_deg"`
		}
		require.NoError(t, json.Unmarshal([]byte(line), &r), line)
		require.NotNil(t, r.Lift)
		require.Nil(t, r.Angle)
		require.Greater(t, r.At, last)
		last = r.At
		sent = append(sent, *r.Lift)
	}
	whole := append(lifts(session.Trace.Readings), lifts(session.Trace.Readings)...)
	assert.GreaterOrEqual(t, indexOf(whole, sent), 0, "the readings are those that were sent, none missing")
}

// A stored trace comes out of a tty as a device and is recorded again, the same
// to the nanometre.
func TestReplayOutOfATTY(t *testing.T) {
	t.Parallel()
	session, err := simulator.Scenario{Seed: 8, Openings: 1, Encoder: &simulator.Encoder{},
		Hand: simulator.Hand{Speed: 360 * measure.Degree, Before: 6 * measure.Second}}.Play()
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "turn.csv")
	writeTrace(t, file, session.Trace)
	name, err := builtBinary()
	require.NoError(t, err)
	replay := exec.Command(name, "replay", file, "--link", "tty", "--json", "--rate", "1")
	pipe, err := replay.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, replay.Start())
	t.Cleanup(func() { _ = replay.Process.Kill() })
	var where struct {
		Address string `json:"address"`
	}
	require.NoError(t, json.NewDecoder(bufio.NewReader(pipe)).Decode(&where))

	out := filepath.Join(t.TempDir(), "heard.jsonl")
	listen := exec.Command(name, "listen", where.Address)
	var heard bytes.Buffer
	listen.Stdout = &heard
	require.NoError(t, listen.Start())
	require.NoError(t, replay.Wait())
	time.Sleep(500 * time.Millisecond)
	require.NoError(t, listen.Process.Signal(interrupt))
	require.NoError(t, listen.Wait())
	require.NoError(t, writeFile(out, heard.Bytes()))
	trace, err := tracefile.ReadFile(out)
	require.NoError(t, err)
	got, want := trace.Readings, session.Trace.Readings
	require.Greater(t, len(got), len(want)/3, "it was listened to from before the valve moved")
	found := false
	for shift := 0; shift+len(got) <= len(want) && !found; shift++ {
		found = slices.EqualFunc(want[shift:shift+len(got)], got, func(a, b measure.Reading) bool {
			return a.Lift == b.Lift && a.Angle == b.Angle && a.Has == b.Has
		})
	}
	assert.True(t, found, "what was heard stands in what was stored, in one piece, to the nanometre and microdegree")
}

func TestASecondDaemonIsToldWhoHasTheStore(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	first := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data)
	name, err := builtBinary()
	require.NoError(t, err)
	second := exec.Command(name, "serve", "--addr", "127.0.0.1:0", "--data", data)
	out, err := second.CombinedOutput()
	require.Error(t, err)
	assert.Equal(t, exitFailed, second.ProcessState.ExitCode())
	assert.Contains(t, string(out), "in use")
	assert.Equal(t, 1, strings.Count(string(out), "\n"), "%s", out)
	require.NoError(t, first.stop())
}

// The demo: without any hardware the valve moves, half lift and nose are
// called, an opening settles, and the trace is listed and replayed.
func TestDemo(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	demo := start(t, "demo", "--empty", "--addr", "127.0.0.1:0", "--data", data, "--speed", "6", "--rate", "20")
	said := demo.live()
	seen := map[string]int{}
	deadline := time.After(patience)
	// Of three, a replay of the trace tells two for sure: it may end before the last is home.
	for seen["opening"] < 3 || seen["at-half"] == 0 || seen["nose"] == 0 || seen["readings"] < 20 {
		select {
		case m, ok := <-said:
			require.True(t, ok, "the socket ended")
			seen[m.Type]++
			if m.Type == "cue" {
				seen[m.Kind]++
			}
			if m.Type == "opening" {
				assert.InDelta(t, 11.2, m.Opening.MaxLift, 0.5, "the bench mule's intake 1")
			}
		case <-deadline:
			t.Fatalf("seen %v", seen)
		}
	}
	demo.send("POST", "/api/v1/trace/end", struct{}{})
	var list []struct {
		ID      uint64   `json:"id"`
		Source  string   `json:"source"`
		Engine  string   `json:"engine"`
		Valve   string   `json:"valve"`
		MaxLift *float64 `json:"max_lift_mm"`
	}
	require.Eventually(t, func() bool {
		demo.get("/api/v1/traces", &list)
		return len(list) > 0 && list[len(list)-1].MaxLift != nil
	}, patience, 50*time.Millisecond)
	first := list[len(list)-1]
	assert.Equal(t, "demo", first.Source, "nobody takes it for an engine")
	assert.Equal(t, "bench-mule", first.Engine)
	assert.Equal(t, "1I", first.Valve)

	// Another valve is another trace, and the demo's indicator moves there.
	demo.send("PUT", "/api/v1/bench", map[string]any{"valve": "3E"})
	require.Eventually(t, func() bool {
		demo.get("/api/v1/traces", &list)
		return list[0].Valve == "3E" && list[0].MaxLift != nil
	}, patience, 100*time.Millisecond)
	assert.InDelta(t, 10.2, *list[0].MaxLift, 0.3, "the worn lobe of exhaust 3")

	demo.send("POST", "/api/v1/replay", map[string]any{"trace": first.ID, "rate": 50})
	replayed := 0
	for deadline := time.After(patience); replayed < 2; {
		select {
		case m, ok := <-said:
			require.True(t, ok, "the socket ended")
			if m.Replay == first.ID && m.Type == "opening" {
				replayed++
			}
		case <-deadline:
			t.Fatal("the replay tells no openings")
		}
	}

	// The store is the demo's alone, yet the command line looks into it.
	var asked []struct {
		ID uint64 `json:"id"`
	}
	require.NoError(t, json.Unmarshal(runBinary(t, "traces", "--json", "--data", data), &asked))
	require.NotEmpty(t, asked)
	assert.Equal(t, first.ID, asked[len(asked)-1].ID)
	here := runBinary(t, "export", strconv.FormatUint(first.ID, 10), "--data", data)
	copied := filepath.Join(t.TempDir(), "copy.db")
	runBinary(t, "backup", copied, "--data", data)
	runBinary(t, "verify", copied)
	require.NoError(t, demo.stop())
	assert.Equal(t, string(runBinary(t, "export", strconv.FormatUint(first.ID, 10), "--data", data)), string(here))
}

// A pseudo-tty has no speed, so whatever is tried first is heard: what is shown
// here is that a probe through the page's call ends with an address, and that
// each step is told on the live socket.
func TestProbeTellsHowItGoes(t *testing.T) {
	t.Parallel()
	session, err := simulator.Scenario{Seed: 4, Openings: 1}.Play()
	require.NoError(t, err)
	port, _, _ := strings.Cut(playing(t, session), "?")
	// A page may name a pseudo-tty only when the command line has.
	daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", t.TempDir(), "--indicator", port)
	daemon.send("DELETE", "/api/v1/devices/indicator", struct{}{})
	said := daemon.live()
	daemon.send("POST", "/api/v1/devices/probe", map[string]any{"address": port})
	for {
		select {
		case m, ok := <-said:
			require.True(t, ok, "the socket ended")
			if m.Type == "probe" {
				require.NoError(t, daemon.stop())
				return
			}
		case <-time.After(patience):
			t.Fatal("no step was told")
		}
	}
}

// The simulator at the press of a button in a daemon that serves real engines:
// what it turns is marked in the store as well.
func TestASimulatedTraceIsMarkedUnderServeToo(t *testing.T) {
	t.Parallel()
	daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", t.TempDir())
	daemon.send("POST", "/api/v1/simulator", map[string]any{"on": true})
	var list []struct {
		Source string `json:"source"`
	}
	require.Eventually(t, func() bool {
		daemon.get("/api/v1/traces", &list)
		return len(list) > 0
	}, patience, 50*time.Millisecond)
	assert.Equal(t, "demo", list[0].Source)
	require.NoError(t, daemon.stop())
}
