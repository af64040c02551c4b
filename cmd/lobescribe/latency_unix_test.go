//go:build unix

package main

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lobescribe/simulator"
)

// BenchmarkTTYToClient measures from the write of a line into a pseudo-tty to
// the message that carries it at a client of the live socket, through the built
// binary, at 100 readings a second. It reports the median and the 99th
// percentile.
func BenchmarkTTYToClient(b *testing.B) {
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=115200&format=auto"})
	require.NoError(b, err)
	defer link.Close()
	daemon := start(b, "serve", "--addr", "127.0.0.1:0", "--data", b.TempDir(), "--indicator", link.Address())
	messages := daemon.live()
	line := func(n int) []byte { return fmt.Appendf(nil, "%9.4f mm\r\n", float64(n)/10000) }
	warm := time.Now()
	for i := 0; time.Since(warm) < 3*time.Second; i++ { // the format is found
		_, _ = link.Write(line(i % 2))
		time.Sleep(10 * time.Millisecond)
	}
	for len(messages) > 0 {
		<-messages
	}
	var took []time.Duration
	n := 0
	b.ResetTimer()
	for b.Loop() {
		n++
		want := int64(n%100+10) * 100 // nm, unlike the last
		sent := time.Now()
		_, _ = link.Write(line(int(want) / 100))
		timeout := time.After(2 * time.Second)
		for arrived := false; !arrived; {
			select {
			case m := <-messages:
				arrived = slices.Contains(m.Lift, want)
			case <-timeout:
				b.Fatal("a reading does not arrive")
			}
		}
		took = append(took, time.Since(sent))
		time.Sleep(10*time.Millisecond - min(time.Since(sent), 10*time.Millisecond))
	}
	slices.Sort(took)
	b.ReportMetric(took[len(took)/2].Seconds()*1e3, "p50-ms")
	b.ReportMetric(took[len(took)*99/100].Seconds()*1e3, "p99-ms")
	b.ReportMetric(0, "ns/op") // the pause is most of it
}
