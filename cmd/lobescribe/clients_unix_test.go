//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/simulator"
)

// A crowd is an instrument on a pseudo-tty, the built daemon behind it, and as
// many pages as are asked for.
type crowd struct {
	testing.TB
	link   *simulator.Link
	daemon *process
	query  string // of the live socket
	// sent is when a line was written, by what it says: see line.
	sent [10 * topStep * 10]atomic.Int64
	// took are the times from that to the message at a page.
	mu   sync.Mutex
	took []time.Duration
}

// A cycle goes up in steps of two hundredths of a millimetre and down between
// them, so that a lift comes once in it; its last decimal is the cycle.
const (
	topStep   = 1000 // hundredths of a millimetre at the nose
	dwell     = 200  // lines on the heel between two cycles
	cycleLong = topStep + dwell
)

// line returns the n-th line, and its lift in tenths of a micrometre; 0 on the
// heel, where lines are alike.
func line(n int) (text []byte, lift int) {
	at, cycle := n%cycleLong, n/cycleLong%10
	switch {
	case at < topStep/2:
		lift = 2*at*100 + cycle
	case at < topStep:
		lift = (2*(topStep-at)-1)*100 + cycle
	}
	return fmt.Appendf(nil, "%.4f mm\r\n", float64(lift)/10_000), lift
}

func newCrowd(t testing.TB, data string) *crowd {
	c := &crowd{TB: t, link: openTTY(t, "baud=115200&format=unit-behind")}
	c.daemon = start(t, "serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", c.link.Address())
	return c
}

// openTTY opens a pseudo-tty whose address has that query.
func openTTY(t testing.TB, query string) *simulator.Link {
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: query})
	require.NoError(t, err)
	t.Cleanup(func() { link.Close() })
	return link
}

// turn sends so many lines, so many a second.
func (c *crowd) turn(ctx context.Context, lines int, perSecond float64) {
	began := time.Now()
	for n := range lines {
		due := began.Add(time.Duration(float64(n) / perSecond * float64(time.Second)))
		if wait := time.Until(due); wait > 0 {
			select {
			case <-time.After(wait):
			case <-ctx.Done():
			}
		}
		if ctx.Err() != nil {
			return
		}
		text, lift := line(n)
		c.sent[lift].Store(time.Now().UnixNano())
		_, _ = c.link.Write(text)
	}
}

func (c *crowd) dial(readBuffer int) (*websocket.Conn, error) {
	d := websocket.Dialer{HandshakeTimeout: patience, NetDial: func(network, addr string) (net.Conn, error) {
		conn, err := net.Dial(network, addr)
		if err == nil && readBuffer > 0 {
			err = conn.(*net.TCPConn).SetReadBuffer(readBuffer)
		}
		return conn, err
	}}
	conn, _, err := d.Dial("ws"+strings.TrimPrefix(c.daemon.url, "http")+"api/v1/live"+c.query, http.Header{"Origin": {strings.TrimSuffix(c.daemon.url, "/")}})
	return conn, err
}

// page is one page that listens: what it was called, in order.
type listening struct {
	conn     *websocket.Conn
	said     []string // cues and openings, as they came
	openings atomic.Int64
	lost     int
	ended    error
}

// listen opens a page that reads everything. Each reading's age is taken.
func (c *crowd) listen(done *sync.WaitGroup) *listening {
	conn, err := c.dial(0)
	require.NoError(c, err)
	l := &listening{conn: conn}
	ready := make(chan struct{})
	done.Go(func() {
		first := true
		for {
			_, text, err := conn.ReadMessage()
			if err != nil {
				l.ended = err
				break
			}
			now := time.Now().UnixNano()
			if first {
				first = false
				close(ready)
			}
			switch {
			case bytes.HasPrefix(text, []byte(`{"type":"readings"`)):
				l.lost += lostIn(text)
				for lift := range liftsIn(text) {
					if at := c.sent[lift/100%len(c.sent)].Load(); lift >= 100 && at != 0 {
						c.mu.Lock()
						c.took = append(c.took, time.Duration(now-at))
						c.mu.Unlock()
					}
				}
			case bytes.HasPrefix(text, []byte(`{"type":"opening"`)):
				l.said = append(l.said, string(text))
				l.openings.Add(1)
			case bytes.HasPrefix(text, []byte(`{"type":"cue"`)):
				l.said = append(l.said, string(text))
			}
		}
	})
	<-ready
	return l
}

// liftsIn yields the column of lifts, in nanometres, without the cost of
// decoding the message: sixty pages do this in the process that measures.
func liftsIn(text []byte) func(func(int) bool) {
	return func(yield func(int) bool) {
		_, rest, ok := bytes.Cut(text, []byte(`"lift_nm":[`))
		for ok && len(rest) > 0 {
			end := bytes.IndexAny(rest, ",]")
			if end < 0 {
				return
			}
			lift, err := strconv.Atoi(string(rest[:end]))
			if err != nil || !yield(lift) || rest[end] == ']' {
				return
			}
			rest = rest[end+1:]
		}
	}
}

func lostIn(text []byte) int {
	at := bytes.LastIndex(text, []byte(`"lost":`))
	n, _ := strconv.Atoi(strings.TrimSuffix(string(text[at+len(`"lost":`):]), "}"))
	return n
}

// unruly opens pages that do not read, and pages that come and go, until ctx
// ends.
func (c *crowd) unruly(ctx context.Context, done *sync.WaitGroup, stalled, restless int) {
	for range stalled {
		conn, err := c.dial(1) // a window as small as there is
		require.NoError(c, err)
		done.Go(func() { <-ctx.Done(); conn.Close() })
	}
	for i := range restless {
		done.Go(func() {
			r := rand.New(rand.NewPCG(uint64(i), 7))
			for ctx.Err() == nil {
				conn, err := c.dial(0)
				if err != nil {
					time.Sleep(50 * time.Millisecond) // it was told to wait
					continue
				}
				for range r.IntN(5) {
					_ = conn.SetReadDeadline(time.Now().Add(time.Second))
					if _, _, err := conn.ReadMessage(); err != nil {
						break
					}
				}
				conn.Close()
			}
		})
	}
}

// A hundred pages on the built daemon: sixty listen, twenty do not read, twenty
// come and go without end. Those that listen hear every cue and every opening,
// all the same and in the same order, and lose no reading; the daemon's memory
// stays within what is stated here.
func TestAHundredPages(t *testing.T) {
	t.Parallel()
	const healthy, stalled, restless, cycles, perSecond = 60, 20, 20, 2, 400
	c := newCrowd(t, t.TempDir())
	ctx, stop := context.WithCancel(context.Background())
	var pages, others sync.WaitGroup
	var all []*listening
	for range healthy {
		all = append(all, c.listen(&pages))
	}
	c.unruly(ctx, &others, stalled, restless)
	c.turn(ctx, cycles*cycleLong+100, perSecond)
	for i, l := range all {
		require.Eventually(t, func() bool { return l.openings.Load() == cycles }, patience, 5*time.Millisecond, "page %d heard %d openings", i, l.openings.Load())
	}
	if _, resident, ok := spent(c.daemon); ok {
		t.Logf("%d MB resident", resident>>20)
		assert.Less(t, resident, int64(128<<20), "the stated bound; 45 MB were measured")
	}
	stop()
	others.Wait()
	require.NoError(t, c.daemon.stop())
	pages.Wait()
	for i, l := range all {
		assert.Contains(t, l.ended.Error(), "stopping", "page %d was not sent away before the end", i)
		assert.Equal(t, all[0].said, l.said, "page %d", i)
		assert.Zero(t, l.lost, "page %d lost readings", i)
	}
	noses, half := 0, 0
	for _, text := range all[0].said {
		var m struct{ Kind string }
		require.NoError(t, json.Unmarshal([]byte(text), &m))
		switch m.Kind {
		case "nose":
			noses++
		case "at-half", "past-half":
			half++
		}
	}
	assert.Equal(t, cycles, noses)
	assert.GreaterOrEqual(t, half, 2*(cycles-1), "on each flank once max lift is known")
	p50, p99 := c.percentiles()
	t.Logf("tty to page: p50 %v, p99 %v over %d", p50, p99, len(c.took))
}

func (c *crowd) percentiles() (p50, p99 time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	require.NotEmpty(c, c.took)
	slices.Sort(c.took)
	return c.took[len(c.took)/2], c.took[len(c.took)*99/100]
}

// BenchmarkPages measures from the write of a line into a pseudo-tty to the
// message that carries it at a page, over all pages that listen: one, a hundred,
// and a hundred of which twenty do not read and twenty come and go. b.N is
// readings.
func BenchmarkPages(b *testing.B) {
	for _, perSecond := range []float64{100, 1000} {
		for _, k := range []struct{ healthy, stalled, restless int }{{1, 0, 0}, {60, 0, 0}, {60, 20, 20}} {
			b.Run(fmt.Sprintf("%g a second, %d listen, %d stalled, %d restless", perSecond, k.healthy, k.stalled, k.restless), func(b *testing.B) {
				c := newCrowd(b, b.TempDir())
				ctx, stop := context.WithCancel(context.Background())
				var pages, others sync.WaitGroup
				for range k.healthy {
					c.listen(&pages)
				}
				c.unruly(ctx, &others, k.stalled, k.restless)
				before, _, _ := spent(c.daemon)
				b.ResetTimer()
				c.turn(ctx, b.N, perSecond)
				b.StopTimer()
				if cpu, resident, ok := spent(c.daemon); ok {
					b.ReportMetric(float64(resident>>20), "MB-resident")
					b.ReportMetric(100*(cpu-before).Seconds()/b.Elapsed().Seconds(), "%-of-a-core")
				}
				stop()
				others.Wait()
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
