package device

import (
	"context"
	"errors"
	"sync"
	"time"

	"lobescribe/device/address"
	"lobescribe/device/lines"
	"lobescribe/device/lines/guess"
	"lobescribe/device/measure"
	"lobescribe/device/port"
	"lobescribe/device/tail"
	"lobescribe/device/wire"
)

// Source is a device that is kept open. It tries until its context ends:
// a port that is absent, refused or silent is a state of it and no error.
type Source struct {
	address address.Address
	o       Options
	events  chan Event
	raw     *tail.Ring

	// What follows belongs to the goroutine of run, but for what is under mu.
	decoder Decoder
	out     wire.Out
	ready   []measure.Reading // decoded, and not handed on yet
	settle  settling
	flood   flood
	rested  measure.Stamp // since when the port was left alone while what is decoded came; 0: it was not
	torn    bool          // bytes were left out: what the decoder holds has no end any more
	watch   watch
	link    port.Link
	pump    *pump
	name    string
	wait    backoff
	lostAt  measure.Stamp // where the gap that is running began
	lost    bool
	pedal   pedal
	why     string        // of that gap
	lastAt  measure.Stamp // of the latest reading

	watchReported measure.Stamp // when the status was last told
	assumed       string        // what was noted last of what nothing told

	mu       sync.Mutex
	status   Status
	counters Counters
	view     guess.View
	format   lines.Format // that was found; without a name while none was
}

// tickEvery is how often a source looks at the time.
const tickEvery = 500 * time.Millisecond

// Open starts a source. It returns at once and never fails because a port is
// absent. The source lives until ctx ends; its events must be received until
// they are closed, for a reading is never dropped.
func Open(ctx context.Context, a address.Address, o Options) *Source {
	s := &Source{address: a, o: o.withDefaults(), events: make(chan Event, 16), raw: tail.New()}
	s.wait = o.wait
	s.watch.expect = a.Rate
	go s.run(ctx)
	return s
}

// Address returns what was opened.
func (s *Source) Address() address.Address { return s.address }

// Events returns what the source has to say. It is closed when the context has
// ended and the port is released.
func (s *Source) Events() <-chan Event { return s.events }

// Status returns how it stands now, for whoever connects later.
func (s *Source) Status() Status {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.status
}

// Counters returns what went through.
func (s *Source) Counters() Counters {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.counters
}

// RawTail returns the bytes received in the last minutes, with their times.
func (s *Source) RawTail() []tail.Chunk { return s.raw.Tail() }

func (s *Source) run(ctx context.Context) {
	defer close(s.events)
	defer s.say(Closed, "closed")
	d, err := MakeDecoder(s.address, s.o)
	if err != nil {
		// Nothing will mend this but another address.
		s.to(ctx, Refused, err.Error(), nil)
		<-ctx.Done()
		return
	}
	s.decoder = d
	for ctx.Err() == nil {
		if s.Status() == (Status{}) {
			s.to(ctx, Opening, "opening "+s.address.Redacted(), nil)
		}
		link, err := s.o.Dial(ctx, s.address)
		if err != nil {
			if ctx.Err() != nil {
				return
			}
			s.to(ctx, stateOf(err), err.Error(), err)
			s.rest(ctx)
			continue
		}
		err = s.serve(ctx, link)
		if ctx.Err() != nil {
			return
		}
		s.o.Log.Info("link lost", "port", s.name, "why", err)
		state := Absent
		if errors.Is(err, errSilent) || errors.Is(err, errSlept) {
			state = Stalled
			s.watch.gaveUp = errors.Is(err, errSilent)
		}
		s.to(ctx, state, err.Error()+"; opening it again", err)
		s.rest(ctx)
	}
}

func stateOf(err error) State {
	if errors.Is(err, port.ErrPermission) || errors.Is(err, port.ErrBusy) {
		return Refused
	}
	return Absent
}

// rest waits before the next try.
func (s *Source) rest(ctx context.Context) {
	t := time.NewTimer(s.wait.next())
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}

// serve reads an open link until it fails, and returns why it did.
func (s *Source) serve(ctx context.Context, link port.Link) (why error) {
	s.link = link
	s.name = s.address.Redacted()
	if n, ok := link.(interface{ Name() string }); ok {
		s.name = n.Name()
	}
	now, perByte := s.o.Clock(), s.address.Line().ByteTime()
	if s.counters.Opens > 0 {
		s.decoder.Reset()
	}
	s.settle.begin()
	s.watch.opened(now, s.o.awake())
	s.count(func(c *Counters) { c.Opens++ })
	s.linked(now, true)
	p := startPump(link, s.o.Clock, s.o.Gather)
	s.pump = p
	defer func() {
		p.stop()
		s.link = nil
		for _, b := range p.left() {
			s.batch(ctx, b, perByte)
		}
		s.flushSettling(ctx)
		s.linked(s.o.Clock(), false)
		if !s.lost && s.watch.heard > 0 {
			s.lost, s.lostAt = true, s.watch.lastByte
		}
		if why != nil {
			s.why = why.Error()
			s.count(func(c *Counters) { c.Lost++ })
		}
	}()
	if !s.watch.gaveUp {
		s.to(ctx, Settling, "open; waiting for readings", nil)
	}

	if asker, ok := s.decoder.(Asker); ok {
		s.watch.asks = true
		s.watch.interval = askEvery(s.address.Rate)
		s.ask(asker, now)
	}
	every := tickEvery
	if s.address.Pedal != "" {
		s.pedal = pedal{line: s.address.Pedal}
		every = pedalEvery.Duration()
	}
	if s.watch.asks {
		every = min(every, max(s.watch.interval.Duration()/4, 2*time.Millisecond))
	}
	// What comes takes the time with it, so that no timer wakes the processor between.
	tick, ticked := time.NewTimer(every), now
	defer tick.Stop()
	for {
		due := false
		select {
		case <-ctx.Done():
			return nil
		case b, ok := <-p.batches:
			if !ok {
				return p.err
			}
			s.batch(ctx, b, perByte)
			p.give(b)
			p.fast.Store(s.watch.fast())
			p.period.Store(int64(s.watch.steady()))
			p.even.Store(s.watch.even())
			at := s.o.Clock()
			if asker, ok := s.decoder.(Asker); ok {
				s.ask(asker, at)
			}
			due = !s.watch.asks && at-ticked >= measure.StampOf(every/2)
		case <-tick.C:
			due = true
		}
		if due {
			ticked = s.o.Clock()
			err := s.tick(ctx)
			if err != nil && !(errors.Is(err, errSilent) && len(p.batches) > 0) { // else it speaks again at this very moment
				return err
			}
			tick.Reset(every)
		}
	}
}

// batch takes what some reads gave.
func (s *Source) batch(ctx context.Context, b *port.Batch, perByte time.Duration) {
	for _, r := range b.Reads {
		if s.rested = 0; r.Rested {
			s.rested = s.watch.lastByte
		}
		s.chunk(ctx, r.At, r.Bytes, perByte)
	}
	s.rested = 0
	s.flush(ctx)
}

// chunk takes what one read gave.
func (s *Source) chunk(ctx context.Context, at measure.Stamp, b []byte, perByte time.Duration) {
	if s.o.Record != nil {
		s.o.Record(at, b)
	}
	s.raw.Add(at, b)
	if q, ok := s.decoder.(quietStarter); ok && s.watch.heard == 0 && at-s.watch.openedAt > s.o.quietStart {
		q.BeginsQuiet()
	}
	// A byte cannot have come before the read that found the line empty: so a
	// line that is faster than its nominal rate (a USB device has none) or a
	// socket is not spread further back than that.
	if n := len(b); n > 0 && s.watch.heard > 0 {
		perByte = max(0, min(perByte, (at-s.watch.lastByte).Duration()/time.Duration(n)))
	}
	s.watch.bytes(at, len(b))
	s.count(func(c *Counters) { c.Bytes += int64(len(b)); c.Chunks++ })
	if s.flood.leavesOut(at) {
		s.leaveOut(b)
		s.give(ctx)
		return
	}
	if s.torn {
		s.torn = false
		s.decoder.Reset()
	}
	whole := wire.Chunk{Bytes: b, At: at, ByteTime: perByte}
	for from := 0; from < len(b); {
		to := len(b)
		if !s.settle.done {
			to = from + s.settle.piece(b[from:])
		}
		s.decode(ctx, wire.Chunk{Bytes: b[from:to], At: whole.Stamp(to), ByteTime: perByte})
		from = to
	}
}

// decode takes a chunk, or a piece of it.
func (s *Source) decode(ctx context.Context, c wire.Chunk) {
	s.out.Reset()
	settled := s.decoder.Found().Settled // what a finder gives out at last has its times
	s.decoder.Decode(c, &s.out)
	if n := len(s.out.Readings); n > 0 {
		switch {
		case settled && s.rested > 0:
			s.watch.follow(s.out.Readings, max(s.rested, s.lastAt))
		case settled:
			s.watch.pace(s.out.Readings, s.lastAt)
		}
		s.lastAt = s.out.Readings[n-1].At
	}
	s.flood.decoded(c.At, len(s.out.Readings)+int(s.out.Refused.Total()))
	s.settle.take(c.At, &s.out)
	s.give(ctx)
}

// give sends what stands in out.
func (s *Source) give(ctx context.Context) {
	o := &s.out
	found := s.decoder.Found()
	s.watch.took(o, found, s.rested > 0)
	if len(o.Readings) > 0 || o.Refused != (wire.Refused{}) {
		s.count(func(c *Counters) {
			c.Readings += int64(len(o.Readings))
			c.Refused = c.Refused.Plus(o.Refused)
		})
	}
	if len(o.Readings) > 0 {
		s.wait.reset()
		if s.lost {
			s.lost = false
			s.note(ctx, measure.Note{At: s.lostAt - s.address.Delay, Until: o.Readings[0].At - s.address.Delay, Kind: measure.NoteGap, Says: s.why})
		}
	}
	for _, n := range o.Notes {
		if !s.flood.note(n.At) {
			continue
		}
		n.At -= s.address.Delay
		s.note(ctx, n)
	}
	if len(o.Readings) > 0 && found.Assumes != "" && found.Assumes != s.assumed {
		s.assumed = found.Assumes
		s.note(ctx, measure.Note{At: o.Readings[0].At - s.address.Delay, Kind: measure.NoteAssumed, Says: found.Assumes})
	}
	for _, r := range o.Readings {
		r.At -= s.address.Delay
		s.ready = append(s.ready, r)
	}
	s.report(ctx)
}

func (s *Source) note(ctx context.Context, n measure.Note) {
	s.o.Log.Info("note", "port", s.name, "kind", string(n.Kind), "says", n.Says)
	s.send(ctx, Event{Note: &n})
}

// flushSettling gives out what was held when the link ended: it arrived.
func (s *Source) flushSettling(ctx context.Context) {
	s.out.Reset()
	if !s.settle.done && len(s.settle.held) > 0 {
		s.settle.release(&s.out)
		s.give(ctx)
	}
	s.flush(ctx)
}

// tick looks at the time: are readings due, did the computer sleep?
func (s *Source) tick(ctx context.Context) error {
	now := s.o.Clock()
	s.out.Reset()
	s.settle.tick(now, &s.out)
	if asker, ok := s.decoder.(Asker); ok {
		if s.watch.askedFor && now-s.watch.asked > s.watch.answerTime() && !asker.Answered() {
			asker.Unanswered(&s.out)
			s.watch.notAnswered()
		}
		s.ask(asker, now)
	}
	s.give(ctx)
	s.flush(ctx)
	s.lookAtPedal(ctx, now)
	if slept := s.watch.slept(now, s.o.awake()); slept > 0 {
		s.count(func(c *Counters) { c.Sleeps++ })
		return sleepError(slept)
	}
	if p, ok := s.link.(interface{ Present() bool }); ok && s.watch.lookNow(now) && !p.Present() {
		return &port.OpenError{Port: s.name, Cause: port.ErrNotFound, Hint: "it was unplugged"}
	}
	if s.watch.stalled(now) {
		return errSilent
	}
	return nil
}

// ask writes the next request, if the answer to the last has come and the
// interval is over.
func (s *Source) ask(asker Asker, now measure.Stamp) {
	w := &s.watch
	if w.askedFor && asker.Answered() {
		w.answered()
	}
	if w.askedFor || now < w.notBefore || w.asked > 0 && now-w.asked < w.interval {
		return
	}
	if p, ok := asker.(pauser); ok && w.heard > 0 && now-w.lastByte < measure.StampOf(p.Pause(s.address.Line().ByteTime())) {
		return
	}
	request := asker.Ask(nil)
	if len(request) == 0 {
		return
	}
	w.ask(now)
	log, name := s.o.Log, s.name
	if s.pump.write(request, func(err error) { log.Warn("could not ask", "port", name, "err", err) }) {
		s.count(func(c *Counters) { c.Asked++ })
	}
}

func (s *Source) linked(at measure.Stamp, open bool) {
	if s.o.Linked != nil {
		s.o.Linked(at, open)
	}
}

func (s *Source) count(change func(*Counters)) {
	s.mu.Lock()
	change(&s.counters)
	s.mu.Unlock()
}

// send hands an event over, behind the readings that came before it; only the
// end of the context stops it.
func (s *Source) send(ctx context.Context, e Event) {
	s.flush(ctx)
	s.hand(ctx, e)
}

// flush hands over the readings that are ready.
func (s *Source) flush(ctx context.Context) {
	if len(s.ready) > 0 {
		readings := s.ready
		s.ready = make([]measure.Reading, 0, len(readings))
		s.hand(ctx, Event{Readings: readings})
	}
}

func (s *Source) hand(ctx context.Context, e Event) {
	select {
	case s.events <- e:
	case <-ctx.Done():
	}
}
