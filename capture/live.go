package capture

import (
	"context"
	"errors"
	"fmt"
	"time"

	"lobescribe/capture/join"
	"lobescribe/capture/keep"
	"lobescribe/capture/prove"
	"lobescribe/device/measure"
)

// Role says what an instrument is for.
type Role string

// The roles. A board that measures both is the indicator.
const (
	Indicator Role = "indicator"
	Encoder   Role = "encoder"
	// Sweep is a gauge that reads across the stem, against the rocker's tip or the
	// side of what travels along the stem.
	Sweep Role = "sweep"
)

// measures returns what an instrument measures.
func (r Role) measures() measure.Has {
	switch r {
	case Encoder:
		return measure.HasAngle
	case Sweep:
		return measure.HasSweep
	}
	return measure.HasLift
}

// Roles are all of them, in the order in which they are told.
func Roles() []Role { return []Role{Indicator, Encoder, Sweep} }

// Live is the live side as a whole: it joins the instruments' readings, follows
// the valve, tells the listeners, and hands the keeper what belongs to a trace.
// One goroutine, Run, owns all of it; everything else sends to that goroutine.
type Live struct {
	o        LiveOptions
	in       chan input
	done     chan struct{}
	joiner   *join.Joiner
	follower *Follower
	recorder *Recorder
	began    measure.Stamp // of the trace under way
	joined   []measure.Reading
	said     []Message
	kept     []measure.Reading
	newest   measure.Reading
	held     bool // nothing is followed
}

// LiveOptions are the settings of a Live.
type LiveOptions struct {
	Follower FollowerOptions
	Join     join.Options
	Recorder RecorderOptions
	// Clock is the monotonic clock that the readings are stamped on.
	Clock func() measure.Stamp
	// Wall is the time of day, of which a trace's head notes when it began.
	// Default: time.Now.
	Wall func() time.Time
	// Keeper takes the traces; nil keeps none, as for a replay.
	Keeper *keep.Keeper
	// Tell hears of everything, from Run's goroutine, and must not block.
	Tell func(Message)
}

// input is one thing sent to Run's goroutine.
type input struct {
	role     Role
	readings []measure.Reading
	note     *measure.Note
	do       func(*Live)
}

// How often time passes for Joiner and Recorder when nothing comes: often while
// lift waits for the encoder, else only to see the end of a rest.
const (
	tick     = 20 * time.Millisecond
	restTick = 500 * time.Millisecond
)

// NewLive returns a Live; Run must be called for it to do anything.
func NewLive(o LiveOptions) *Live {
	if o.Wall == nil {
		o.Wall = time.Now
	}
	return &Live{o: o, in: make(chan input, 64), done: make(chan struct{}),
		joiner: join.New(o.Join), follower: NewFollower(o.Follower), recorder: NewRecorder(o.Recorder)}
}

// Run follows until ctx is done, then ends the trace under way.
func (l *Live) Run(ctx context.Context) {
	defer close(l.done)
	// While something comes time passes with it: a timer that rings in between
	// wakes the processor once more.
	passed := l.o.Clock()
	beat := time.NewTimer(restTick)
	defer beat.Stop()
	for {
		select {
		case in := <-l.in:
			l.take(in)
			if now := l.o.Clock(); now-passed >= measure.StampOf(l.beat()) {
				l.pass(now)
				passed = now
			}
			beat.Reset(l.beat())
		case <-beat.C:
			passed = l.o.Clock()
			l.pass(passed)
			beat.Reset(l.beat())
		case <-ctx.Done():
			l.drain()
			l.follow(l.joiner.End(l.joined[:0]))
			l.stop()
			return
		}
	}
}

// drain takes what had come when the end was called.
func (l *Live) drain() {
	for {
		select {
		case in := <-l.in:
			l.take(in)
		default:
			return
		}
	}
}

func (l *Live) beat() time.Duration {
	if l.joiner.Waits() {
		return tick
	}
	return restTick
}

// Readings feeds readings of an instrument; the slice is Live's from then on.
func (l *Live) Readings(role Role, readings []measure.Reading) {
	l.send(input{role: role, readings: readings})
}

// Note feeds something that happened to an instrument's stream.
func (l *Live) Note(role Role, n measure.Note) { l.send(input{role: role, note: &n}) }

// Lost says that an instrument is gone until readings of it come again.
func (l *Live) Lost(role Role) {
	l.send(input{do: func(l *Live) {
		l.follow(l.joiner.Forget(l.joined[:0], role.measures()))
	}})
}

// Prove says what is known of the indicator from now on.
func (l *Live) Prove(p prove.Proof) {
	l.send(input{do: func(l *Live) { l.follower.Prove(p) }})
}

// Mark notes that the person pressed the space bar or the pedal.
func (l *Live) Mark() {
	l.send(input{do: func(l *Live) {
		l.note(measure.Note{At: l.o.Clock(), Kind: measure.NoteMark})
	}})
}

// Unmark notes that the last mark is undone.
func (l *Live) Unmark() {
	l.send(input{do: func(l *Live) {
		l.note(measure.Note{At: l.o.Clock(), Kind: measure.NoteUnmark})
	}})
}

// Hold ends the trace under way and follows nothing while it is on: the readings
// are told and are nobody's. When it is over all starts again, as on another valve.
func (l *Live) Hold(on bool) {
	l.send(input{do: func(l *Live) {
		if on {
			l.stop()
		} else if l.held {
			l.follower.Another(l.follower.o.Expect, l.follower.o.ExpectU)
			l.recorder = NewRecorder(l.o.Recorder)
		}
		l.held = on
	}})
}

// EndTrace ends the trace under way.
func (l *Live) EndTrace() { l.send(input{do: (*Live).stop}) }

// Another says that the indicator stands on another valve and what max lift is to
// be expected of that, within u; 0: nothing is known. The trace under way ends.
func (l *Live) Another(expect, u measure.Length) {
	l.send(input{do: func(l *Live) {
		l.stop()
		l.follower.Another(expect, u)
	}})
}

// BeginTrace begins a trace at once, before anything moves.
func (l *Live) BeginTrace() {
	l.send(input{do: func(l *Live) {
		if !l.held && l.recorder.Start() {
			l.begin()
		}
	}})
}

// Place returns where the valve is now; the zero Position after Run has ended.
func (l *Live) Place() (p Position) {
	answer := make(chan Position, 1)
	l.send(input{do: func(l *Live) { answer <- l.follower.Position() }})
	select {
	case p = <-answer:
	case <-l.done:
	}
	return p
}

// Answers waits until Run's goroutine has taken what was sent before and said
// so; the error says that it did not while ctx lasted, or that it has ended.
// A daemon asks itself by it whether it is still there.
func (l *Live) Answers(ctx context.Context) error {
	answer := make(chan struct{})
	select {
	case l.in <- input{do: func(*Live) { close(answer) }}:
	case <-l.done:
		return errEnded
	case <-ctx.Done():
		return fmt.Errorf("the live side does not answer: %w", ctx.Err())
	}
	select {
	case <-answer:
		return nil
	case <-l.done:
		return errEnded
	case <-ctx.Done():
		return fmt.Errorf("the live side does not answer: %w", ctx.Err())
	}
}

var errEnded = errors.New("the live side has ended")

func (l *Live) send(in input) {
	select {
	case l.in <- in:
	case <-l.done:
	}
}

func (l *Live) take(in input) {
	switch {
	case in.do != nil:
		in.do(l)
	case in.note != nil:
		l.note(*in.note)
	case in.role == Encoder:
		l.joined = l.joined[:0]
		for _, r := range in.readings {
			l.joined = l.joiner.Angle(l.joined, r)
		}
		l.follow(l.joined)
	case in.role == Sweep:
		l.joined = l.joined[:0]
		for _, r := range in.readings { // it reads as an indicator does
			if r.Has&measure.HasLift != 0 {
				l.joined = l.joiner.Sweep(l.joined, measure.Reading{At: r.At, Sweep: r.Lift, Has: measure.HasSweep})
			}
		}
		l.follow(l.joined)
	default:
		l.joined = l.joined[:0]
		for _, r := range in.readings {
			l.joined = l.joiner.Lift(l.joined, r)
		}
		l.follow(l.joined)
	}
}

// pass lets time go by while nothing comes.
func (l *Live) pass(now measure.Stamp) {
	l.joined = l.joiner.Tick(l.joined[:0], now)
	l.follow(l.joined)
	if l.recorder.Tick(now, l.follower.Position().State) {
		l.finish()
	}
}

// note passes n to the follower and, while a trace is under way, into it.
func (l *Live) note(n measure.Note) {
	if l.held {
		return
	}
	l.said = l.follower.Note(l.said[:0], n)
	l.tell()
	if l.recorder.Recording() {
		l.keep(nil, []measure.Note{n})
	}
}

// follow takes joined readings through follower and recorder, in order, and
// tells the listeners once for the batch.
func (l *Live) follow(readings []measure.Reading) {
	if len(readings) == 0 {
		return
	}
	if l.held {
		l.newest = readings[len(readings)-1]
		l.o.Tell(Columns(readings))
		return
	}
	l.kept = l.kept[:0]
	for _, r := range readings {
		l.said = l.follower.Step(l.said[:0], r)
		l.newest = r
		switch l.recorder.Step(r, l.follower.Position().State) {
		case Begin:
			l.begin()
		case Keep:
			l.kept = append(l.kept, r)
		case EndAfter:
			l.kept = append(l.kept, r)
			l.flush()
			l.finish()
		}
		l.tell()
	}
	l.flush()
	l.o.Tell(Columns(readings))
	l.o.Tell(l.follower.Position())
}

// begin opens a trace with the pre-roll.
func (l *Live) begin() {
	first := l.recorder.PreRoll()
	now := l.o.Clock()
	l.began = now
	if len(first) > 0 {
		l.began = first[0].At
	}
	if l.o.Keeper == nil {
		return
	}
	l.o.Keeper.Begin(keep.Head{
		Started:    l.o.Wall().Add(-(now - l.began).Duration()),
		Resolution: l.o.Follower.Resolution,
	}, l.began)
	l.keep(first, nil)
}

func (l *Live) keep(readings []measure.Reading, notes []measure.Note) {
	if l.o.Keeper != nil {
		l.o.Keeper.Append(readings, notes)
	}
}

func (l *Live) flush() {
	if len(l.kept) > 0 {
		l.keep(l.kept, nil)
		l.kept = l.kept[:0]
	}
}

func (l *Live) stop() {
	if l.recorder.Stop() {
		l.finish()
	}
}

func (l *Live) finish() {
	l.follower.Afresh()
	if l.o.Keeper != nil {
		l.o.Keeper.End()
	}
}

// tell passes on what the follower said. An opening and a fault are told in
// the trace's own time, as they will stand in its findings.
func (l *Live) tell() {
	for _, m := range l.said {
		if l.recorder.Recording() {
			switch v := m.(type) {
			case Opened:
				v.Opening.Open -= l.began
				v.Opening.Nose -= l.began
				v.Opening.Close -= l.began
				v.Opening.OpeningHalf.At -= l.began
				v.Opening.ClosingHalf.At -= l.began
				m = v
			case Fault:
				v.Fault.At -= l.began
				m = v
			}
		}
		l.o.Tell(m)
	}
}

// Columns turns readings into the message of them. A quantity that only some have
// keeps its last value: columns are equally long.
func Columns(readings []measure.Reading) Readings {
	m := Readings{At: make([]int64, len(readings))}
	var has measure.Has
	for i, r := range readings {
		m.At[i] = int64(r.At)
		has |= r.Has
	}
	column := func(of measure.Has, value func(*measure.Reading) int64) []int64 {
		if has&of == 0 {
			return nil
		}
		out, last := make([]int64, len(readings)), int64(0)
		for i := range readings {
			if r := &readings[i]; r.Has&of != 0 {
				last = value(r)
			}
			out[i] = last
		}
		return out
	}
	m.Lift = column(measure.HasLift, func(r *measure.Reading) int64 { return int64(r.Lift) })
	m.Angle = column(measure.HasAngle, func(r *measure.Reading) int64 { return int64(r.Angle) })
	m.Sweep = column(measure.HasSweep, func(r *measure.Reading) int64 { return int64(r.Sweep) })
	return m
}
