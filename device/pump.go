package device

import (
	"io"
	"sync"
	"sync/atomic"
	"time"

	"lobescribe/device/measure"
)

// pump reads a link in a goroutine of its own, so that each read gets its time
// at once whatever the rest of the program does. It closes the link itself,
// after its last read.
type pump struct {
	chunks chan stamped // closed after the last; then err is why
	err    error
	free   chan []byte
	quit   chan struct{}
	once   sync.Once
	done   chan struct{}
	link   Link

	// fast is set while the device sends so fast that its bytes may be left to
	// gather, for as long as gather says.
	fast   atomic.Bool
	gather func() time.Duration

	asks  chan []byte // a request to be written; nil until one is
	asked chan struct{}
}

type stamped struct {
	at    measure.Stamp
	bytes []byte
}

const (
	pumpAhead = 64   // reads that may wait for the decoder
	pumpBytes = 4096 // of one read
	// stuckRead is how long a read may take to see that it should stop before
	// the link is closed under it, for drivers that hang, and how long that may
	// take: seven times readPause, and with both the program ends within two
	// seconds.
	stuckRead = 700 * time.Millisecond
	// gatherBytes is what a read may give and the next still wait: a quarter of
	// what the system holds for us at least.
	gatherBytes = 1024
	gatherMost  = 20 * time.Millisecond
)

// startPump begins to read. gather says how long a fast device may be left
// unread; it may be nil.
func startPump(link Link, clock func() measure.Stamp, gather func() time.Duration) *pump {
	p := newPump(link, gather)
	go p.run(clock)
	return p
}

func newPump(link Link, gather func() time.Duration) *pump {
	return &pump{chunks: make(chan stamped, pumpAhead), free: make(chan []byte, pumpAhead+2),
		quit: make(chan struct{}), done: make(chan struct{}), link: link, gather: gather}
}

func (p *pump) run(clock func() measure.Stamp) {
	defer close(p.done)
	defer p.close()
	defer close(p.chunks)
	var pace throttle
	for {
		b := p.buffer()
		n, err := p.link.Read(b)
		at := clock()
		if n > 0 {
			select {
			case p.chunks <- stamped{at, b[:n]}: // even if we are to stop: it has come
			default:
				select {
				case p.chunks <- stamped{at, b[:n]}:
				case <-p.quit:
					return
				}
			}
		} else {
			p.give(b)
		}
		if err != nil {
			if err == io.EOF {
				err = errEnded
			}
			p.err = err
			return
		}
		select {
		case <-p.quit:
			return
		default:
		}
		// Some milliseconds at the most: no stop has to wait for it.
		wait := pace.after(n, at)
		if p.gather != nil && n < gatherBytes && p.fast.Load() {
			// Each read wakes the whole chain up to the page.
			wait = max(wait, min(p.gather(), gatherMost))
		}
		if wait > 0 {
			time.Sleep(wait)
		}
	}
}

func (p *pump) buffer() []byte {
	select {
	case b := <-p.free:
		return b[:cap(b)]
	default:
		return make([]byte, pumpBytes)
	}
}

// give returns a buffer for another read.
func (p *pump) give(b []byte) {
	select {
	case p.free <- b[:cap(b)]:
	default:
	}
}

func (p *pump) close() { p.once.Do(func() { p.link.Close() }) }

// write has a request written, in a goroutine of its own: a line that does not
// take bytes must not hold up what comes. It reports false while the last
// request is still being written.
func (p *pump) write(request []byte, failed func(error)) bool {
	if p.asks == nil {
		p.asks, p.asked = make(chan []byte, 1), make(chan struct{})
		go func() {
			defer close(p.asked)
			for b := range p.asks {
				if _, err := p.link.Write(b); err != nil {
					failed(err)
				}
			}
		}()
	}
	select {
	case p.asks <- request:
		return true
	default:
		return false
	}
}

// rest returns what came and was not taken yet, after a stop.
func (p *pump) rest() (all []stamped) {
	for {
		select {
		case c, ok := <-p.chunks:
			if !ok {
				return all
			}
			all = append(all, c)
		default: // it hangs; see stop
			return all
		}
	}
}

// stop ends the reading and waits until the link is closed. A read that hangs
// in a driver even then is left behind: whoever ends the program must not wait
// for it.
func (p *pump) stop() {
	close(p.quit)
	t := time.NewTimer(stuckRead)
	defer t.Stop()
	if p.asks != nil {
		close(p.asks)
		defer func() {
			select {
			case <-p.asked:
			case <-t.C:
			}
		}()
	}
	select {
	case <-p.done:
		return
	case <-t.C:
	}
	go p.close() // a close can hang too
	t.Reset(stuckRead)
	select {
	case <-p.done:
	case <-t.C:
	}
}
