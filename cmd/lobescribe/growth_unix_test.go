//go:build unix

package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
)

// BenchmarkImportGrows imports CSV files of ten million bytes, ten times as many and so
// on to LOBESCRIBE_GROWTH (a thousand million takes two minutes and 2 GB of disk), by the
// built binary, and prints wall clock, processor time and the most memory, and with which
// power of the length each grows:
//
//	LOBESCRIBE_GROWTH=1000000000 go test ./cmd/lobescribe -run XXX -bench ImportGrows -benchtime 1x -timeout 1h
func BenchmarkImportGrows(b *testing.B) {
	binary, err := builtBinary()
	require.NoError(b, err)
	for b.Loop() {
		var before []float64
		for bytes := 1e7; bytes <= most(1e8); bytes *= 10 {
			csv := filepath.Join(b.TempDir(), "long.csv")
			writeLongCSV(b, csv, int64(bytes))
			cmd := exec.Command(binary, "import", csv, "--data", b.TempDir())
			began := time.Now()
			out, err := cmd.CombinedOutput()
			require.NoError(b, err, "%s", out)
			took, usage := time.Since(began), cmd.ProcessState.SysUsage().(*syscall.Rusage)
			busy := (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
			now := []float64{took.Seconds(), busy, float64(usage.Maxrss) / 1024}
			fmt.Printf("%12.0f bytes: %6.2f s, %6.2f s of a processor, %4.0f MB at most%s\n", bytes, now[0], now[1], now[2], powers(before, now))
			before = now
			require.NoError(b, os.Remove(csv))
		}
	}
	b.ReportMetric(0, "ns/op")
}

// most is LOBESCRIBE_GROWTH, or less.
func most(less float64) float64 {
	if n, err := strconv.ParseFloat(os.Getenv("LOBESCRIBE_GROWTH"), 64); err == nil {
		return n
	}
	return less
}

// powers says with which power of ten times the size each grew.
func powers(before, now []float64) (says string) {
	for i := range before {
		says += fmt.Sprintf("%s%.2f", []string{"; exponents ", ", ", ", "}[i], math.Log10(now[i]/before[i]))
	}
	return says
}

// writeLongCSV writes openings of five seconds, a thousand readings a second with noise
// of a micrometre.
func writeLongCSV(b *testing.B, name string, bytes int64) {
	file, err := os.Create(name)
	require.NoError(b, err)
	out := bufio.NewWriterSize(file, 1<<20)
	line := append([]byte(nil), "t_s,lift_mm\n"...)
	noise := uint32(1)
	for n, written := 0, int64(0); written < bytes; n++ {
		k, err := out.Write(line)
		require.NoError(b, err)
		written += int64(k)
		noise = noise*1664525 + 1013904223
		up := 0.0
		if at := float64(n%5000) / 1000; at > 1 && at < 4 {
			up = 0.5 - 0.5*math.Cos(2*math.Pi*(at-1)/3)
		}
		line = strconv.AppendFloat(line[:0], float64(n)/1000, 'f', 3, 64)
		line = append(line, ',')
		line = strconv.AppendFloat(line, 10.668*up+float64(noise>>24)/256*0.004, 'f', 3, 64)
		line = append(line, '\n')
	}
	require.NoError(b, out.Flush())
	require.NoError(b, file.Close())
}

// BenchmarkViewsGrow opens the page's views in a real browser over stores that hold
// little and much: a thousand and LOBESCRIBE_GROWTH traces (100000), ten and a thousand
// times as many openings in one trace, ten and a thousand engines, an engine of 8 and of
// 32 valves, an engine with 5 and 500 traces to compare. It prints how long each view
// takes to stand there, the frame after, at each of three looks:
//
//	go test ./cmd/lobescribe -run XXX -bench ViewsGrow -benchtime 1x -timeout 1h
func BenchmarkViewsGrow(b *testing.B) {
	screen := openScreen(b)
	for b.Loop() {
		for _, much := range []bool{false, true} {
			crowded := newCrowded(b, much)
			daemon := start(b, "serve", "--addr", "127.0.0.1:0", "--data", crowded.folder)
			require.NoError(b, chromedp.Do(screen, chromedp.Navigate(daemon.url)))
			fmt.Printf("\n%d traces, %d openings in one, %d engines, %d valves in one, %d traces of one; findings of the long trace %.2f s, the store %.0f MB\n",
				crowded.traces, crowded.openings, crowded.engines, crowded.valves, crowded.compared, crowded.findings.Seconds(), crowded.size/1e6)
			for _, v := range crowded.views() {
				crowded.look(b, screen, daemon, v)
			}
			require.NoError(b, daemon.stop())
			crowded.begin(b)
		}
	}
	b.ReportMetric(0, "ns/op")
}

// begin starts the daemon twenty times over the store, each time until the page came.
func (c *crowded) begin(b *testing.B) {
	var took []time.Duration
	for range 20 {
		began := time.Now()
		daemon := start(b, "serve", "--addr", "127.0.0.1:0", "--data", c.folder)
		r, err := http.Get(daemon.url)
		require.NoError(b, err)
		_, err = io.Copy(io.Discard, r.Body)
		require.NoError(b, err)
		took = append(took, time.Since(began))
		r.Body.Close()
		require.NoError(b, daemon.stop())
	}
	slices.Sort(took)
	fmt.Printf("%-40s %6.1f ms in the middle of 20, %.1f at most\n", "from the start of the process to the page", took[10].Seconds()*1e3, took[19].Seconds()*1e3)
}

// view is a screen, and when it stands there.
type view struct{ name, bench, hash, stands string }

func (c *crowded) views() []view {
	return []view{
		{"list of traces", "", "#/traces", `document.querySelectorAll(".cards .card").length === 50`},
		{"an older page of it", "", "", `(() => { const b = [...document.querySelectorAll("button")].find((b) => b.textContent === "Older"); if (b && !window.__older) { window.__older = document.querySelector(".card").href; b.click(); } return window.__older && document.querySelectorAll(".cards .card").length === 50 && document.querySelector(".card").href !== window.__older; })()`},
		{"this engine's traces", "many", "#/traces", `(() => { const s = document.querySelector("main select"); if (s && s.value !== "engine" && s.querySelector("[value=engine]")) { s.value = "engine"; s.dispatchEvent(new Event("change", {bubbles: true})); } return s?.value === "engine" && document.querySelectorAll(".cards .card").length === ` + strconv.Itoa(min(50, c.compared)) + `; })()`},
		{"a trace in the middle", "", fmt.Sprintf("#/traces/%d", c.middle), `document.querySelector("main canvas") && document.querySelectorAll(".opening-table tbody tr").length > 0`},
		{"the trace of many openings", "", fmt.Sprintf("#/traces/%d", c.long), `document.querySelector("main canvas") && document.querySelectorAll(".opening-table tbody tr").length > 0`},
		{"the list of engines", "many", "#/engine", fmt.Sprintf(`document.querySelector("main select")?.options.length === %d + 1`, c.engines)},
		{"the map of an engine of many valves", "valves", "#/engine", fmt.Sprintf(`(document.querySelector("main")?.textContent.match(/0\.44\d\d|11\.2\d\d/g) ?? []).length >= %d`, c.valves)},
		{"its sheet", "valves", "sheet", ""},
		{"compare, of an engine of many traces", "many", "#/compare", fmt.Sprintf(`document.querySelectorAll(".ticks li").length >= %d`, min(c.compared, 200))},
		{"eight laid over each other", "many", "#/compare?traces=" + c.eight, `document.querySelectorAll("main canvas").length >= 2`},
	}
}

// look goes to a view three times, from another one.
func (c *crowded) look(b *testing.B, screen context.Context, daemon *process, v view) {
	var all []float64
	for range 3 {
		if v.bench != "" {
			daemon.send("PUT", "/api/v1/bench", map[string]string{"engine": v.bench, "valve": ""})
		}
		if v.hash == "sheet" {
			began := time.Now()
			code, _ := daemon.ask("GET", "api/v1/engines/"+v.bench+"/sheet", nil)
			require.Equal(b, 200, code)
			all = append(all, time.Since(began).Seconds()*1e3)
			continue
		}
		if v.hash != "" {
			require.NoError(b, chromedp.Do(screen, chromedp.Navigate("about:blank"), chromedp.Navigate(daemon.url+"#/help")))
			require.Eventually(b, func() bool {
				there, err := chromedp.Run(screen, chromedp.Evaluate[bool](`Boolean(document.querySelector("main h1"))`))
				return err == nil && there
			}, patience, 20*time.Millisecond)
		}
		took, err := chromedp.Run(screen, chromedp.Evaluate[float64](fmt.Sprintf(`new Promise((done) => {
			const at = %q, began = performance.now();
			window.__older = undefined;
			if (at) location.hash = at;
			const look = () => {
				if (performance.now() - began > 60000) done(-1);
				else if (%s) requestAnimationFrame(() => setTimeout(() => done(performance.now() - began)));
				else setTimeout(look, 4);
			};
			look();
		})`, v.hash, v.stands), chromedp.EvalAwaitPromise))
		require.NoError(b, err, v.name)
		require.Positive(b, took, "%s never stood there", v.name)
		all = append(all, took)
	}
	fmt.Printf("%-40s %5.0f ms\n", v.name, all)
}

// crowded is a store with much in it.
type crowded struct {
	folder                                      string
	traces, openings, engines, valves, compared int
	middle, long                                storage.ID
	eight                                       string
	findings                                    time.Duration
	size                                        float64
}

func newCrowded(b *testing.B, much bool) *crowded {
	c := &crowded{folder: b.TempDir(), traces: 1000, openings: 10, engines: 10, valves: 8, compared: 5}
	if much {
		c.traces, c.openings, c.engines, c.valves, c.compared = int(most(100_000)), 10_000, 1000, 32, 500
	}
	name := filepath.Join(c.folder, storeFile)
	s, err := storage.Open(name, storage.Options{Opened: func(db *bbolt.DB) { db.NoSync = true }})
	require.NoError(b, err)
	short := turnedThrough(b, 2, 50)
	found, err := lift.Analyse(short, lift.Options{})
	require.NoError(b, err)
	put := func(head storage.Head, trace measure.Trace, f lift.Findings) storage.ID {
		head.Started, head.Resolution, head.Source = time.Now(), trace.Resolution, "live"
		w, err := s.Begin(head)
		require.NoError(b, err)
		for rs := trace.Readings; len(rs) > 0; {
			n := min(len(rs), 50_000)
			require.NoError(b, w.Append(rs[:n], nil))
			rs = rs[n:]
		}
		require.NoError(b, w.End())
		require.NoError(b, s.PutFindings(w.ID(), f))
		return w.ID()
	}
	for n := range c.engines - 2 {
		_, err := s.PutEngine(storage.Engine{ID: fmt.Sprintf("e%d", n), Name: fmt.Sprintf("Engine %d", n), Cylinders: 4, Layout: storage.Inline, ValvesPerCylinder: 2})
		require.NoError(b, err)
	}
	for id, cylinders := range map[string]int{"many": 4, "valves": c.valves / 4} {
		_, err = s.PutEngine(storage.Engine{ID: id, Name: id, Cylinders: cylinders, Layout: storage.Inline, ValvesPerCylinder: 4, Units: "mm"})
		require.NoError(b, err)
	}
	engine, err := s.Engine("valves")
	require.NoError(b, err)
	long := turnedThrough(b, c.openings, 50)
	began := time.Now()
	longFound, err := lift.Analyse(long, lift.Options{})
	require.NoError(b, err)
	c.findings = time.Since(began)
	c.long = put(storage.Head{Engine: "e0", Valve: "1I"}, long, longFound)
	for _, v := range engine.Valves() {
		put(storage.Head{Engine: "valves", Valve: v.String()}, short, found)
	}
	for n := range c.compared {
		id := put(storage.Head{Engine: "many", Valve: []string{"1I1", "1E1", "2I1", "2E1"}[n%4]}, short, found)
		if n < 8 {
			c.eight += fmt.Sprintf(",%d", id)
		}
	}
	c.eight = c.eight[1:]
	for n := range c.traces {
		id := put(storage.Head{Engine: fmt.Sprintf("e%d", n%8), Valve: "1I"}, short, found)
		if n == c.traces/2 {
			c.middle = id
		}
	}
	require.NoError(b, s.Close())
	info, err := os.Stat(name)
	require.NoError(b, err)
	c.size = float64(info.Size())
	return c
}

// turnedThrough is a trace of so many openings.
func turnedThrough(b *testing.B, openings int, rate float64) measure.Trace {
	session, err := simulator.Scenario{Seed: 5, Openings: openings, Valve: simulator.BenchMule().Valves[0], NoWire: true,
		Hand: simulator.Hand{Speed: 360 * measure.Degree}, Indicator: simulator.Indicator{Rate: rate}, Encoder: &simulator.Encoder{}}.Play()
	require.NoError(b, err)
	return session.Trace
}
