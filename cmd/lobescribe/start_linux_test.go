package main

import (
	"io"
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// What a small board at the bench can spare.
const (
	startsWithin = 300 * time.Millisecond
	idleWithin   = 40_000_000
)

// BenchmarkStart measures the built daemon as somebody who has just switched on
// meets it: from the start of the process (its file is in the system's cache, the
// store is new) until the page has come, and what it holds in memory when nobody
// has done anything for two seconds. It fails beyond what is aimed at.
func BenchmarkStart(b *testing.B) {
	_, err := builtBinary()
	require.NoError(b, err)
	var took []time.Duration
	var resident int64
	for b.Loop() {
		began := time.Now()
		p := start(b, "serve", "--addr", "127.0.0.1:0", "--data", b.TempDir())
		r, err := http.Get(p.url)
		require.NoError(b, err)
		body, err := io.ReadAll(r.Body)
		require.NoError(b, err)
		took = append(took, time.Since(began))
		require.Equal(b, http.StatusOK, r.StatusCode)
		require.NotEmpty(b, body)
		r.Body.Close()

		b.StopTimer()
		time.Sleep(2 * time.Second)
		_, now := p.costs()
		resident = max(resident, now)
		require.NoError(b, p.stop())
		b.StartTimer()
	}
	b.ReportMetric(float64(resident)/1e6, "idle-MB")
	if middle := reportTimes(b, took); middle > startsWithin {
		b.Errorf("the page comes after %v, not within %v", middle, startsWithin)
	}
	if resident > idleWithin {
		b.Errorf("%d bytes are resident, not at most %d", resident, idleWithin)
	}
}

// reportTimes reports the median, which it returns, and the longest.
func reportTimes(b *testing.B, took []time.Duration) time.Duration {
	slices.Sort(took)
	middle, last := took[len(took)/2], took[len(took)-1]
	b.ReportMetric(middle.Seconds()*1e3, "p50-ms")
	b.ReportMetric(last.Seconds()*1e3, "most-ms")
	b.ReportMetric(0, "ns/op") // these say it better
	return middle
}
