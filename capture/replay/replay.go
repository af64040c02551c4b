package replay

import (
	"context"
	"fmt"
	"math"
	"sort"
	"time"

	"lobescribe/capture"
	"lobescribe/capture/join"
	"lobescribe/device/measure"
)

// Replay plays a finished trace again through a Follower of its own, at any
// speed, and tells the same messages as a live engine would. Nothing of it is
// kept. One goroutine, Run, owns it.
type Replay struct {
	o        Options
	trace    measure.Trace
	changes  chan Change
	done     chan struct{}
	follower *capture.Follower
	rows     join.Rows
	said     []capture.Message
	at       float64 // where the replay is, seconds of trace time
	next     int     // the reading that comes next
	nextNote int
	rate     float64
	paused   bool
}

// Options are the settings of a Replay.
type Options struct {
	// Trace is the number of the trace, as the messages give it.
	Trace uint64
	// Rate is trace seconds per second; 0 means 1.
	Rate float64
	// From is where to begin.
	From     measure.Stamp
	Follower capture.FollowerOptions
	// Tell hears of everything, from Run's goroutine, and must not block.
	Tell func(capture.Message)
}

// Change changes a replay under way; nil leaves as it is.
type Change struct {
	Rate   *float64       `json:"rate,omitempty"`
	Paused *bool          `json:"paused,omitempty"`
	At     *measure.Stamp `json:"at_s,omitempty"`
}

// The rates a replay can have.
const (
	minRate = 0.01
	maxRate = 1000
)

// CheckRate returns an error that says what is allowed when rate is not.
func CheckRate(rate float64) error {
	if math.IsNaN(rate) || rate < minRate || rate > maxRate {
		return fmt.Errorf("a replay cannot run at %v times the speed: the rate must be from %v to %v", rate, minRate, maxRate)
	}
	return nil
}

// State tells the listeners where a replay is.
type State struct {
	Trace   uint64        `json:"trace"`
	Rate    float64       `json:"rate"`
	Paused  bool          `json:"paused"`
	At      measure.Stamp `json:"at_s"`
	Seconds measure.Stamp `json:"seconds"`
	// Ended: the replay is over and nothing more comes of it.
	Ended bool `json:"ended"`
}

// Type returns "replay".
func (State) Type() string { return "replay" }

// New returns a Replay of t; Run plays it. The error is of a trace with
// no readings or a rate out of range.
func New(t measure.Trace, o Options) (*Replay, error) {
	if o.Rate == 0 {
		o.Rate = 1
	}
	if err := CheckRate(o.Rate); err != nil {
		return nil, err
	}
	if len(t.Readings) == 0 {
		return nil, fmt.Errorf("trace %d has no readings to replay", o.Trace)
	}
	if o.Follower.Resolution == 0 {
		o.Follower.Resolution = t.Resolution
	}
	p := &Replay{o: o, trace: t, changes: make(chan Change), done: make(chan struct{}), rate: o.Rate}
	p.seek(o.From)
	return p, nil
}

// Change alters the replay; false when it has ended.
func (p *Replay) Change(c Change) (bool, error) {
	if c.Rate != nil {
		if err := CheckRate(*c.Rate); err != nil {
			return true, err
		}
	}
	select {
	case p.changes <- c:
		return true, nil
	case <-p.done:
		return false, nil
	}
}

// Run plays until ctx is done. At the end of the trace it pauses, so that it can
// be wound back.
func (p *Replay) Run(ctx context.Context) {
	defer close(p.done)
	const frame = time.Second / 60
	beat := time.NewTicker(frame)
	defer beat.Stop()
	last, frames := time.Now(), 0
	p.tellState(false)
	for {
		select {
		case now := <-beat.C:
			p.play(now.Sub(last).Seconds() * p.rate)
			last = now
			if frames++; frames%6 == 0 || p.paused {
				p.tellState(false)
			}
			if p.paused { // it may stand for a night: nothing wakes until it is wound
				beat.Stop()
			}
		case c := <-p.changes:
			was := p.paused
			p.change(c)
			p.tellState(false)
			switch {
			case p.paused:
				beat.Stop()
			case was:
				beat.Reset(frame)
				last = time.Now()
			}
		case <-ctx.Done():
			p.tellState(true)
			return
		}
	}
}

func (p *Replay) seconds() float64 { return p.trace.Readings[len(p.trace.Readings)-1].At.Seconds() }

func (p *Replay) change(c Change) {
	if c.Rate != nil {
		p.rate = *c.Rate
	}
	if c.Paused != nil {
		p.paused = *c.Paused
	}
	if c.At != nil {
		p.seek(*c.At)
		p.o.Tell(p.follower.Position())
	}
}

// seek goes to a place in the trace. The follower is led there silently from
// the start, so that it knows what it would know had it been played.
func (p *Replay) seek(to measure.Stamp) {
	p.follower, p.rows = capture.NewFollower(p.o.Follower), join.Rows{}
	p.next, p.nextNote = 0, 0
	p.at = min(max(to.Seconds(), 0), p.seconds())
	until := measure.Stamp(p.at * 1e6)
	n := sort.Search(len(p.trace.Readings), func(i int) bool { return p.trace.Readings[i].At >= until })
	for p.next < n {
		p.step()
		p.said = p.said[:0]
	}
}

// step follows the next reading, after the notes before it.
func (p *Replay) step() {
	r := p.trace.Readings[p.next]
	for ; p.nextNote < len(p.trace.Notes) && p.trace.Notes[p.nextNote].At <= r.At; p.nextNote++ {
		p.said = p.follower.Note(p.said, p.trace.Notes[p.nextNote])
	}
	if p.rows.Passes(&r) {
		p.said = p.follower.Step(p.said, r)
	} else {
		p.follow(p.rows.Add(&r))
	}
	if p.next++; p.next == len(p.trace.Readings) {
		p.follow(p.rows.End())
	}
}

// follow takes readings with the angles beside them.
func (p *Replay) follow(readings []measure.Reading) {
	for _, r := range readings {
		p.said = p.follower.Step(p.said, r)
	}
}

// play moves on by so many seconds of trace time and tells what happened.
func (p *Replay) play(seconds float64) {
	first := p.next
	p.at = min(p.at+seconds, p.seconds())
	p.paused = p.at == p.seconds()
	until := measure.Stamp(math.Round(p.at * 1e6))
	p.said = p.said[:0]
	for p.next < len(p.trace.Readings) && p.trace.Readings[p.next].At <= until {
		p.step()
	}
	if p.next == first {
		return
	}
	for _, m := range p.said {
		p.o.Tell(m)
	}
	p.o.Tell(capture.Columns(p.trace.Readings[first:p.next]))
	p.o.Tell(p.follower.Position())
}

func (p *Replay) tellState(ended bool) {
	p.o.Tell(State{Trace: p.o.Trace, Rate: p.rate, Paused: p.paused,
		At: measure.Stamp(math.Round(p.at * 1e6)), Seconds: p.trace.Readings[len(p.trace.Readings)-1].At, Ended: ended})
}
