//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
	"lobescribe/storage/tracefile"
)

// killing is the built binary, on a pseudo-tty and on one store, killed with -9
// again and again.
type killing struct {
	t         *testing.T
	chance    *rand.Rand
	indicator string // its address
	data      string
	copies    string // the folder of the backups

	known  map[uint64]acknowledged
	kinds  map[string]int // kills by what went on
	cut    int            // traces cut short by one
	whole  int            // backups that got their name
	broken int            // backups that were refused it
	most   float64        // seconds of a trace in the making that a kill cost
}

// acknowledged is what the page was told to be on disk.
type acknowledged struct {
	until float64 // trace time
	ended bool
}

// kills is how often the daemon is killed: LOBESCRIBE_KILLS, or a few.
func kills(t *testing.T) (n int, long bool) {
	n, err := strconv.Atoi(os.Getenv("LOBESCRIBE_KILLS"))
	if err != nil {
		return 5, false
	}
	t.Logf("%d kills", n)
	return n, true
}

// At random moments: while it starts, records, ends a trace, commits, backs up,
// and opens a store of an earlier schema. After each, the store opens and
// verifies and holds everything that was acknowledged, the trace in the making
// lacks its last second at most and is marked as cut short, and no half of a
// backup passes for a whole one.
func TestKilledAtRandomMoments(t *testing.T) {
	t.Parallel()
	session, err := simulator.Scenario{Seed: 12, Openings: 40, Valve: simulator.BenchMule().Valves[0],
		Hand: simulator.Hand{Speed: 300 * measure.Degree, Before: 200 * measure.Millisecond}, Indicator: simulator.Indicator{Rate: 200}}.Play()
	require.NoError(t, err)
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Path: filepath.Join(t.TempDir(), "indicator"), Query: "baud=115200&format=unit-behind"})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	played := make(chan struct{})
	go func() {
		defer close(played)
		for simulator.PlayBytes(ctx, session.Indicator, link, 1) == nil {
		}
	}()
	defer func() {
		stop()
		<-played
		assert.NoError(t, link.Close())
	}()

	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	k := &killing{t: t, chance: rand.New(rand.NewPCG(seed, 0)), indicator: link.Address(), data: t.TempDir(), copies: t.TempDir(),
		known: map[uint64]acknowledged{}, kinds: map[string]int{}}
	largeStore(t, k.data) // so that a backup takes its time
	n, long := kills(t)
	for round := range n {
		kind := [...]string{"recording", "backing up", "its backup killed", "starting", "opening an old store"}[round%5]
		k.kinds[kind]++
		switch kind {
		case "starting":
			k.killStarting(k.data, 250*time.Millisecond)
		case "opening an old store":
			k.killOnOldStore()
			continue
		default:
			k.record(kind)
		}
		k.look()
		k.lookAtCopies()
	}
	if long {
		assert.LessOrEqual(t, k.most, 1.0, "seconds lost")
	} else {
		assert.Less(t, k.most, 10.0, "a second on an idle machine")
	}

	// The next start takes away what the killed left, and the end leaves the store
	// and the mark that it was closed in order.
	daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", k.data)
	var list []json.RawMessage
	require.NoError(t, json.Unmarshal(runBinary(t, "traces", "--json", "--data", k.data), &list))
	assert.Greater(t, len(list), 1, "something was recorded")
	require.NoError(t, daemon.stop())
	left, err := os.ReadDir(k.data)
	require.NoError(t, err)
	require.Len(t, left, 2, "%v", left)
	assert.Equal(t, storeFile, left[0].Name())
	assert.Equal(t, storeFile+".closed", left[1].Name())
	t.Logf("killed %v; %d traces, %d cut short by a kill, %d acknowledged and there; at most %.2f s of one lost; %d backups whole, %d refused",
		k.kinds, len(list), k.cut, len(k.known), k.most, k.whole, k.broken)
}

// record lets the daemon record for a while, and kills it, perhaps while it
// backs up.
func (k *killing) record(kind string) {
	t := k.t
	daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", k.data, "--indicator", k.indicator)
	end := time.Now().Add(time.Duration(k.chance.IntN(2500)) * time.Millisecond)
	last, newest := uint64(0), 0.0
	for time.Now().Before(end) {
		var s struct {
			Position *struct {
				At float64 `json:"t_s"`
			} `json:"position"`
			Trace *struct {
				ID       uint64  `json:"id"`
				State    string  `json:"state"`
				Began    float64 `json:"t0_us"`
				OnDisk   float64 `json:"on_disk_s"`
				Readings int     `json:"readings"`
			} `json:"trace"`
		}
		daemon.get("/api/v1/state", &s)
		if s.Trace != nil && s.Trace.ID != 0 {
			last, newest = s.Trace.ID, 0
			k.known[last] = acknowledged{until: s.Trace.OnDisk, ended: s.Trace.State == "kept"}
			if s.Trace.State == "recording" && s.Position != nil {
				newest = s.Position.At - s.Trace.Began/1e6
			}
		}
		if k.chance.IntN(60) == 0 {
			daemon.send("POST", "/api/v1/trace/end", struct{}{})
		}
		time.Sleep(5 * time.Millisecond)
	}
	var backup *exec.Cmd
	var says bytes.Buffer
	copied := filepath.Join(k.copies, fmt.Sprintf("%d.db", time.Now().UnixNano()))
	if kind != "recording" {
		name, err := builtBinary()
		require.NoError(t, err)
		backup = exec.Command(name, "backup", copied, "--data", k.data)
		backup.Stderr = &says
		require.NoError(t, backup.Start())
		time.Sleep(time.Duration(k.chance.IntN(150)) * time.Millisecond)
		newest = 0 // no longer known: something was waited for
		if kind == "its backup killed" {
			_ = backup.Process.Kill()
		}
	}
	daemon.kill()
	if backup != nil {
		err := backup.Wait()
		_, missing := os.Stat(copied)
		switch {
		case err == nil:
			require.NoError(t, missing, "a backup that ended well is there")
		case kind == "backing up":
			require.Error(t, missing, "a backup that failed got its name: %s", &says)
			require.NotEmpty(t, says.String())
			k.broken++
		}
	}
	k.lost(last, newest)
}

// lost looks at what a kill cost the trace in the making, of which readings up
// to newest had come.
func (k *killing) lost(id uint64, newest float64) {
	t := k.t
	store, err := storage.Open(filepath.Join(k.data, storeFile), storage.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, store.Close()) }()
	if id == 0 {
		return
	}
	head, trace, err := store.Load(storage.ID(id))
	require.NoError(t, err)
	if !head.CutShort {
		return
	}
	k.cut++
	end := 0.0
	if n := len(trace.Readings); n > 0 {
		end = trace.Readings[n-1].At.Seconds()
	}
	k.most = max(k.most, newest-end)
}

// look opens the store and holds it against what was acknowledged.
func (k *killing) look() {
	t := k.t
	store, err := storage.Open(filepath.Join(k.data, storeFile), storage.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, store.Close()) }()
	report, err := store.Verify(t.Context())
	require.NoError(t, err)
	require.True(t, report.Whole(), report.String())
	for id, a := range k.known {
		head, trace, err := store.Load(storage.ID(id))
		require.NoError(t, err, "trace %d was acknowledged", id)
		if a.until > 0 {
			require.NotEmpty(t, trace.Readings)
			require.GreaterOrEqual(t, trace.Readings[len(trace.Readings)-1].At.Seconds(), a.until, "trace %d", id)
		}
		if a.ended {
			require.False(t, head.CutShort, "trace %d had ended", id)
		}
	}
}

// lookAtCopies verifies every backup that got its name; what did not is named
// for what it is.
func (k *killing) lookAtCopies() {
	files, err := os.ReadDir(k.copies)
	require.NoError(k.t, err)
	for _, f := range files {
		name := filepath.Join(k.copies, f.Name())
		if !strings.Contains(f.Name(), ".part-") {
			report, err := storage.VerifyFile(k.t.Context(), name)
			require.NoError(k.t, err)
			require.True(k.t, report.Whole(), report.String())
			k.whole++
		}
		require.NoError(k.t, os.Remove(name))
	}
}

// killStarting kills a daemon at a moment while it starts.
func (k *killing) killStarting(data string, within time.Duration) {
	name, err := builtBinary()
	require.NoError(k.t, err)
	daemon := exec.Command(name, "serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", k.indicator)
	require.NoError(k.t, daemon.Start())
	time.Sleep(time.Duration(k.chance.Int64N(int64(within))))
	_ = daemon.Process.Kill()
	require.Error(k.t, daemon.Wait())
}

// killOnOldStore puts a store of each schema there ever was before a daemon that
// is killed while it opens it, and again, and then looks whether what was in it
// is there. (The present schema is the first: until there is a second, nothing
// is upgraded here. What an upgrade does when it is killed is shown with made-up
// migrations, in storage.)
func (k *killing) killOnOldStore() {
	t := k.t
	stores, err := filepath.Glob("../../testdata/storage/schema*.lobes")
	require.NoError(t, err)
	require.NotEmpty(t, stores)
	for _, name := range stores {
		image, err := os.ReadFile(name)
		require.NoError(t, err)
		want, err := tracefile.ReadFile(strings.TrimSuffix(name, ".lobes") + ".jsonl")
		require.NoError(t, err)
		data := t.TempDir()
		path := filepath.Join(data, storeFile)
		require.NoError(t, os.WriteFile(path, image, 0o600))
		for range 2 {
			k.killStarting(data, 80*time.Millisecond)
		}
		store, err := storage.Open(path, storage.Options{})
		require.NoError(t, err)
		report, err := store.Verify(t.Context())
		require.NoError(t, err)
		require.True(t, report.Whole(), report.String())
		list, err := store.Traces(storage.Query{Engine: "v8"})
		require.NoError(t, err)
		require.Len(t, list, 2)
		for _, l := range list {
			_, got, err := store.Load(l.ID)
			require.NoError(t, err)
			require.Equal(t, want, got)
		}
		require.NoError(t, store.Close())
	}
}
