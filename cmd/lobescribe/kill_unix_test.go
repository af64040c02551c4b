//go:build unix

package main

import (
	"context"
	"encoding/json"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
)

// kills is how often the daemon is killed: LOBESCRIBE_KILLS, or a few.
func kills(t *testing.T) int {
	n, err := strconv.Atoi(os.Getenv("LOBESCRIBE_KILLS"))
	if err != nil {
		return 4
	}
	t.Logf("%d kills", n)
	return n
}

// acknowledged is what the page was told to be on disk.
type acknowledged struct {
	until float64 // trace time
	ended bool
}

// The built binary, on a pseudo-tty, is killed with -9 at random moments, on one
// store: while it records, ends a trace, backs up, and starts. After each, the
// store verifies and holds everything that was acknowledged.
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

	data := t.TempDir()
	seed := uint64(time.Now().UnixNano())
	chance := rand.New(rand.NewPCG(seed, 0))
	t.Logf("seed %d", seed)
	known := map[uint64]acknowledged{}
	recorded, cut := 0, 0
	for range kills(t) {
		daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", link.Address())
		end := time.Now().Add(time.Duration(chance.IntN(2500)) * time.Millisecond)
		last := uint64(0)
		for time.Now().Before(end) {
			var s struct {
				Trace *struct {
					ID       uint64  `json:"id"`
					State    string  `json:"state"`
					Readings int     `json:"readings"`
					OnDisk   float64 `json:"on_disk_s"`
				} `json:"trace"`
			}
			daemon.get("/api/v1/state", &s)
			if s.Trace != nil && s.Trace.ID != 0 {
				last = s.Trace.ID
				known[last] = acknowledged{until: s.Trace.OnDisk, ended: s.Trace.State == "kept"}
			}
			switch chance.IntN(40) {
			case 0:
				daemon.send("POST", "/api/v1/trace/end", struct{}{})
			case 1: // a backup that the kill may cut
				go func(url string) {
					if r, err := http.Get(url + "api/v1/backup"); err == nil {
						r.Body.Close()
					}
				}(daemon.url)
			}
			time.Sleep(5 * time.Millisecond)
		}
		daemon.kill()

		store, err := storage.Open(filepath.Join(data, storeFile), storage.Options{})
		require.NoError(t, err)
		report, err := store.Verify(t.Context())
		require.NoError(t, err)
		require.True(t, report.Whole(), report.String())
		for id, k := range known {
			head, trace, err := store.Load(storage.ID(id))
			require.NoError(t, err, "trace %d was acknowledged", id)
			if k.until > 0 {
				require.NotEmpty(t, trace.Readings)
				require.GreaterOrEqual(t, trace.Readings[len(trace.Readings)-1].At.Seconds(), k.until, "trace %d", id)
			}
			if k.ended {
				require.False(t, head.CutShort, "trace %d had ended", id)
			}
			if id == last && head.CutShort {
				cut++
			}
		}
		recorded = report.Traces
		require.NoError(t, store.Close())
	}
	var list []json.RawMessage
	require.NoError(t, json.Unmarshal(runBinary(t, "traces", "--json", "--data", data), &list))
	assert.Len(t, list, recorded)
	assert.Positive(t, recorded, "something was recorded")
	t.Logf("%d traces, %d cut short by a kill, %d acknowledged and there", recorded, cut, len(known))
}
