package dashboard

import (
	"io"
	"net"
	"net/http"
	"sync"
	"time"
)

// limit bounds how many connections are open at once. Others wait in the
// system's queue; since every connection has deadlines, they are not kept
// waiting for ever.
func limit(l net.Listener, most int) net.Listener {
	return &limited{Listener: l, places: make(chan struct{}, most), done: make(chan struct{})}
}

// sendBuffer holds a second of a fast instrument's readings.
const sendBuffer = 64 << 10

type limited struct {
	net.Listener
	places chan struct{}
	done   chan struct{}
	once   sync.Once
}

func (l *limited) Accept() (net.Conn, error) {
	select {
	case l.places <- struct{}{}:
	case <-l.done:
		return nil, net.ErrClosed
	}
	c, err := l.Listener.Accept()
	if err != nil {
		<-l.places
		return nil, err
	}
	if tcp, ok := c.(*net.TCPConn); ok {
		// The system would take megabytes for a client that does not read: old
		// readings that can no longer be dropped in favour of new ones. An
		// error leaves the system's own size, which does no harm.
		_ = tcp.SetWriteBuffer(sendBuffer)
	}
	return &placed{Conn: c, leave: sync.OnceFunc(func() { <-l.places })}, nil
}

func (l *limited) Close() error {
	l.once.Do(func() { close(l.done) })
	return l.Listener.Close()
}

type placed struct {
	net.Conn
	leave func()
}

func (c *placed) Close() error {
	defer c.leave()
	return c.Conn.Close()
}

// steady gives a long body its time as long as it moves: the deadline is for
// standing still, not for the whole. It bounds the size as well.
type steady struct {
	r    io.ReadCloser
	rc   *http.ResponseController
	wait time.Duration
}

func (b *steady) Read(p []byte) (int, error) {
	// A recorder in a test has no deadlines; there it does not matter.
	_ = b.rc.SetReadDeadline(time.Now().Add(b.wait))
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
