//go:build unix

package main

import (
	"context"
	"fmt"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// BenchmarkTTYToClient measures from the write of a line into a pseudo-tty to
// the message that carries it at a client of the live socket, through the built
// binary: batched, as a page has it, and with the lowest delay. b.N is readings.
func BenchmarkTTYToClient(b *testing.B) {
	for _, mode := range []struct{ name, query string }{{"batched", ""}, {"lowest", "?delay=lowest"}} {
		for _, perSecond := range []float64{100, 1000} {
			b.Run(fmt.Sprintf("%s/%g a second", mode.name, perSecond), func(b *testing.B) {
				c := newCrowd(b, b.TempDir())
				c.query = mode.query
				var pages sync.WaitGroup
				c.listen(&pages)
				c.turn(context.Background(), int(2*perSecond), perSecond) // its pace is known
				c.mu.Lock()
				c.took = c.took[:0]
				c.mu.Unlock()
				b.ResetTimer()
				c.turn(context.Background(), b.N, perSecond)
				b.StopTimer()
				require.NoError(b, c.daemon.stop())
				pages.Wait()
				if len(c.took) == 0 {
					return // the heel alone
				}
				p50, p99 := c.percentiles()
				b.ReportMetric(p50.Seconds()*1e3, "p50-ms")
				b.ReportMetric(p99.Seconds()*1e3, "p99-ms")
				b.ReportMetric(0, "ns/op") // the pace is ours
			})
		}
	}
}
