package dashboard

import (
	"container/list"
	"context"
	"io"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"
)

// limit bounds how many connections are open at once, in all and from one
// address. A stranger is a connection from another machine that has not shown
// the key: strangers have few places each, and when all places are taken the
// stranger who came first goes, so that nobody without the key can shut out
// whoever has it. Where there is no stranger left others wait in the system's
// queue; since every connection has deadlines, not for ever.
func limit(l net.Listener, most int) *limited {
	return &limited{Listener: l, places: make(chan struct{}, most), done: make(chan struct{}), strangers: list.New(), from: map[netip.Addr]int{}}
}

// strangersEach is more than a browser opens to one machine.
const strangersEach = 16

// sendBuffer holds a second of a fast instrument's readings.
const sendBuffer = 64 << 10

type limited struct {
	net.Listener
	places chan struct{}
	done   chan struct{}
	once   sync.Once

	mu        sync.Mutex
	strangers *list.List // of *placed, who came first in front
	from      map[netip.Addr]int
}

func (l *limited) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if tcp, ok := c.(*net.TCPConn); ok {
			// The system would take megabytes for a client that does not read: old
			// readings that can no longer be dropped in favour of new ones. An
			// error leaves the system's own size, which does no harm.
			_ = tcp.SetWriteBuffer(sendBuffer)
		}
		p := &placed{Conn: c, l: l}
		if !l.admit(p) {
			c.Close()
			continue
		}
		select {
		case l.places <- struct{}{}:
			return p, nil
		default:
		}
		l.turnOut()
		select {
		case l.places <- struct{}{}:
			return p, nil
		case <-l.done:
			p.forget()
			c.Close()
			return nil, net.ErrClosed
		}
	}
}

// admit counts a newcomer; false for one stranger too many.
func (l *limited) admit(p *placed) bool {
	at, err := netip.ParseAddrPort(p.RemoteAddr().String())
	if err != nil || at.Addr().Unmap().IsLoopback() {
		return true
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	p.addr = at.Addr().Unmap()
	if l.from[p.addr] >= strangersEach {
		return false
	}
	l.from[p.addr]++
	p.stranger = l.strangers.PushBack(p)
	return true
}

// turnOut closes the connection of the stranger who came first, if there is one
// besides the newcomer.
func (l *limited) turnOut() {
	l.mu.Lock()
	var first *placed
	if e := l.strangers.Front(); e != nil && e != l.strangers.Back() {
		first = e.Value.(*placed)
	}
	l.mu.Unlock()
	if first != nil {
		first.Close()
	}
}

func (l *limited) Close() error {
	l.once.Do(func() { close(l.done) })
	return l.Listener.Close()
}

// placed is a connection that has a place.
type placed struct {
	net.Conn
	l        *limited
	once     sync.Once
	addr     netip.Addr
	stranger *list.Element // nil for this machine, and for whoever has shown the key
}

// forget makes no stranger of it any more.
func (c *placed) forget() {
	c.l.mu.Lock()
	defer c.l.mu.Unlock()
	if c.stranger == nil {
		return
	}
	c.l.strangers.Remove(c.stranger)
	c.stranger = nil
	if c.l.from[c.addr]--; c.l.from[c.addr] <= 0 {
		delete(c.l.from, c.addr)
	}
}

func (c *placed) Close() error {
	c.once.Do(func() {
		c.forget()
		<-c.l.places
	})
	return c.Conn.Close()
}

// connection is where a request's context holds its connection.
type connection struct{}

// withConnection puts a connection into the context of its requests.
func withConnection(ctx context.Context, c net.Conn) context.Context {
	if over, ok := c.(interface{ NetConn() net.Conn }); ok {
		c = over.NetConn() // TLS
	}
	return context.WithValue(ctx, connection{}, c)
}

// known notes that the key was shown on the connection of a request.
func known(ctx context.Context) {
	if c, ok := ctx.Value(connection{}).(*placed); ok {
		c.forget()
	}
}

// steady gives a long body its time as long as it moves: wait is for standing
// still. The whole has until; whoever sends a byte now and then must not hold a
// place for ever.
type steady struct {
	r     io.ReadCloser
	rc    *http.ResponseController
	wait  time.Duration
	until time.Time
}

func (b *steady) Read(p []byte) (int, error) {
	deadline := time.Now().Add(b.wait)
	if deadline.After(b.until) {
		deadline = b.until
	}
	// A recorder in a test has no deadlines; there it does not matter.
	_ = b.rc.SetReadDeadline(deadline)
	return b.r.Read(p)
}

func (b *steady) Close() error { return b.r.Close() }

// steadyWriter is steady for an answer.
type steadyWriter struct {
	w    io.Writer
	rc   *http.ResponseController
	wait time.Duration
	n    int // bytes so far
}

func (b *steadyWriter) Write(p []byte) (int, error) {
	_ = b.rc.SetWriteDeadline(time.Now().Add(b.wait)) // as above
	n, err := b.w.Write(p)
	b.n += n
	return n, err
}
