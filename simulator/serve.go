package simulator

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"lobescribe/device/measure"
)

// ServeOptions says how a bench talks.
type ServeOptions struct {
	Link  LinkKind // TTY
	Speed float64  // times real time; 1
	// Dir is a folder for stable names of ttys, "indicator" and "encoder";
	// made if missing. Without it an address is the tty's own name, which
	// changes at each Replug.
	Dir string

	// Query and EncoderQuery stand behind the addresses;
	// "baud=115200&format=auto", and unit= or scale= where the indicator's line
	// does not tell. With a Poll, poll= is added to Query.
	Query, EncoderQuery string

	// Poll makes the indicator speak only when these bytes are written to it:
	// it answers with its newest line. It talks by itself by default.
	Poll string

	// Proving is played over and over in place of the engine's being turned; the
	// bench's indicator is proved. None.
	Proving *Proving

	// Played is told of each session before its first byte is sent, from the
	// goroutine that sends; nobody.
	Played func(Part)
}

// Live is a bench that talks in real time. Its methods may be called from any
// goroutine.
type Live struct {
	Indicator *Link
	Encoder   *Link // nil without an encoder, or where one line carries both
	Sweep     *Link // nil without a sweep gauge

	o        ServeOptions
	bench    *Bench
	disturbs chan disturb
	cancel   context.CancelFunc
	done     chan struct{}
	err      error // of the sending, when done is closed

	mu    sync.Mutex
	valve int
}

// disturb is something done to the bench in the midst of a session, after
// which the hand waits.
type disturb struct {
	do   func(b *Bench, shows measure.Length) // what the indicator shows then
	wait measure.Stamp
}

// Serve plays a bench, which belongs to it from then on, until ctx is done or
// Close is called; Close also takes the links away. It prints nothing. What the
// bench played before was played at once: the first reading does not wait for it.
func Serve(ctx context.Context, bench *Bench, o ServeOptions) (*Live, error) {
	if o.Speed < 0 {
		return nil, fmt.Errorf("speed %v: it must be above zero", o.Speed)
	}
	o.Speed = orDefault(o.Speed, 1)
	indicator, encoder := bench.Queries()
	o.Query, o.EncoderQuery = orDefault(o.Query, indicator), orDefault(o.EncoderQuery, encoder)
	l := &Live{o: o, bench: bench, disturbs: make(chan disturb), done: make(chan struct{}), valve: bench.o.Valve}
	path := func(name string) string {
		if o.Dir == "" {
			return ""
		}
		return filepath.Join(o.Dir, name)
	}
	var err error
	if l.Indicator, err = OpenLink(LinkOptions{o.Link, path("indicator"), o.Query, o.Poll}); err != nil {
		return nil, err
	}
	if !bench.o.NoEncoder && !bench.o.Indicator.Format.Combined() {
		if l.Encoder, err = OpenLink(LinkOptions{o.Link, path("encoder"), o.EncoderQuery, ""}); err != nil {
			return nil, errors.Join(err, l.Indicator.Close())
		}
	}
	if g := bench.o.Sweep; g != nil {
		query := "baud=115200&format=auto" + g.withDefaults().Gauge.bareness()
		if l.Sweep, err = OpenLink(LinkOptions{o.Link, path("sweep"), query, ""}); err != nil {
			return nil, errors.Join(err, l.closeLinks())
		}
	}
	bench.shift = 0
	ctx, l.cancel = context.WithCancel(ctx)
	go l.run(ctx)
	return l, nil
}

func (l *Live) links() []*Link {
	return slices.DeleteFunc([]*Link{l.Indicator, l.Encoder, l.Sweep}, func(l *Link) bool { return l == nil })
}

func (l *Live) closeLinks() (err error) {
	for _, link := range l.links() {
		err = errors.Join(err, link.Close())
	}
	return err
}

// run is the one goroutine that owns the bench.
func (l *Live) run(ctx context.Context) {
	defer close(l.done)
	pace := pacer{speed: l.o.Speed, started: time.Now()}
	for ctx.Err() == nil {
		if l.o.Proving != nil && l.bench.proving == nil {
			p := *l.o.Proving
			p.Seed, p.Indicator = l.bench.o.Seed+l.bench.n, l.bench.o.Indicator
			l.bench.n++
			l.bench.proving = &p
		}
		if p := l.bench.proving; p != nil {
			l.bench.proving = nil
			if l.err = l.playProving(ctx, pace, *p); l.err != nil {
				return
			}
			continue
		}
		part, err := l.bench.Next()
		if err != nil {
			l.err = err
			return
		}
		if l.o.Played != nil {
			l.o.Played(part)
		}
		if d, ok := l.playPart(ctx, pace, part); ok {
			at := min(max(pace.now()-part.From, 0), part.Truth.End)
			l.bench.cut(part, at, d.wait)
			d.do(l.bench, part.Truth.ShownAt(at))
		}
	}
}

// playPart sends a session's bytes, and returns early with what disturbs it.
func (l *Live) playPart(ctx context.Context, pace pacer, p Part) (disturb, bool) {
	until := func(at measure.Stamp) (disturb, bool, error) {
		wait := time.Duration(float64(p.From+at)/pace.speed)*time.Microsecond - time.Since(pace.started)
		if wait <= 0 {
			select { // no timer for what is due, yet always open to a disturbance
			case d := <-l.disturbs:
				return d, true, nil
			default:
				return disturb{}, false, ctx.Err()
			}
		}
		timer := time.NewTimer(wait)
		defer timer.Stop()
		select {
		case <-timer.C:
			return disturb{}, false, nil
		case d := <-l.disturbs:
			return d, true, nil
		case <-ctx.Done():
			return disturb{}, false, ctx.Err()
		}
	}
	wires := []struct {
		link   *Link
		chunks []Chunk
	}{{l.Indicator, p.Indicator}, {l.Encoder, p.Encoder}, {l.Sweep, p.Sweep}}
	for {
		next := -1
		for i, w := range wires {
			if len(w.chunks) > 0 && (next < 0 || w.chunks[0].At < wires[next].chunks[0].At) {
				next = i
			}
		}
		if next < 0 {
			break
		}
		link, c := wires[next].link, wires[next].chunks[0]
		wires[next].chunks = wires[next].chunks[1:]
		if d, disturbed, err := until(c.At); disturbed || err != nil {
			return d, disturbed
		}
		link.Write(c.Bytes)
	}
	d, disturbed, _ := until(p.Truth.End)
	return d, disturbed
}

// disturb hands something to do to the goroutine that owns the bench.
func (l *Live) disturb(d disturb) error {
	select {
	case l.disturbs <- d:
		return nil
	case <-l.done:
		return errors.New("the simulated bench has stopped")
	}
}

// Valve returns which valve is being measured, from 0.
func (l *Live) Valve() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.valve
}

// MoveTo puts the indicator on another valve of the engine, from 0: it is
// silent for three seconds and then reads a little off zero there.
func (l *Live) MoveTo(valve int) error {
	if n := len(l.bench.o.Engine.Valves); valve < 0 || valve >= n {
		return fmt.Errorf("valve %d of an engine of %d: write 0 to %d", valve, n, n-1)
	}
	return l.disturb(disturb{wait: 3 * measure.Second, do: func(b *Bench, _ measure.Length) {
		b.MoveTo(valve)
		l.mu.Lock()
		l.valve = valve
		l.mu.Unlock()
	}})
}

// Lay puts the sweep gauge against the side of what travels along the stem, or
// back against the rocker's tip: its stand stays where it is. Without a gauge it
// does nothing.
func (l *Live) Lay(side bool) error {
	return l.disturb(disturb{wait: measure.Second, do: func(b *Bench, _ measure.Length) {
		if b.o.Sweep != nil {
			g := *b.o.Sweep
			g.Side = side
			b.o.Sweep = &g
		}
	}})
}

// Slip moves the indicator's base, so that all readings change by so much.
func (l *Live) Slip(by measure.Length) error {
	return l.disturb(disturb{do: func(b *Bench, _ measure.Length) { b.o.Indicator.Preload += by }})
}

// ReZero presses the indicator's zero.
func (l *Live) ReZero() error {
	return l.disturb(disturb{do: func(b *Bench, shows measure.Length) {
		b.o.Indicator.Preload -= shows
	}})
}

// Prove lets the hand leave the crank where it is and prove the indicator there,
// as a person would, and then turn on.
func (l *Live) Prove(p Proving) error {
	return l.disturb(disturb{do: func(b *Bench, shows measure.Length) {
		n := b.o.Indicator
		n.Preload = shows
		p.Seed, p.Indicator = b.o.Seed+b.n, n
		b.proving = &p
	}})
}

// playProving sends a proving's bytes; what disturbs it ends it.
func (l *Live) playProving(ctx context.Context, pace pacer, p Proving) error {
	proved, err := p.Play()
	if err != nil {
		return err
	}
	part := Part{Session: &Session{Indicator: proved.Indicator, Truth: Truth{End: proved.End}}, From: l.bench.shift}
	l.bench.shift += proved.End
	if d, ok := l.playPart(ctx, pace, part); ok {
		l.bench.shift = max(pace.now(), part.From) + d.wait
		d.do(l.bench, p.Indicator.Preload)
	}
	return nil
}

// SwitchUnit presses the indicator's inch/metric key.
func (l *Live) SwitchUnit() error {
	return l.disturb(disturb{do: func(b *Bench, _ measure.Length) {
		n := b.o.Indicator.withDefaults()
		n.Unit, n.Resolution = otherUnit(n.Unit, n.Resolution)
		b.o.Indicator = n
	}})
}

// Wait returns when the bench has stopped: nil after Close or when the context
// is done.
func (l *Live) Wait() error {
	<-l.done
	return l.err
}

// Close stops the bench, takes its links away and waits for all it started.
func (l *Live) Close() error {
	l.cancel()
	return errors.Join(l.Wait(), l.closeLinks())
}
