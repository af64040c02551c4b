//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
	"lobescribe/storage/shop"
)

// ask makes a request as the page does, whatever comes of it.
func (p *process) ask(method, path string, body any) (int, string) {
	p.t.Helper()
	text, err := json.Marshal(body)
	require.NoError(p.t, err)
	q, err := http.NewRequest(method, p.url+strings.TrimPrefix(path, "/"), bytes.NewReader(text))
	require.NoError(p.t, err)
	q.Header.Set("Content-Type", "application/json")
	q.Header.Set("Origin", strings.TrimSuffix(p.url, "/"))
	r, err := http.DefaultClient.Do(q)
	require.NoError(p.t, err)
	defer r.Body.Close()
	answer, err := io.ReadAll(r.Body)
	require.NoError(p.t, err)
	return r.StatusCode, string(answer)
}

// shopHas waits until the page over the shop shows so many traces.
func (p *process) shopHas(n int) (list []storage.Summary) {
	p.t.Helper()
	require.Eventually(p.t, func() bool {
		p.get("api/v1/traces", &list)
		return len(list) >= n
	}, patience, 50*time.Millisecond, "the shop does not show %d traces; it says %s", n, &p.stderr)
	require.Len(p.t, list, n)
	return list
}

// oneTurn plays a session of one opening out of a pseudo-tty, when begin is
// called.
func oneTurn(t *testing.T, seed uint64) (address string, begin func()) {
	t.Helper()
	session, err := simulator.Scenario{Seed: seed, Openings: 1, Valve: simulator.BenchMule().Valves[0],
		Hand: simulator.Hand{Style: simulator.Smooth, Speed: 600 * measure.Degree}, Indicator: simulator.Indicator{Rate: 100}}.Play()
	require.NoError(t, err)
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=115200&format=unit-behind"})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	var work sync.WaitGroup
	t.Cleanup(func() { stop(); work.Wait(); link.Close() })
	return link.Address(), func() {
		work.Go(func() { _ = simulator.PlayBytes(ctx, session.Indicator, link, 1) })
	}
}

// addEngine writes an engine down on a bench.
func (p *process) addEngine(id string) {
	p.t.Helper()
	p.send("POST", "/api/v1/engines", storage.Engine{ID: id, Type: "small block", Cylinders: 1, Layout: storage.Single, ValvesPerCylinder: 2})
}

// Two benches and the page over both, the real binary throughout: what both
// record is there, also what was recorded while the shop was killed; and one
// bench goes on with the engine of the other.
func TestAShopOfTwoBenches(t *testing.T) {
	t.Parallel()
	nats, record := freeAddress(t), t.TempDir()
	at := "nats://" + nats
	open := func() *process {
		return start(t, "shop", "--embedded", "--listen", nats, "--addr", "127.0.0.1:0", "--data", record)
	}
	// The first bench starts without a network, and is none the worse for it.
	address, turn := oneTurn(t, 31)
	one := start(t, "serve", "--addr", "127.0.0.1:0", "--data", t.TempDir(), "--indicator", address, "--shop", at, "--bench", "stand-1")
	one.addEngine("v8")
	one.send("PUT", "/api/v1/bench", map[string]string{"engine": "v8", "valve": "1I"})
	one.scrapeUntil(1, "lobescribe_link_opens_total", "role=indicator")
	time.Sleep(time.Second) // quiet before the first byte: it begins a line
	turn()
	one.scrapeUntil(1, "lobescribe_openings_total")
	one.send("POST", "/api/v1/trace/end", struct{}{})
	one.scrapeUntil(1, "lobescribe_traces_total")
	now := one.scrape()
	assert.Zero(t, figure(now, "lobescribe_shop_connected"))
	assert.InDelta(t, 2, figure(now, "lobescribe_shop_waiting"), 0, "the engine and the trace")
	status, health := one.ask("GET", "/healthz", nil)
	assert.Equal(t, http.StatusOK, status, "a bench works offline for weeks: %s", health)
	assert.Contains(t, health, "shop: 2 waiting, cut off since 2")

	// The second records without a daemon, and has it told later.
	twoData := t.TempDir()
	address, turn = oneTurn(t, 32)
	go func() {
		time.Sleep(2 * time.Second)
		turn()
	}()
	runBinary(t, "record", "--save", "--data", twoData, "--indicator", address, "--openings", "1", "--valve", "1E")

	page := open()
	two := start(t, "serve", "--addr", "127.0.0.1:0", "--data", twoData, "--shop", at, "--bench", "stand-2")
	list := page.shopHas(2)
	valves := map[string]string{}
	for _, s := range list {
		valves[s.Valve] = s.Source
		assert.NotNil(t, s.MaxLift)
	}
	assert.Equal(t, map[string]string{"1I": "shop:stand-1", "1E": "shop:stand-2"}, valves)
	one.scrapeUntil(2, "lobescribe_shop_sent_total")
	one.scrapeUntil(1, "lobescribe_shop_connected")
	// The command line reads the record through the page that has it open.
	var listed []storage.Summary
	require.NoError(t, json.Unmarshal(runBinary(t, "traces", "--json", "--data", record), &listed))
	assert.Equal(t, list, listed)

	// The shop is killed, and the bench goes on; then it is back and hears all of it.
	page.kill()
	turned := filepath.Join(t.TempDir(), "turn.csv")
	require.NoError(t, os.WriteFile(turned, turnOfTwo(), 0o600))
	file, err := os.ReadFile(turned)
	require.NoError(t, err)
	r, err := http.Post(one.url+"api/v1/traces?name=turn.csv", "text/plain", bytes.NewReader(file))
	require.NoError(t, err)
	r.Body.Close()
	require.Equal(t, http.StatusCreated, r.StatusCode)
	one.scrapeUntil(0, "lobescribe_shop_connected")
	one.scrapeUntil(1, "lobescribe_shop_waiting")
	page = open()
	before := page.shopHas(3)
	assert.Equal(t, "v8 of stand-1", engineWords(before[0].Engine))

	// Nothing can be changed there, and it says where it can.
	for _, c := range [][2]string{{"POST", "/api/v1/engines"}, {"PUT", "/api/v1/bench"}, {"PATCH", "/api/v1/traces/1"}, {"PUT", "/api/v1/devices/indicator"}, {"DELETE", "/api/v1/engines/stand-1.v8?rev=1"}} {
		status, says := page.ask(c[0], c[1], map[string]string{})
		assert.Equal(t, http.StatusForbidden, status, c)
		assert.Contains(t, says, "Change it on the bench", c)
	}
	var now2 struct {
		Role    string
		Benches []shop.BenchEntry
		Engines []struct {
			ID, Type string
			Traces   int
		}
	}
	page.get("api/v1/shop", &now2)
	assert.Equal(t, "record", now2.Role)
	require.Len(t, now2.Benches, 2)
	assert.EqualValues(t, 2, now2.Benches[0].Traces)
	require.Len(t, now2.Engines, 1)
	assert.Equal(t, 2, now2.Engines[0].Traces)

	// The second bench goes on with the first one's engine; its daemon fetches it.
	out := runBinary(t, "shop", "fetch", "v8", "--data", twoData, "--shop", at)
	assert.Contains(t, string(out), `v8 is here now as "v8": 2 new traces`)
	two.get("api/v1/traces", &listed)
	assert.Len(t, listed, 3)
	// And without a daemon.
	require.NoError(t, two.stop())
	var offers []shop.Offer
	require.NoError(t, json.Unmarshal(runBinary(t, "shop", "engines", "--json", "--data", twoData, "--shop", at), &offers))
	require.Len(t, offers, 1)
	assert.Equal(t, "v8", offers[0].Local)
	require.NoError(t, one.stop())

	// Made again from the stream it is the same; the old record is kept.
	require.NoError(t, page.stop())
	page = start(t, "shop", "--embedded", "--listen", nats, "--addr", "127.0.0.1:0", "--data", record, "--rebuild")
	assert.Equal(t, before, page.shopHas(3))
	old, err := filepath.Glob(filepath.Join(record, "bench-old-*.db"))
	require.NoError(t, err)
	assert.Len(t, old, 1)
	require.NoError(t, page.stop())

	// A bench's own store is no record, and a record is no bench's.
	for _, c := range [][]string{{"shop", "--embedded", "--listen", "127.0.0.1:0", "--data", twoData}, {"shop", "--embedded", "--rebuild", "--data", twoData}} {
		code, says := fails(t, append(c, "--addr", "127.0.0.1:0")...)
		assert.Equal(t, exitFailed, code)
		assert.Contains(t, says, "a bench's own store")
	}
	code, says := fails(t, "import", turned, "--data", record)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, says, "the record of a shop")
}

// engineWords undoes how the record names an engine.
func engineWords(id string) string {
	bench, name, _ := strings.Cut(id, ".")
	return name + " of " + bench
}

// turnOfTwo is a trace of two openings, of simple-harmonic lift, 10 mm.
func turnOfTwo() []byte {
	var b bytes.Buffer
	b.WriteString("t_s,lift_mm\n")
	for i := range 20 * 50 {
		lift := 0
		if s := i / 50; s%8 > 3 {
			k := i%400 - 200 // in 200 readings up and down
			lift = 1000 - (k-100)*(k-100)/10
		}
		fmt.Fprintf(&b, "%.2f,%.2f\n", float64(i)/50, float64(lift)/100)
	}
	return b.Bytes()
}

// fails runs the built binary, which must fail with one line.
func fails(t *testing.T, args ...string) (code int, says string) {
	t.Helper()
	name, err := builtBinary()
	require.NoError(t, err)
	ctx, stop := context.WithTimeout(t.Context(), patience)
	defer stop()
	cmd := exec.CommandContext(ctx, name, args...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	require.Error(t, cmd.Run(), "%v: %s", args, &out)
	assert.Empty(t, out.String())
	assert.Equal(t, 1, strings.Count(errs.String(), "\n"), errs.String())
	return cmd.ProcessState.ExitCode(), errs.String()
}

// A record of a stream that is no more is set aside with words, and the page
// goes on at the same address with what the new stream has.
func TestARecordOfAnotherStreamIsSetAside(t *testing.T) {
	t.Parallel()
	nats, record := freeAddress(t), t.TempDir()
	args := []string{"shop", "--embedded", "--listen", nats, "--addr", "127.0.0.1:0", "--data", record}
	data := t.TempDir()
	turned := filepath.Join(t.TempDir(), "turn.csv")
	require.NoError(t, os.WriteFile(turned, turnOfTwo(), 0o600))
	runBinary(t, "import", turned, "--data", data)
	page := start(t, args...)
	one := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data, "--shop", "nats://"+nats, "--bench", "stand-1")
	page.shopHas(1)
	require.NoError(t, one.stop())
	require.NoError(t, page.stop())

	require.NoError(t, os.RemoveAll(filepath.Join(record, "streams")))
	page = start(t, args...)
	require.Eventually(t, func() bool {
		old, err := filepath.Glob(filepath.Join(record, "bench-old-*.db"))
		var list []storage.Summary
		if err != nil || len(old) != 1 {
			return false
		}
		r, err := http.Get(page.url + "api/v1/traces") // it is reopened just now
		if err != nil {
			return false
		}
		defer r.Body.Close()
		return json.NewDecoder(r.Body).Decode(&list) == nil && len(list) == 0
	}, patience, 50*time.Millisecond)
	require.NoError(t, page.stop())
	assert.Contains(t, page.stderr.String(), "the old one is kept as")
	old, err := filepath.Glob(filepath.Join(record, "bench-old-*.db"))
	require.NoError(t, err)
	kept, err := storage.Open(old[0], storage.Options{ReadOnly: true})
	require.NoError(t, err)
	defer kept.Close()
	list, err := kept.Traces(storage.Query{})
	require.NoError(t, err)
	assert.Len(t, list, 1, "nothing of it was lost")
}
