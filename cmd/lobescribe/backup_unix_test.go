//go:build unix

package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/storage"
)

// While the built daemon records a thousand readings a second, backups are taken
// one after the other, by the page's way and by the command line's. Each is
// whole, and holds what had been acknowledged when it was asked for.
func TestBackupsWhileRecordingVerify(t *testing.T) {
	t.Parallel()
	const perSecond = 1000
	data := t.TempDir()
	c := newCrowd(t, data)
	ctx, stop := context.WithCancel(context.Background())
	var turning sync.WaitGroup
	turning.Go(func() { c.turn(ctx, 1<<30, perSecond) })
	defer func() { stop(); turning.Wait() }()
	type state struct {
		Trace *struct {
			ID     storage.ID `json:"id"`
			OnDisk float64    `json:"on_disk_s"`
		} `json:"trace"`
	}
	now := func() (s state) { c.daemon.get("/api/v1/state", &s); return s }
	require.Eventually(t, func() bool { s := now(); return s.Trace != nil && s.Trace.OnDisk > 1 }, patience, 20*time.Millisecond)
	for i := range 6 {
		acknowledged := now().Trace
		name := filepath.Join(t.TempDir(), "copy.db")
		if i%2 == 0 {
			runBinary(t, "backup", name, "--data", data)
		} else {
			r, err := http.Get(c.daemon.url + "api/v1/backup")
			require.NoError(t, err)
			f, err := os.Create(name)
			require.NoError(t, err)
			_, err = io.Copy(f, r.Body)
			require.NoError(t, err)
			r.Body.Close()
			require.NoError(t, f.Close())
		}
		runBinary(t, "verify", name)
		copied, err := storage.Open(name, storage.Options{ReadOnly: true})
		require.NoError(t, err)
		_, trace, err := copied.Load(acknowledged.ID)
		require.NoError(t, err)
		require.NotEmpty(t, trace.Readings)
		assert.GreaterOrEqual(t, trace.Readings[len(trace.Readings)-1].At.Seconds(), acknowledged.OnDisk)
		require.NoError(t, copied.Close())
	}
	stop()
	turning.Wait()
	require.NoError(t, c.daemon.stop())
}

// BenchmarkLiveDuringBackups measures from the write of a line into a
// pseudo-tty to the message that carries it at a page, at a thousand readings a
// second on a store of some 16 MB, in turns of a few seconds without and with
// backups one after the other, and the ratio of the two 99th percentiles. b.N is
// readings of each kind.
func BenchmarkLiveDuringBackups(b *testing.B) {
	const perSecond = 1000
	data := b.TempDir()
	store, err := storage.Open(filepath.Join(data, storeFile), storage.Options{})
	require.NoError(b, err)
	w, err := store.Begin(storage.Head{})
	require.NoError(b, err)
	batch := make([]measure.Reading, 100_000)
	for at, x := measure.Stamp(0), uint64(1); at < 5_000_000; {
		for i := range batch {
			x = x*6364136223846793005 + 1442695040888963407
			batch[i] = measure.Reading{At: at, Lift: measure.Length(x>>40) * 10, Has: measure.HasLift}
			at++
		}
		require.NoError(b, w.Append(batch, nil))
	}
	require.NoError(b, w.End())
	require.NoError(b, store.Close())
	info, err := os.Stat(filepath.Join(data, storeFile))
	require.NoError(b, err)

	c := newCrowd(b, data)
	var pages sync.WaitGroup
	c.listen(&pages)
	c.turn(context.Background(), 2*cycleLong, perSecond) // it settles, and records
	took := map[bool][]time.Duration{}
	backups := 0
	b.ResetTimer()
	for done := 0; done < b.N; done += 4 * perSecond {
		for _, with := range []bool{false, true} {
			c.sinceLast()
			ctx, stop := context.WithCancel(context.Background())
			var backing sync.WaitGroup
			if with {
				backing.Go(func() {
					for ctx.Err() == nil {
						if copyTo(ctx, c.daemon.url+"api/v1/backup", io.Discard) == nil {
							backups++
						}
					}
				})
			}
			c.turn(context.Background(), 4*perSecond, perSecond)
			took[with] = append(took[with], c.sinceLast()...)
			stop()
			backing.Wait()
		}
	}
	b.StopTimer()
	require.NoError(b, c.daemon.stop())
	pages.Wait()
	p99 := func(with bool) float64 {
		all := took[with]
		require.NotEmpty(b, all)
		slices.Sort(all)
		return all[len(all)*99/100].Seconds() * 1e3
	}
	b.ReportMetric(float64(info.Size()>>20), "MB-store")
	b.ReportMetric(float64(backups), "backups")
	b.ReportMetric(p99(false), "p99-ms-without")
	b.ReportMetric(p99(true), "p99-ms-during")
	b.ReportMetric(p99(true)/p99(false), "ratio")
	b.ReportMetric(0, "ns/op") // the pace is ours
}

// sinceLast returns the times taken since it was last asked.
func (c *crowd) sinceLast() []time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	took := c.took
	c.took = nil
	return took
}

func copyTo(ctx context.Context, url string, w io.Writer) error {
	q, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return err
	}
	r, err := http.DefaultClient.Do(q)
	if err != nil {
		return err
	}
	defer r.Body.Close()
	if r.StatusCode != http.StatusOK {
		return fmt.Errorf("backup: %s", r.Status)
	}
	_, err = io.Copy(w, r.Body)
	return err
}
