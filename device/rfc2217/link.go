package rfc2217

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"sync"
	"time"
)

// Link is an open port of a bridge. Read and Write may be called by two
// goroutines; Read answers the bridge's telnet commands on the way.
type Link struct {
	conn net.Conn
	raw  [4096]byte

	// What follows belongs to whoever reads.
	in        telnet
	said      [256][2]bool // options answered: of theirs (WILL), of ours (DO)
	agreed    bool         // the com port option is in force
	refused   bool
	signed    bool
	confirmed map[byte][]byte // by the client's code; only while opening
	reply     []byte

	mu    sync.Mutex // of what both use, and of writing
	lines Lines
	// takesBinary: the bridge takes bytes as they are. suspended: it asked for
	// silence.
	takesBinary, suspended bool
	out                    []byte
}

// How long things may take.
const (
	openTime  = 5 * time.Second
	writeTime = time.Second
	// readPause is how often a read comes back without bytes.
	readPause = 100 * time.Millisecond
)

// Why a bridge cannot be used.
var (
	// ErrNotSpoken: the other side does not speak RFC 2217.
	ErrNotSpoken = errors.New("it does not speak RFC 2217")
	// ErrNotSet: the bridge did not set its port as asked.
	ErrNotSet = errors.New("it did not set its port as asked")
)

// Open agrees with the bridge at the other end of conn and sets its port. The
// error wraps [ErrNotSpoken] or [ErrNotSet] where it is one of them; conn is
// closed then.
func Open(ctx context.Context, conn net.Conn, s Settings) (*Link, error) {
	l := &Link{conn: conn, confirmed: map[byte][]byte{}}
	if err := l.open(ctx, s); err != nil {
		conn.Close()
		return nil, fmt.Errorf("bridge %s: %w", conn.RemoteAddr(), err)
	}
	l.confirmed = nil
	return l, nil
}

func (l *Link) open(ctx context.Context, s Settings) error {
	wishes, err := s.wishes()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, openTime)
	defer cancel()
	for _, o := range []byte{optBinary, optNoGoWait} {
		l.said[o] = [2]bool{true, true}
		l.reply = append(l.reply, iac, will, o, iac, do, o)
	}
	l.said[optComPort][1] = true
	l.reply = append(l.reply, iac, will, optComPort)
	if err := l.answer(); err != nil {
		return err
	}
	if err := l.wait(ctx, func() bool { return l.agreed || l.refused }); err != nil {
		return err
	}
	if !l.agreed {
		return fmt.Errorf("%w: use tcp:// and set speed and parity on the bridge itself", ErrNotSpoken)
	}
	for _, w := range wishes {
		l.reply = appendSub(l.reply, w.code, w.value...)
	}
	l.reply = appendSub(l.reply, setControl, controlNoFlow)
	for _, line := range []struct {
		want Level
		on   byte
	}{{s.DTR, controlDTR}, {s.RTS, controlRTS}} {
		switch line.want {
		case On:
			l.reply = appendSub(l.reply, setControl, line.on)
		case Off:
			l.reply = appendSub(l.reply, setControl, line.on+1)
		}
	}
	l.reply = appendSub(l.reply, setLineMask, lineFaults)
	l.reply = appendSub(l.reply, setModemMask, 0xFF)
	l.reply = appendSub(l.reply, purge, purgeReceived)
	if err := l.answer(); err != nil {
		return err
	}
	done := func() bool {
		for _, w := range wishes {
			if _, ok := l.confirmed[w.code]; !ok {
				return false
			}
		}
		return true
	}
	if err := l.wait(ctx, done); err != nil {
		return err
	}
	return l.compare(wishes)
}

// wait reads until something is so, or the time is over; what the device says
// meanwhile is dropped.
func (l *Link) wait(ctx context.Context, so func() bool) error {
	for !so() && ctx.Err() == nil {
		if _, err := l.Read(l.raw[:]); err != nil {
			return fmt.Errorf("%w: it closed the line", ErrNotSpoken)
		}
	}
	if errors.Is(ctx.Err(), context.Canceled) {
		return ctx.Err()
	}
	return nil
}

// compare says what was not set as wished.
func (l *Link) compare(wishes []wish) error {
	var wrong []string
	for _, w := range wishes {
		got, ok := l.confirmed[w.code]
		switch {
		case !ok:
			wrong = append(wrong, fmt.Sprintf("%s %s was not confirmed", w.name, w.print(w.value)))
		case !bytes.Equal(got, w.value):
			wrong = append(wrong, fmt.Sprintf("%s is %s instead of %s", w.name, w.print(got), w.print(w.value)))
		}
	}
	if wrong != nil {
		return fmt.Errorf("%w: %s", ErrNotSet, strings.Join(wrong, ", "))
	}
	return nil
}

// Read returns what the device said, or nothing after a while.
func (l *Link) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	if err := l.conn.SetReadDeadline(time.Now().Add(readPause)); err != nil {
		return 0, err
	}
	n, err := l.conn.Read(p) // what is left of it is not longer
	got := l.in.feed(p[:0], p[:n], l.take)
	if e := l.answer(); err == nil || errors.Is(err, os.ErrDeadlineExceeded) {
		err = e
	}
	return len(got), err
}

// Write sends bytes to the device.
func (l *Link) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.suspended {
		return 0, fmt.Errorf("write to bridge %s: %w", l.conn.RemoteAddr(), errSuspended)
	}
	l.out = appendData(l.out[:0], p, l.takesBinary)
	if err := l.send(l.out); err != nil {
		return 0, err
	}
	return len(p), nil
}

var errSuspended = errors.New("it asked to wait")

// send writes; the caller holds mu.
func (l *Link) send(b []byte) error {
	if err := l.conn.SetWriteDeadline(time.Now().Add(writeTime)); err != nil {
		return err
	}
	_, err := l.conn.Write(b)
	return err
}

// answer sends what is owed to the bridge.
func (l *Link) answer() error {
	if len(l.reply) == 0 {
		return nil
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	err := l.send(l.reply)
	l.reply = l.reply[:0]
	return err
}

// Close ends the link.
func (l *Link) Close() error { return l.conn.Close() }

// Name returns the bridge's address.
func (l *Link) Name() string { return l.conn.RemoteAddr().String() }

// Lines returns what the bridge told of its port up to now.
func (l *Link) Lines() Lines {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.lines
}

// Modem returns the lines that a foot switch may hang on. They are down until
// the bridge speaks of them, which it does when they change.
func (l *Link) Modem() (cts, dsr bool, err error) {
	s := l.Lines()
	return s.CTS, s.DSR, nil
}

// take takes a command of the bridge.
func (l *Link) take(c command) {
	switch c.verb {
	case will, wont:
		l.theirs(c.option, c.verb == will)
	case do, dont:
		l.ours(c.option, c.verb == do)
	case sb:
		if c.option == optComPort && len(c.sub) > 0 {
			l.comPort(c.sub[0], c.sub[1:])
		}
	}
}

// theirs answers what the bridge will or will not do.
func (l *Link) theirs(option byte, on bool) {
	wanted := option == optBinary || option == optNoGoWait
	if option == optBinary {
		l.in.binary = on
	}
	if said := &l.said[option][0]; !*said {
		*said = true
		switch {
		case on && wanted:
			l.reply = append(l.reply, iac, do, option)
		case on:
			l.reply = append(l.reply, iac, dont, option)
		}
	}
}

// ours answers what the bridge asks us to do or not.
func (l *Link) ours(option byte, on bool) {
	switch option {
	case optComPort:
		l.agreed, l.refused = on, !on
	case optBinary:
		l.mu.Lock()
		l.takesBinary = on
		l.mu.Unlock()
	}
	if said := &l.said[option][1]; !*said {
		*said = true
		if on {
			l.reply = append(l.reply, iac, wont, option)
		}
	}
}

// comPort takes what the bridge says of its port.
func (l *Link) comPort(code byte, value []byte) {
	switch code {
	case answer + signature:
		if len(value) == 0 && !l.signed {
			l.signed = true
			l.reply = appendSub(l.reply, signature, []byte("lobescribe")...)
		}
	case answer + setBaud, answer + setBits, answer + setParity, answer + setStop:
		if l.confirmed != nil {
			l.confirmed[code-answer] = bytes.Clone(value)
		}
	case answer + notifyModem, answer + notifyLine, answer + suspend, answer + resume:
		l.mu.Lock()
		defer l.mu.Unlock()
		switch {
		case code == answer+suspend:
			l.suspended = true
		case code == answer+resume:
			l.suspended = false
		case len(value) != 1:
		case code == answer+notifyModem:
			l.lines.modem(value[0])
		default:
			l.lines.line(value[0])
		}
	}
}
