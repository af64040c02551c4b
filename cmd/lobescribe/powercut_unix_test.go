//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sort"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage/tracefile"
)

// aTurn is a session at the engine that takes some ten seconds: four openings
// turned quickly, with an indicator of 100 readings a second.
func aTurn(t testing.TB) *simulator.Session {
	s, err := simulator.Scenario{
		Seed: 11, Valve: simulator.BenchMule().Valves[2], Openings: 4,
		Hand:      simulator.Hand{Style: simulator.Smooth, Speed: 320 * measure.Degree, Before: 3 * measure.Second},
		Indicator: simulator.Indicator{Rate: 100},
	}.Play()
	require.NoError(t, err)
	return s
}

// interrupt is what Ctrl-C sends.
var interrupt = os.Interrupt

// writeTrace writes a trace as CSV.
func writeTrace(t testing.TB, name string, trace measure.Trace) {
	var b bytes.Buffer
	require.NoError(t, tracefile.Write(&b, trace, tracefile.CSV))
	require.NoError(t, writeFile(name, b.Bytes()))
}

func writeFile(name string, b []byte) error { return os.WriteFile(name, b, 0o644) }

// lifts returns the lifts of readings.
func lifts(readings []measure.Reading) []measure.Length {
	var out []measure.Length
	for _, r := range readings {
		out = append(out, r.Lift)
	}
	return out
}

// indexOf returns where part stands in whole, -1 if nowhere.
func indexOf(whole, part []measure.Length) int {
	for i := 0; i+len(part) <= len(whole); i++ {
		found := true
		for j := range part {
			if whole[i+j] != part[j] {
				found = false
				break
			}
		}
		if found {
			return i
		}
	}
	return -1
}

// tap passes chunks on and remembers when; a chunk is a line here.
type tap struct {
	to io.Writer

	mu   sync.Mutex
	when []time.Time
}

func (w *tap) Write(b []byte) (int, error) {
	n, err := w.to.Write(b)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.when = append(w.when, time.Now())
	return n, err
}

// before returns how many chunks had gone by a time.
func (w *tap) before(t time.Time) int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return sort.Search(len(w.when), func(i int) bool { return w.when[i].After(t) })
}

// The built binary follows a pseudo-tty, is killed with -9 in the third cycle,
// and has everything but the last second when it starts again.
func TestPowerCutLosesAtMostTheLastSecond(t *testing.T) {
	t.Parallel()
	session := aTurn(t)
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Path: filepath.Join(t.TempDir(), "indicator"), Query: "baud=115200&format=auto"})
	require.NoError(t, err)
	defer link.Close()
	data := t.TempDir()
	daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", link.Address())

	wire := &tap{to: link}
	playing, enough := context.WithCancel(t.Context())
	played := make(chan error, 1)
	go func() { played <- simulator.PlayBytes(playing, session.Indicator, wire, 1) }()

	// Kill it in the third opening, or in a later one where this computer is busy.
	var before struct {
		Trace struct {
			ID     uint64  `json:"id"`
			OnDisk float64 `json:"on_disk_s"`
		} `json:"trace"`
		Openings []struct {
			MaxLift float64 `json:"max_lift_mm"`
		} `json:"openings"`
		Position struct {
			State string `json:"state"`
			Lift  int64  `json:"lift_nm"`
		} `json:"position"`
	}
	require.Eventually(t, func() bool {
		daemon.get("/api/v1/state", &before)
		return len(before.Openings) >= 2 && before.Position.Lift > int64(2*measure.Millimetre)
	}, patience, 10*time.Millisecond, "two cycles are turned and another has started")
	daemon.kill()
	killed := time.Now()
	enough()
	<-played
	for i, o := range before.Openings {
		assert.InDelta(t, session.Truth.Whole()[i].MaxLift.Millimetres(), o.MaxLift, 0.03)
	}

	// Started again, it lists the trace as cut short.
	again := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", link.Address())
	var list []struct {
		ID       uint64 `json:"id"`
		CutShort bool   `json:"cut_short"`
	}
	again.get("/api/v1/traces", &list)
	require.Len(t, list, 1)
	assert.Equal(t, before.Trace.ID, list[0].ID)
	assert.True(t, list[0].CutShort)
	require.NoError(t, again.stop())

	// What is there is what was sent, and all of it but the last second.
	out := filepath.Join(t.TempDir(), "out.csv")
	name, err := builtBinary()
	require.NoError(t, err)
	text, err := exec.Command(name, "export", "1", "-o", out, "--data", data).CombinedOutput()
	require.NoError(t, err, "%s", text)
	kept, err := tracefile.ReadFile(out)
	require.NoError(t, err)
	sent := lifts(session.Trace.Readings)
	at := indexOf(sent, lifts(kept.Readings))
	require.GreaterOrEqual(t, at, 0, "what is kept stands in what was sent, in one piece")
	end := kept.Readings[len(kept.Readings)-1].At
	sentUntil := wire.before(killed.Add(-time.Second)) // bytes that were sent a second before the end
	keptUntil := at + len(kept.Readings)
	t.Logf("a second before the end %d lines were sent; %d stand on disk; %.3f s were acknowledged, %v kept",
		sentUntil, keptUntil, before.Trace.OnDisk, end)
	assert.GreaterOrEqual(t, keptUntil, sentUntil, "at most the last second is lost")
	assert.GreaterOrEqual(t, end.Seconds(), before.Trace.OnDisk, "what was acknowledged is there")

	verified, err := exec.Command(name, "verify", "--data", data).CombinedOutput()
	require.NoError(t, err, "%s", verified)
	found, err := exec.Command(name, "show", "1", "--json", "--data", data).CombinedOutput()
	require.NoError(t, err, "%s", found)
	assert.Contains(t, string(found), `"max_lift_mm"`)
	_, err = os.Stat(filepath.Join(data, storeFile))
	require.NoError(t, err)
}

// SIGINT in the middle of an opening loses nothing that had arrived.
func TestStoppingLosesNothing(t *testing.T) {
	t.Parallel()
	session := aTurn(t)
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=115200&format=auto"})
	require.NoError(t, err)
	defer link.Close()
	data := t.TempDir()
	daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", link.Address())
	nose := session.Truth.Whole()[0].Nose
	until := slices.IndexFunc(session.Indicator, func(c simulator.Chunk) bool { return c.At > nose })
	require.NoError(t, simulator.PlayBytes(t.Context(), session.Indicator[:until], link, 1))
	daemon.quiet()
	require.NoError(t, daemon.stop())

	out := filepath.Join(t.TempDir(), "out.csv")
	name, err := builtBinary()
	require.NoError(t, err)
	text, err := exec.Command(name, "export", "1", "-o", out, "--data", data).CombinedOutput()
	require.NoError(t, err, "%s", text)
	kept, err := tracefile.ReadFile(out)
	require.NoError(t, err)
	var sent []measure.Length
	for i, l := range session.IndicatorLines {
		if l.At > nose {
			sent = lifts(session.Trace.Readings[:session.IndicatorLines[i].Reading])
			break
		}
	}
	at := indexOf(sent, lifts(kept.Readings)[:len(kept.Readings)-2])
	require.GreaterOrEqual(t, at, 0)
	assert.LessOrEqual(t, len(sent)-(at+len(kept.Readings)), 3, "the last lines may still have been under way")
}

// A kicked cable: the link comes back by itself, the page is told, and the trace
// says where nothing was measured.
func TestAKickedCableLeavesAGap(t *testing.T) {
	t.Parallel()
	session := aTurn(t)
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Path: filepath.Join(t.TempDir(), "indicator"), Query: "baud=115200&format=auto"})
	require.NoError(t, err)
	defer link.Close()
	data := t.TempDir()
	daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", link.Address())
	said := daemon.live()
	heard := func(state string) {
		for {
			select {
			case m, ok := <-said:
				require.True(t, ok, "the socket ended")
				if m.Type == "device" && m.State == state {
					return
				}
			case <-time.After(patience):
				t.Fatalf("the page is never told that the device is %s", state)
			}
		}
	}
	done := make(chan error, 1)
	go func() { done <- simulator.PlayBytes(t.Context(), session.Indicator, link, 1) }()
	var now struct {
		Position struct {
			Lift int64 `json:"lift_nm"`
		} `json:"position"`
	}
	require.Eventually(t, func() bool {
		daemon.get("/api/v1/state", &now)
		return now.Position.Lift > int64(5*measure.Millimetre)
	}, patience, 5*time.Millisecond, "the valve opens")
	heard("live")
	require.NoError(t, link.Unplug())
	heard("lost")
	require.NoError(t, link.Replug())
	heard("live")
	require.NoError(t, <-done)
	daemon.quiet()
	require.NoError(t, daemon.stop())

	var f struct {
		Findings struct {
			Openings []struct{} `json:"openings"`
			Faults   []struct {
				Kind string `json:"kind"`
			} `json:"faults"`
		} `json:"findings"`
		Notes []measure.Note `json:"notes"`
	}
	require.NoError(t, json.Unmarshal(runBinary(t, "show", "1", "--json", "--data", data), &f))
	require.NotEmpty(t, f.Notes)
	assert.Equal(t, measure.NoteGap, f.Notes[0].Kind)
	assert.Greater(t, f.Notes[0].Until, f.Notes[0].At)
	kinds := map[string]bool{}
	for _, fault := range f.Findings.Faults {
		kinds[fault.Kind] = true
	}
	assert.True(t, kinds["gap"], "%+v", f.Findings.Faults)
	assert.NotEmpty(t, f.Findings.Openings, "the openings after it are there")
}
