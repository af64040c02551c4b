package simulator

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
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
	plug    plug
	query   string
	poll    []byte
	running sync.WaitGroup

	mu      sync.Mutex
	stalled bool
	latest  []byte // the last line, for polling
	owed    int    // answers to requests that came before there was a line
	asked   []byte // the start of a request; of the answering goroutine
}

// LinkOptions says what to open.
type LinkOptions struct {
	Kind LinkKind // TTY
	// Path is a stable name for a tty: a symbolic link that is made there, and
	// its folder with it. Without one the address is the tty's own name, which
	// changes at each Replug.
	Path  string
	Query string // behind the address; nothing
	// Poll makes it send nothing but the newest line written to it, each time
	// when these bytes come (or as soon as there is one); it sends by itself.
	Poll string
}

// OpenLink plugs a cable in; whatever is written to the Link comes out of it.
// Close takes it away.
func OpenLink(o LinkOptions) (*Link, error) {
	var p plug
	var err error
	switch o.Kind {
	case TTY:
		p, err = openTTY(o.Path)
	case TCP:
		p, err = openTCP()
	default:
		err = fmt.Errorf("kind %d is not known", o.Kind)
	}
	if err != nil {
		return nil, fmt.Errorf("opening a simulated link: %w", err)
	}
	if o.Poll != "" {
		if o.Query != "" {
			o.Query += "&"
		}
		o.Query += "poll=" + escapePoll(o.Poll)
	}
	l := &Link{plug: p, query: o.Query, poll: []byte(o.Poll)}
	l.running.Go(l.answer)
	return l, nil
}

// escapePoll writes bytes as a value of an address.
func escapePoll(s string) string {
	var b strings.Builder
	for _, c := range []byte(s) {
		if c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' {
			b.WriteByte(c)
		} else {
			fmt.Fprintf(&b, "%%%02X", c)
		}
	}
	return b.String()
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

// Write passes on what the instrument says: all of it, or the whole line where
// it is polled. It never fails: what nobody takes is lost.
func (l *Link) Write(b []byte) (int, error) {
	l.mu.Lock()
	l.latest = append(l.latest[:0], b...)
	times := 1
	if len(l.poll) > 0 {
		times, l.owed = l.owed, 0
	}
	if l.stalled {
		times = 0
	}
	l.mu.Unlock()
	for range times {
		l.plug.send(b)
	}
	return len(b), nil
}

// Close unplugs the cable for good and waits for all that it started.
func (l *Link) Close() error {
	err := l.plug.close()
	l.running.Wait()
	return err
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
			if len(line) == 0 && !quiet {
				l.owed++
			}
			l.mu.Unlock()
			if !quiet {
				l.plug.send(line)
			}
		}
	}
}
