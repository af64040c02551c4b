package dial

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"time"

	"lobescribe/device/port"
)

// tcpLink is raw bytes over a socket: a serial-over-network bridge.
type tcpLink struct {
	net.Conn
}

const (
	tcpDialTime  = 5 * time.Second
	tcpWriteTime = time.Second
)

func dialTCP(ctx context.Context, host string) (port.Link, error) {
	// Keep-alives find a bridge that lost its power: it never says good-bye.
	d := net.Dialer{Timeout: tcpDialTime, KeepAliveConfig: net.KeepAliveConfig{
		Enable: true, Idle: 5 * time.Second, Interval: 2 * time.Second, Count: 3}}
	c, err := d.DialContext(ctx, "tcp", host)
	if err != nil {
		return nil, &port.OpenError{Port: host, Cause: fmt.Errorf("%w: %w", port.ErrNotFound, err),
			Hint: "is the bridge switched on, and are address and port right?"}
	}
	return &tcpLink{c}, nil
}

// Name returns the host that was reached.
func (l *tcpLink) Name() string { return l.RemoteAddr().String() }

// Read returns what has come, or nothing after a while.
func (l *tcpLink) Read(p []byte) (int, error) {
	if err := l.SetReadDeadline(time.Now().Add(port.ReadPause)); err != nil {
		return 0, err
	}
	n, err := l.Conn.Read(p)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = nil
	}
	return n, err
}

// Write sends a request.
func (l *tcpLink) Write(p []byte) (int, error) {
	if err := l.SetWriteDeadline(time.Now().Add(tcpWriteTime)); err != nil {
		return 0, err
	}
	return l.Conn.Write(p)
}
