//go:build unix

package device

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/creack/pty"

	"lobescribe/device/address"
)

// BenchmarkTTYToReading is the way of one line from the device's end of a
// pseudo-tty to the reading in hand.
func BenchmarkTTYToReading(b *testing.B) {
	master, slave, err := pty.Open()
	if err != nil {
		b.Fatal(err)
	}
	defer master.Close()
	defer slave.Close()
	a, err := address.Parse("serial:" + slave.Name() + "?format=unit-behind&baud=115200")
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	s := Open(ctx, a, Options{})
	reading := func() {
		for e := range s.Events() {
			if len(e.Readings) > 0 {
				return
			}
		}
	}
	for s.Counters().Opens == 0 {
		time.Sleep(time.Millisecond)
	}
	time.Sleep(quietStart.Duration())
	for range settleReadings { // until it has settled
		fmt.Fprint(master, "0.500 mm\r\n")
	}
	reading()
	var took []time.Duration
	line := []byte("0.500 mm\r\n")
	for b.Loop() {
		start := time.Now()
		if _, err := master.Write(line); err != nil {
			b.Fatal(err)
		}
		reading()
		took = append(took, time.Since(start))
	}
	cancel()
	for range s.Events() {
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds()), "µs-p50")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "µs-p99")
}
