package daemon

import (
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"net"
	"sync"
	"sync/atomic"
	"time"

	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/device/port"
	"lobescribe/simulator"
)

// gauge is an indicator of a simulated bench: it sends a line each so often of the
// bench's time, again and again the same turns with rests between them, and has
// troubles for as long as it is told.
type gauge struct {
	clock func() measure.Stamp
	every measure.Stamp
	lines [][]byte

	mu     sync.Mutex
	chance *rand.Rand
	next   measure.Stamp // when the next line is due
	line   int
	until  map[trouble]measure.Stamp
	hung   measure.Stamp // when the last driver that does not come back does so after all
}

// trouble is what a gauge or its wire does.
type trouble string

const (
	unplugged trouble = "unplugged"
	silent    trouble = "silent"
	babbling  trouble = "babbling" // sends anything
	lying     trouble = "lying"    // sends lines of other turns, cut and put together
	flooding  trouble = "flooding"
	hanging   trouble = "hanging" // its driver does not come back
)

var troubles = []trouble{unplugged, silent, babbling, lying, flooding, hanging}

func newGauge(chance *rand.Rand, clock func() measure.Stamp) (*gauge, error) {
	rate := []float64{5, 10, 10, 20, 50}[chance.IntN(5)]
	g := &gauge{clock: clock, every: measure.Stamp(1e6 / rate), chance: rand.New(rand.NewPCG(chance.Uint64(), 1)), until: map[trouble]measure.Stamp{}}
	valves, styles := simulator.BenchMule().Valves, simulator.Styles()
	for range 3 {
		s, err := simulator.Scenario{Seed: chance.Uint64(), Valve: valves[chance.IntN(len(valves))], Openings: 1 + chance.IntN(3),
			Hand: simulator.Hand{Style: styles[chance.IntN(len(styles))]}, Indicator: simulator.Indicator{Rate: rate}}.Play()
		if err != nil {
			return nil, err
		}
		for _, c := range s.Indicator {
			g.lines = append(g.lines, c.Bytes)
		}
		rest := 22 + chance.ExpFloat64()*90 // seconds on the heel
		for range int(rest * rate) {
			g.lines = append(g.lines, s.Indicator[len(s.Indicator)-1].Bytes)
		}
	}
	return g, nil
}

// suffer gives the gauge a trouble for so long from now on.
func (g *gauge) suffer(t trouble, for_ time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.until[t] = g.clock() + measure.StampOf(for_)
	if t == hanging {
		g.hung = max(g.hung, g.until[t])
	}
}

// back returns how long it takes until every driver has come back.
func (g *gauge) back() time.Duration {
	g.mu.Lock()
	defer g.mu.Unlock()
	return max(0, (g.hung-g.clock()).Duration()) + time.Second
}

// heal ends all troubles.
func (g *gauge) heal() {
	g.mu.Lock()
	defer g.mu.Unlock()
	clear(g.until)
}

func (g *gauge) dial(context.Context, address.Address) (port.Link, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.clock() < g.until[unplugged] {
		return nil, &port.OpenError{Port: "the bench", Cause: port.ErrNotFound, Hint: "plug it in"}
	}
	return &gaugeLink{g: g}, nil
}

type gaugeLink struct {
	g      *gauge
	closed atomic.Bool
}

// linkPatience is how long a read waits for the first byte.
const linkPatience = 200 * time.Millisecond

func (l *gaugeLink) Read(p []byte) (int, error) {
	n, wait, err := l.g.send(p)
	switch {
	case l.closed.Load():
		return 0, io.EOF
	case n > 0 || err != nil:
		if n > 0 && wait > 0 {
			time.Sleep(wait)
		}
		return n, err
	}
	time.Sleep(wait)
	if wait >= linkPatience {
		return 0, nil
	}
	n, _, err = l.g.send(p)
	return n, err
}

// send fills p with what is there now; with nothing it says how long to wait.
func (g *gauge) send(p []byte) (n int, wait time.Duration, err error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	now := g.clock()
	on := func(t trouble) bool { return now < g.until[t] }
	switch {
	case on(unplugged):
		return 0, 0, errors.New("input/output error")
	case on(hanging):
		return 0, (g.until[hanging] - now).Duration(), nil
	case on(silent):
		g.next = now + g.every
		return 0, linkPatience, nil
	case on(babbling):
		n = 1 + g.chance.IntN(min(40, len(p)))
		for i := range n {
			p[i] = byte(g.chance.IntN(256))
		}
		return n, 10 * time.Millisecond, nil
	case on(flooding):
		for n+64 < min(len(p), 2048) {
			n += copy(p[n:], g.lines[g.chance.IntN(len(g.lines))])
		}
		return n, 5 * time.Millisecond, nil
	}
	for now >= g.next && n+64 < len(p) {
		line := g.lines[g.line]
		g.line = (g.line + 1) % len(g.lines)
		if on(lying) {
			other := g.lines[g.chance.IntN(len(g.lines))]
			line = append(append([]byte{}, other[:g.chance.IntN(len(other)+1)]...), line...)
		}
		n += copy(p[n:], line)
		g.next = max(g.next, now-measure.Second) + g.every // what nobody reads for longer is gone
	}
	return n, min(linkPatience, (g.next - now).Duration()), nil
}

func (l *gaugeLink) Write(p []byte) (int, error) { return len(p), nil }
func (l *gaugeLink) Close() error                { l.closed.Store(true); return nil }

// pipes is a listener without a socket, whose connections are net.Pipe: a socket of
// the system would hold up the bench's time.
type pipes struct {
	in   chan net.Conn
	once sync.Once
	done chan struct{}
	n    atomic.Int64
}

func newPipes() *pipes { return &pipes{in: make(chan net.Conn), done: make(chan struct{})} }

// pipeEnd is one end of a connection, with addresses as a loopback one has.
type pipeEnd struct {
	net.Conn
	local, remote net.Addr
}

func (p pipeEnd) LocalAddr() net.Addr  { return p.local }
func (p pipeEnd) RemoteAddr() net.Addr { return p.remote }

const pipePort = 8417

func (p *pipes) dial(ctx context.Context, _, _ string) (net.Conn, error) {
	here := &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: pipePort}
	there := &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: int(20000 + p.n.Add(1)%40000)}
	a, b := net.Pipe()
	select {
	case p.in <- pipeEnd{b, here, there}:
		return pipeEnd{a, there, here}, nil
	case <-p.done:
		return nil, net.ErrClosed
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.in:
		return c, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}

func (p *pipes) Close() error {
	p.once.Do(func() { close(p.done) })
	return nil
}

func (p *pipes) Addr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: pipePort} }
