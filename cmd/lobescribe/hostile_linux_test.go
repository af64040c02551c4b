package main

import (
	"bytes"
	"fmt"
	"math"
	"net"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// spout is a device on a socket that sends the same bytes again and again, as
// fast as they are taken. It returns its address and how much was taken.
func spout(t *testing.T, text []byte) (address string, taken *atomic.Int64) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	taken = new(atomic.Int64)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			_ = c.(*net.TCPConn).SetWriteBuffer(64 << 10) // what waits there counts as taken
			for err == nil {
				var n int
				n, err = c.Write(text)
				taken.Add(int64(n))
			}
			c.Close()
		}
	}()
	t.Cleanup(func() { l.Close(); <-ended })
	return "tcp://" + l.Addr().String(), taken
}

// costs returns the processor time and the resident memory of a process.
func (p *process) costs() (cpu time.Duration, resident int64) {
	p.t.Helper()
	const tick = 10 * time.Millisecond // USER_HZ is 100 on every Linux
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.cmd.Process.Pid))
	require.NoError(p.t, err)
	fields := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:])) // from field 3 on, proc(5)
	for _, i := range []int{11, 12} {
		n, err := strconv.ParseInt(fields[i], 10, 64)
		require.NoError(p.t, err)
		cpu += time.Duration(n) * tick
	}
	pages, err := strconv.ParseInt(fields[21], 10, 64)
	require.NoError(p.t, err)
	return cpu, pages * int64(os.Getpagesize())
}

// Devices that send as fast as a socket takes it, through the built binary: the
// page answers, memory and processor are bounded, the state says what is wrong,
// and the daemon stops when it is told to. The bounds on memory and processor
// are some three and ten times what was measured (35 MB, a tenth of a core).
func TestHostileDevices(t *testing.T) {
	t.Parallel()
	var lines, saw bytes.Buffer
	for i := range 20_000 {
		fmt.Fprintf(&lines, "%.3f mm\n", 5-5*math.Cos(float64(i)/20_000*2*math.Pi))
		fmt.Fprintf(&saw, "%.3f mm\n", 4-4*math.Cos(float64(i)/40*2*math.Pi)) // an opening every 40 lines
	}
	for name, c := range map[string]struct {
		text []byte
		says string
	}{
		"a million lines a second":       {lines.Bytes(), "more than can be followed"},
		"a thousand openings a second":   {saw.Bytes(), "more than can be followed"},
		"a line without end":             {bytes.Repeat([]byte("1"), 65_536), "no ends of lines"},
		"NULs":                           {make([]byte, 65_536), "nothing but NUL bytes"},
		"numbers of four hundred digits": {bytes.Repeat(append(bytes.Repeat([]byte("7"), 400), '\n'), 200), "longer than 128 bytes"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			address, taken := spout(t, c.text)
			daemon := start(t, "serve", "--addr", "127.0.0.1:0", "--data", t.TempDir(), "--indicator", address)
			began := time.Now()
			used, _ := daemon.costs()
			var s struct {
				Devices []struct{ Says string }
			}
			require.Eventually(t, func() bool {
				daemon.get("/api/v1/state", &s)
				return len(s.Devices) > 0 && strings.Contains(s.Devices[0].Says, c.says)
			}, patience, 50*time.Millisecond, "it is said what is wrong: %+v", &s)
			most := int64(0)
			for range 30 {
				time.Sleep(100 * time.Millisecond)
				daemon.get("/api/v1/state", &s)
				_, resident := daemon.costs()
				most = max(most, resident)
			}
			cpu, _ := daemon.costs()
			wall := time.Since(began)
			t.Logf("%.1f MB taken in %.1f s, %.0f %% of a core, %d MB resident", float64(taken.Load())/1e6, wall.Seconds(),
				100*(cpu-used).Seconds()/wall.Seconds(), most>>20)
			assert.Less(t, most, int64(128<<20))
			assert.Less(t, (cpu-used).Seconds()/wall.Seconds(), 1.0, "of a core")
			// 1 MB a second, what may come at once, and what systems buffer.
			assert.Less(t, taken.Load(), int64(wall.Seconds()*1_000_000)+24<<20)
			require.NoError(t, daemon.stop())
		})
	}
}
