package device

import (
	"io"
	"sync"
	"sync/atomic"
	"time"

	"lobescribe/device/measure"
	"lobescribe/device/port"
)

// pump reads a link in a goroutine of its own, so that each read gets its time
// at once whatever the rest of the program does. It closes the link itself,
// after its last read.
type pump struct {
	batches chan *port.Batch // closed after the last; then err is why
	err     error
	used    chan *port.Batch
	quit    chan struct{}
	once    sync.Once
	done    chan struct{}
	link    port.Link
	patient port.Gatherer // link, if it is one
	clock   func() measure.Stamp

	// gather says how long it may take until what came is handed on; nil: no
	// time at all.
	gather func() time.Duration
	// period is the time between the readings of a device that sends steadily,
	// else 0: only with such a one the next read is sure to come soon.
	period atomic.Int64
	// even is set while its readings follow each other so evenly that most of them
	// can be placed between two that were read as they came.
	even atomic.Bool
	// fast is set while the device sends so fast that its bytes may be left
	// unread that long.
	fast atomic.Bool

	asks  chan []byte // a request to be written; nil until one is
	asked chan struct{}
}

func asGatherer(link port.Link) port.Gatherer {
	if l, ok := link.(interface{ Gatherer() port.Gatherer }); ok {
		return l.Gatherer()
	}
	return nil
}

const (
	pumpAhead = 64 // batches that may wait for the decoder
	// stuckRead is how long a read may take to see that it should stop before
	// the link is closed under it, for drivers that hang, and how long that may
	// take: seven times port.ReadPause, and with both the program ends within two
	// seconds.
	stuckRead = 700 * time.Millisecond
	// unreadBytes is how much may be left unread: a quarter of what the system
	// holds for us at least.
	unreadBytes = 1024
	gatherMost  = 100 * time.Millisecond
	// The same of a port that can be told to wake nobody. Linux holds 4096 bytes of a
	// terminal where they can be read, and as a rule 64 KB and more before that.
	patientBytes = 2560
	patientMost  = 250 * time.Millisecond
	holdMost     = 250 * time.Millisecond // of what was read
	// An even device is left alone where that may take so long: with a second
	// instrument beside it, whose readings are put to its own by their times, it may
	// not. And it must be worth two wakes.
	restLeast   = 200 * time.Millisecond
	restPeriods = 6
)

// startPump begins to read.
func startPump(link port.Link, clock func() measure.Stamp, gather func() time.Duration) *pump {
	p := newPump(link, clock, gather)
	go p.run()
	return p
}

func newPump(link port.Link, clock func() measure.Stamp, gather func() time.Duration) *pump {
	return &pump{batches: make(chan *port.Batch, pumpAhead), used: make(chan *port.Batch, pumpAhead+2),
		quit: make(chan struct{}), done: make(chan struct{}), link: link, patient: asGatherer(link), clock: clock, gather: gather}
}

func (p *pump) run() {
	defer close(p.done)
	defer p.close()
	defer close(p.batches)
	pace, longest, most := pacing{last: p.clock(), unread: unreadBytes}, gatherMost, time.Duration(0)
	if p.patient != nil {
		pace.unread, longest = patientBytes, patientMost
	}
	hold := p.hold()
	for {
		b := p.empty()
		err := p.fill(b, hold)
		n, at, ends := b.Used(), p.clock(), b.EndsLine()
		if n > 0 {
			select {
			case p.batches <- b: // even if we are to stop: it has come
			default:
				select {
				case p.batches <- b:
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
		// No stop has to wait long for it.
		most, hold = time.Duration(0), p.hold()
		period := time.Duration(0)
		switch {
		case p.fast.Load():
			most = min(p.mayTake(), longest)
		case p.patient != nil && p.even.Load() && ends && p.mayTake() >= restLeast:
			most, period = p.mayTake(), measure.Stamp(p.period.Load()).Duration()
		}
		wait := pace.after(n, at, most)
		if period > 0 {
			if wait = untilBefore(wait, period); wait > 0 {
				hold = port.NextRead // what comes in the rest, and a reading as it comes
			}
		}
		if wait > 0 {
			p.rest(wait)
		}
	}
}

// untilBefore returns the rest from one reading that was read as it came to half a
// period before another, the last within most; 0 where it is not worth the while.
func untilBefore(most, period time.Duration) time.Duration {
	if most < restPeriods*period {
		return 0
	}
	return most/period*period - period/2
}

// mayTake returns how long it may take until what came is handed on.
func (p *pump) mayTake() time.Duration {
	if p.gather == nil {
		return 0
	}
	return min(p.gather(), holdMost)
}

// hold returns how long what came may wait for what comes next: not at all
// when the bytes gather unread, or when that is no two periods away.
func (p *pump) hold() measure.Stamp {
	period := measure.Stamp(p.period.Load())
	if period <= 0 || p.fast.Load() {
		return 0
	}
	if hold := measure.StampOf(p.mayTake()); hold >= 2*period {
		return hold
	}
	return 0
}

// fill reads into b until it is to be handed on, or nothing comes.
func (p *pump) fill(b *port.Batch, hold measure.Stamp) error {
	if p.patient != nil {
		return p.patient.Gather(b, p.clock, hold)
	}
	for {
		n, err := p.link.Read(b.Free())
		if n > 0 {
			b.Add(n, p.clock())
		}
		if err != nil || n == 0 || b.Ripe(hold) {
			return err
		}
	}
}

// rest leaves the link alone for so long.
func (p *pump) rest(wait time.Duration) {
	if p.patient == nil {
		time.Sleep(wait)
		return
	}
	_ = p.patient.Rest(wait) // the next read says what is wrong
}

// pacing says how long a link is left unread. It is a pure state machine.
type pacing struct {
	throttle throttle
	last     measure.Stamp // when it was last read
	unread   int           // how many bytes may be left
}

// after returns how long to wait before the next read when n bytes came by this
// time and they may gather for as long as most: no longer than it takes
// the unread to come at this rate.
func (p *pacing) after(n int, at measure.Stamp, most time.Duration) time.Duration {
	took := (at - p.last).Duration()
	p.last = at
	wait := p.throttle.after(n, at)
	if n > 0 {
		wait = max(wait, min(most, took*time.Duration(p.unread)/time.Duration(n)))
	}
	return wait
}

func (p *pump) empty() *port.Batch {
	select {
	case b := <-p.used:
		b.Empty()
		return b
	default:
		return port.NewBatch()
	}
}

// give returns a batch for other reads.
func (p *pump) give(b *port.Batch) {
	select {
	case p.used <- b:
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

// left returns what came and was not taken yet, after a stop.
func (p *pump) left() (all []*port.Batch) {
	for {
		select {
		case b, ok := <-p.batches:
			if !ok {
				return all
			}
			all = append(all, b)
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
