package dashboard

import (
	"context"
	"net"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// from is a listener whose connections come from wherever the test says.
type from struct {
	conns chan net.Conn
}

func (f *from) Accept() (net.Conn, error) {
	c, ok := <-f.conns
	if !ok {
		return nil, net.ErrClosed
	}
	return c, nil
}
func (f *from) Close() error   { close(f.conns); return nil }
func (f *from) Addr() net.Addr { return &net.TCPAddr{} }

type cameFrom struct {
	net.Conn
	at     string
	closed chan struct{}
}

func (c *cameFrom) RemoteAddr() net.Addr { a, _ := net.ResolveTCPAddr("tcp", c.at); return a }
func (c *cameFrom) Close() error         { close(c.closed); return nil }

// Strangers have few places each, and when there is none left the one who came
// first goes; whoever has shown the key, and this machine, stay.
func TestStrangersShutOutNobody(t *testing.T) {
	l := &from{conns: make(chan net.Conn, 1)}
	limited := limit(l, 40)
	enter := func(at string) (*cameFrom, net.Conn) {
		c := &cameFrom{at: at, closed: make(chan struct{})}
		l.conns <- c
		got := make(chan net.Conn, 1)
		go func() {
			if c, err := limited.Accept(); err == nil {
				got <- c
			}
		}()
		select {
		case p := <-got:
			return c, p
		case <-c.closed: // it was sent away; the next takes its turn at accepting
			own := &cameFrom{at: "127.0.0.1:1", closed: make(chan struct{})}
			l.conns <- own
			(<-got).Close()
			return c, nil
		case <-time.After(30 * time.Second):
			t.Fatal("nobody gets in")
			return nil, nil
		}
	}
	isOpen := func(c *cameFrom) bool {
		select {
		case <-c.closed:
			return false
		default:
			return true
		}
	}
	guest, p := enter("192.168.1.9:1")
	known(withConnection(context.Background(), p))
	bench, _ := enter("127.0.0.1:1")
	var strangers []*cameFrom
	for i := range strangersEach + 5 {
		c, p := enter("192.168.1.66:1")
		assert.Equal(t, i < strangersEach, p != nil)
		strangers = append(strangers, c)
	}
	for _, at := range []string{"192.168.1.67:1", "192.168.1.68:1", "[fd00::1]:1"} {
		for range strangersEach {
			c, p := enter(at)
			require.NotNil(t, p, "one more gets in always")
			strangers = append(strangers, c)
		}
	}
	open := 0
	for _, c := range strangers {
		if isOpen(c) {
			open++
		}
	}
	assert.Equal(t, 38, open)
	assert.True(t, isOpen(guest))
	assert.True(t, isOpen(bench))
	late, p := enter("192.168.1.9:2")
	require.NotNil(t, p)
	assert.True(t, isOpen(late))
}

// drip sends a byte whenever it is asked, without end.
type drip struct{ started bool }

func (d *drip) Read(p []byte) (int, error) {
	if !d.started {
		d.started = true
		return copy(p, "t_s,lift_mm\n0,0\n"), nil
	}
	time.Sleep(10 * time.Millisecond) // its own pace
	return copy(p, " "), nil
}

// Whoever sends a byte now and then does not hold a place for ever.
func TestUploadWait(t *testing.T) {
	s := serve(t, func(o *Options) { o.UploadWait = 300 * time.Millisecond })
	q, err := http.NewRequestWithContext(t.Context(), http.MethodPost, s.url+"/api/v1/traces?name=a.csv", &drip{})
	require.NoError(t, err)
	q.Header.Set("Origin", s.url)
	answer, err := http.DefaultClient.Do(q)
	if err == nil { // or the connection is cut
		defer answer.Body.Close()
		assert.Equal(t, http.StatusBadRequest, answer.StatusCode)
	}
	http.DefaultClient.CloseIdleConnections()
}
