package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// BenchmarkUnwatched measures what the built daemon costs while it follows and
// stores what an instrument on a pseudo-tty sends and no page looks: processor
// time a reading, and what it holds in memory. b.N is readings; a second's are
// too few.
func BenchmarkUnwatched(b *testing.B) {
	for _, perSecond := range []float64{100, 1000} {
		b.Run(fmt.Sprintf("%g a second", perSecond), func(b *testing.B) {
			c := newCrowd(b, b.TempDir())
			c.turn(context.Background(), int(4*perSecond), perSecond) // its pace is known
			before := c.daemon.processor()
			b.ResetTimer()
			c.turn(context.Background(), b.N, perSecond)
			b.StopTimer()
			time.Sleep(200 * time.Millisecond) // it has taken the last of them
			cpu := c.daemon.processor() - before
			_, resident := c.daemon.costs()
			b.ReportMetric(float64(cpu.Nanoseconds())/1e3/float64(b.N), "cpu-µs/reading")
			b.ReportMetric(float64(resident>>20), "MB-resident")
			b.ReportMetric(0, "ns/op") // the pace is ours
			require.NoError(b, c.daemon.stop())
		})
	}
}

// BenchmarkFirstReading measures from the start of the process, with an
// instrument on a pseudo-tty that has been sending all along, to the first of
// its readings at a client of the live socket: with the layout of its lines in
// the address, and with that still to be found.
func BenchmarkFirstReading(b *testing.B) {
	for _, k := range []struct{ name, query string }{{"layout known", "baud=115200&format=unit-behind"}, {"layout found", "baud=115200"}} {
		b.Run(k.name, func(b *testing.B) {
			_, err := builtBinary()
			require.NoError(b, err)
			link := openTTY(b, k.query)
			ctx, stop := context.WithCancel(context.Background())
			ended := make(chan struct{})
			go func() {
				defer close(ended)
				(&crowd{TB: b, link: link}).turn(ctx, 1<<30, 100)
			}()
			var took []time.Duration
			for b.Loop() {
				began := time.Now()
				p := start(b, "serve", "--addr", "127.0.0.1:0", "--data", b.TempDir(), "--indicator", link.Address())
				for m := range p.live() {
					if m.Type == "readings" && len(m.Lift) > 0 {
						break
					}
				}
				took = append(took, time.Since(began))
				b.StopTimer()
				require.NoError(b, p.stop())
				b.StartTimer()
			}
			stop()
			<-ended
			reportTimes(b, took)
		})
	}
}

// processor returns the processor time that the threads of a process have had,
// to the nanosecond: what costs tells comes in steps of ten milliseconds.
func (p *process) processor() (cpu time.Duration) {
	p.t.Helper()
	threads, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/schedstat", p.cmd.Process.Pid))
	require.NoError(p.t, err)
	for _, name := range threads {
		text, err := os.ReadFile(name)
		require.NoError(p.t, err)
		var ran int64
		_, err = fmt.Sscan(string(text), &ran)
		require.NoError(p.t, err)
		cpu += time.Duration(ran)
	}
	return cpu
}
