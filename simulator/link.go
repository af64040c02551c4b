package simulator

import (
	"bytes"
	"errors"
	"fmt"
	"sync"
)

// LinkKind is what a simulated instrument is plugged into.
type LinkKind uint8

// The kinds of link.
const (
	TTY LinkKind = iota // a pseudo-terminal, for serial: addresses; Linux and macOS
	TCP                 // a raw socket on the loopback, for tcp: addresses
)

// ParseLinkKind reads "tty" or "tcp".
func ParseLinkKind(text string) (LinkKind, error) {
	switch text {
	case "tty":
		return TTY, nil
	case "tcp":
		return TCP, nil
	}
	return 0, fmt.Errorf("%q is no kind of link: write tty or tcp", text)
}

// ErrNoTTY is wrapped by the error of asking for a pseudo-terminal on a system
// that has none to offer.
var ErrNoTTY = errors.New("this system has no pseudo-terminals: use a tcp link instead")

// plug is the far end of a cable.
type plug interface {
	address() string       // without query
	send(b []byte)         // what nobody takes is lost, as on a serial line
	unplug() error         // the reader loses the link; idempotent
	replug() error         // it is there again, under the same address; idempotent
	requests() chan []byte // what the reader wrote
	close() error
}

// Link is a simulated instrument's cable. Its methods may be called from any
// goroutine.
type Link struct {
	plug  plug
	query string
	poll  []byte

	mu      sync.Mutex
	stalled bool
	latest  []byte // the last line, for polling
	asked   []byte // the start of a request
}

// openLink plugs a cable in. path is the stable name of a tty, or empty. With
// a poll it sends nothing but the latest line, when these bytes come.
func openLink(kind LinkKind, path, query, poll string) (*Link, error) {
	var p plug
	var err error
	switch kind {
	case TTY:
		p, err = openTTY(path)
	case TCP:
		p, err = openTCP()
	default:
		return nil, fmt.Errorf("link kind %d is not known", kind)
	}
	if err != nil {
		return nil, fmt.Errorf("opening a simulated link: %w", err)
	}
	return &Link{plug: p, query: query, poll: []byte(poll)}, nil
}

// Address returns where to find the instrument:
// "serial:/dev/pts/3?format=auto", "tcp://127.0.0.1:4001?format=auto".
func (l *Link) Address() string {
	if l.query == "" {
		return l.plug.address()
	}
	return l.plug.address() + "?" + l.query
}

// Unplug pulls the cable: the reader's link breaks, and cannot be opened again
// until Replug.
func (l *Link) Unplug() error { return l.plug.unplug() }

// Replug puts the cable back.
func (l *Link) Replug() error { return l.plug.replug() }

// Stall makes the instrument fall silent with the link still up, or ends that.
// What it would have sent is lost.
func (l *Link) Stall(silent bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.stalled = silent
}

// send passes on what the instrument says.
func (l *Link) send(b []byte) {
	l.mu.Lock()
	l.latest = append(l.latest[:0], b...)
	quiet := l.stalled || len(l.poll) > 0
	l.mu.Unlock()
	if !quiet {
		l.plug.send(b)
	}
}

// answer serves requests until the plug is closed.
func (l *Link) answer() {
	for b := range l.plug.requests() {
		if len(l.poll) == 0 {
			continue // nobody asked it anything it understands
		}
		l.asked = append(l.asked, b...)
		for {
			i := bytes.Index(l.asked, l.poll)
			if i < 0 {
				l.asked = l.asked[max(0, len(l.asked)-len(l.poll)+1):]
				break
			}
			l.asked = l.asked[i+len(l.poll):]
			l.mu.Lock()
			line, quiet := bytes.Clone(l.latest), l.stalled
			l.mu.Unlock()
			if !quiet {
				l.plug.send(line)
			}
		}
	}
}
