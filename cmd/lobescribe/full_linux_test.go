package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"lobescribe/capture/keep"
	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage/tracefile"
)

// A small file system of its own fills while the engine is turned.
func TestFullFileSystem(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=4m,mode=0700"); err != nil {
		t.Skipf("no file system may be mounted here (%v); TestFileThatMayNotGrow fills a disk in another way", err)
	}
	t.Cleanup(func() { assert.NoError(t, unix.Unmount(dir, 0)) })
	filler := filepath.Join(dir, "holiday pictures")
	theDiskFills(t, filepath.Join(dir, "data"), func(*process) {
		f, err := os.Create(filler)
		require.NoError(t, err)
		defer f.Close()
		for block := make([]byte, 4096); ; {
			if _, err := f.Write(block); errors.Is(err, unix.ENOSPC) {
				return
			} else {
				require.NoError(t, err)
			}
		}
	}, func(*process) { require.NoError(t, os.Remove(filler)) })
}

// The daemon's files may grow no further: what a quota does.
func TestFileThatMayNotGrow(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	var had unix.Rlimit
	theDiskFills(t, data, func(p *process) {
		require.NoError(t, unix.Prlimit(p.cmd.Process.Pid, unix.RLIMIT_FSIZE, nil, &had))
		// Its first two pages may be written: those that say which are valid.
		require.NoError(t, unix.Prlimit(p.cmd.Process.Pid, unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: 8192, Max: had.Max}, nil))
	}, func(p *process) {
		require.NoError(t, unix.Prlimit(p.cmd.Process.Pid, unix.RLIMIT_FSIZE, &had, nil))
	})
}

// kept is a message of the live socket about the trace under way.
type kept struct {
	Type string `json:"type"`
	keep.State
}

// theDiskFills turns an engine in front of the built binary whose disk fills
// and gets room again. The page hears of it, recording goes on, what was
// acknowledged stays, writing begins again by itself, and nothing is missing.
func theDiskFills(t *testing.T, data string, fill, free func(*process)) {
	session, err := simulator.Scenario{Seed: 21, Openings: 4, Valve: simulator.BenchMule().Valves[1],
		Hand:      simulator.Hand{Speed: 320 * measure.Degree, Before: 3 * measure.Second},
		Indicator: simulator.Indicator{Rate: 1000}}.Play()
	require.NoError(t, err)
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=921600&format=auto"})
	require.NoError(t, err)
	defer link.Close()
	daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", link.Address())
	said := daemon.socket()
	heard := func(what string, want func(kept) bool) kept {
		t.Helper()
		late := time.After(patience)
		for {
			select {
			case text, ok := <-said:
				require.True(t, ok, "the socket ended")
				var m kept
				if json.Unmarshal(text, &m) == nil && m.Type == "trace" && want(m) {
					return m
				}
			case <-late:
				t.Fatalf("the page never hears that %s", what)
			}
		}
	}
	played := make(chan error, 1)
	go func() { played <- simulator.PlayBytes(t.Context(), session.Indicator, link, 1) }()

	well := heard("a second is on disk", func(m kept) bool { return m.State.State == keep.StateRecording && m.OnDisk > 1 })
	fill(daemon)
	filled := time.Now()
	behind := heard("the disk refuses", func(m kept) bool { return m.State.State == keep.StateBehind })
	t.Logf("said %.1f s after the disk was full, when %.2f s were not on disk: %s", time.Since(filled).Seconds(), behind.Seconds-behind.OnDisk, behind.Says)
	assert.Contains(t, behind.Says, "wait in memory")
	assert.GreaterOrEqual(t, behind.OnDisk, well.OnDisk)
	later := heard("recording goes on in memory", func(m kept) bool { return m.Seconds > behind.Seconds+2 })
	assert.Equal(t, keep.StateBehind, later.State.State)
	assert.Greater(t, later.Readings, behind.Readings+1000)
	free(daemon)
	well = heard("writing goes on", func(m kept) bool { return m.State.State == keep.StateRecording })
	assert.GreaterOrEqual(t, well.OnDisk, later.Seconds-0.1)
	require.NoError(t, <-played)
	daemon.quiet()
	require.NoError(t, daemon.stop())

	out := filepath.Join(t.TempDir(), "out.csv")
	runBinary(t, "export", fmt.Sprint(well.ID), "-o", out, "--data", data)
	trace, err := tracefile.ReadFile(out)
	require.NoError(t, err)
	sent, got := lifts(session.Trace.Readings), lifts(trace.Readings)
	at := indexOf(sent, got)
	require.GreaterOrEqual(t, at, 0, "what is kept stands in what was sent, in one piece")
	assert.InDelta(t, len(sent), at+len(got), 3, "up to the end")
	assert.Empty(t, trace.Notes)
	runBinary(t, "verify", "--data", data)
	t.Logf("%d readings sent since it began, %d kept", len(sent)-at, len(got))
}
