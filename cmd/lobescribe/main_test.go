package main

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"lobescribe/capture/valve"
	"lobescribe/storage"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"
)

// TestMain lets the scripts, and the tests that need a process of its own, run
// this test binary as the lobescribe command.
//
// Twice as many run at a time as there are processors, unless -parallel says otherwise:
// most wait for an instrument that sends at its own pace. Eight at a time on two
// processors, beside another package's tests, made the processor late for readings by
// whose pace calls are judged.
func TestMain(m *testing.M) {
	if err := flag.Set("test.parallel", strconv.Itoa(2*runtime.GOMAXPROCS(0))); err != nil {
		panic(err)
	}
	testscript.Main(m, map[string]func(){"lobescribe": main})
}

func TestScripts(t *testing.T) {
	t.Parallel()
	scripts, err := filepath.Glob("testdata/script/*.txtar")
	require.NoError(t, err)
	require.NotEmpty(t, scripts, "the scripts are gone")
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("HOME", e.WorkDir)
			e.Setenv("XDG_DATA_HOME", filepath.Join(e.WorkDir, "share"))
			e.Setenv("LocalAppData", filepath.Join(e.WorkDir, "share"))
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"turn":    turnFile,
			"flip":    flipBytes,
			"oneline": oneLineOnly,
			"engine":  putEngine,
		},
	})
}

// turnFile is the script command `turn FILE [OPENINGS] [key=value...]`: it
// writes a CSV trace of a simple-harmonic lift of 10 mm, 4 s each, at 50
// readings a second, in steps of 0.01 mm. Keys: gap=S leaves out two seconds
// from S on; nan=N writes NaN on line N; swap=N swaps lines N and N+1.
func turnFile(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: turn FILE [OPENINGS] [key=value...]")
	}
	openings, gap, nan, swap := 2, -1.0, -1, -1
	for _, a := range args[1:] {
		if _, err := fmt.Sscanf(a, "gap=%g", &gap); err == nil {
			continue
		}
		if _, err := fmt.Sscanf(a, "nan=%d", &nan); err == nil {
			continue
		}
		if _, err := fmt.Sscanf(a, "swap=%d", &swap); err == nil {
			continue
		}
		if _, err := fmt.Sscanf(a, "%d", &openings); err != nil {
			ts.Fatalf("turn: %q", a)
		}
	}
	lines := []string{"t_s,lift_mm"}
	for i := range (openings*8 + 4) * 50 {
		at := float64(i) / 50
		if gap >= 0 && at >= gap && at < gap+2 {
			continue
		}
		lift := 0.0
		if s := math.Mod(at, 8); s > 4 {
			lift = 5 * (1 - math.Cos(2*math.Pi*(s-4)/4))
		}
		lines = append(lines, fmt.Sprintf("%.2f,%.2f", at, lift))
	}
	if nan >= 0 {
		lines[nan-1] = lines[nan-1][:strings.Index(lines[nan-1], ",")] + ",NaN"
	}
	if swap >= 0 {
		lines[swap-1], lines[swap] = lines[swap], lines[swap-1]
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.Join(lines, "\n")+"\n"), 0o644))
}

// flipBytes is the script command `flip FILE`: it inverts a byte in each of
// three places of a file of ours, past its head pages.
func flipBytes(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: flip FILE")
	}
	b, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	hurt := 0
	for i := 3 * os.Getpagesize(); i < len(b) && hurt < 3; i++ {
		if b[i] != 0 && b[i-1] != 0 && b[i+1] != 0 { // not in the slack between pages
			b[i] ^= 0xff
			hurt++
			i += os.Getpagesize()
		}
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), b, 0o600))
}

// oneLineOnly is the script command `oneline`: the last command's stderr is one
// line that names the program.
func oneLineOnly(ts *testscript.TestScript, neg bool, args []string) {
	text := ts.ReadFile("stderr")
	if neg || strings.Count(text, "\n") != 1 || !strings.HasPrefix(text, "lobescribe: ") {
		ts.Fatalf("stderr should be one line that begins with lobescribe: but is\n%s", text)
	}
}

// putEngine is the script command `engine ID [VALVE=NAME...]`: it puts a four-cylinder engine into
// the store of the script's data folder.
func putEngine(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: engine ID [VALVE=NAME...]")
	}
	own := valve.OwnNames{}
	for _, a := range args[1:] {
		name, called, _ := strings.Cut(a, "=")
		own[name] = called
	}
	dir := filepath.Join(ts.Getenv("XDG_DATA_HOME"), "lobescribe")
	ts.Check(os.MkdirAll(dir, 0o700))
	store, err := storage.Open(filepath.Join(dir, storeFile), storage.Options{})
	ts.Check(err)
	_, err = store.PutEngine(storage.Engine{ID: args[0], Cylinders: 4, ValvesPerCylinder: 2, ValveNames: own})
	ts.Check(err)
	ts.Check(store.Close())
}
