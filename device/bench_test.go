package device

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/device/port"
)

// bench is a port on which a device can be plugged in, in a time that the test
// makes pass.
type bench struct {
	mu      sync.Mutex
	start   time.Time
	slept   time.Duration
	absent  error
	links   []*fakeLink
	address address.Address
	source  *Source
	heard   *listener
}

// fakeLink is a link in memory.
type fakeLink struct {
	in      chan []byte // bytes of the device; closed when it is unplugged
	closed  bool
	written []byte
	mu      sync.Mutex
	reply   func(request []byte) []byte
	late    time.Duration // of a reply
}

// answers sets what the device answers to a request; nil for nothing.
func (l *fakeLink) answers(reply func([]byte) []byte) {
	l.mu.Lock()
	l.reply = reply
	l.mu.Unlock()
}

func (l *fakeLink) Read(p []byte) (int, error) {
	select {
	case b, ok := <-l.in:
		if !ok {
			return 0, errors.New("input/output error")
		}
		return copy(p, b), nil
	case <-time.After(port.ReadPause):
		return 0, nil
	}
}

func (l *fakeLink) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.written = append(l.written, p...)
	if l.reply != nil {
		if answer := l.reply(p); l.late == 0 {
			l.in <- answer
		} else {
			time.AfterFunc(l.late, func() { l.in <- answer })
		}
	}
	return len(p), nil
}

// Modem tells that the foot switch on CTS is pressed every other second.
func (l *fakeLink) Modem() (cts, dsr bool, err error) {
	return time.Now().Second()%2 == 1, false, nil
}

func (l *fakeLink) Close() error { l.closed = true; return nil }

// onBench runs a test with an open source, whose time is not the machine's.
func onBench(t *testing.T, query string, test func(t *testing.T, b *bench)) {
	t.Helper()
	a := at(t, "serial:x?%s", query)
	synctest.Test(t, func(t *testing.T) {
		b := &bench{start: time.Now(), address: a}
		ctx, cancel := context.WithCancel(t.Context())
		b.source = Open(ctx, a, Options{
			Clock: func() measure.Stamp {
				b.mu.Lock()
				defer b.mu.Unlock()
				return measure.StampOf(time.Since(b.start))
			},
			awake: func() time.Duration {
				b.mu.Lock()
				defer b.mu.Unlock()
				return time.Since(b.start) + b.slept
			},
			Dial: b.dial,
			wait: backoff{draw: func() float64 { return 0.5 }},
		})
		b.heard = listen(b.source)
		synctest.Wait()
		test(t, b)
		cancel()
		<-b.heard.done
		for _, l := range b.links {
			assert.True(t, l.closed, "a link was left open")
		}
	})
}

func (b *bench) dial(context.Context, address.Address) (port.Link, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.absent != nil {
		return nil, b.absent
	}
	l := &fakeLink{in: make(chan []byte, 1000)}
	b.links = append(b.links, l)
	return l, nil
}

func (b *bench) link() *fakeLink {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.links[len(b.links)-1]
}

func (b *bench) opens() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.links)
}

// sends lets the device send a line each interval.
func (b *bench) sends(n int, every time.Duration, line func(i int) string) {
	for i := range n {
		b.link().in <- []byte(line(i))
		time.Sleep(every)
	}
	synctest.Wait()
}
