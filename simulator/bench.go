package simulator

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"lobescribe/device/measure"
)

// BenchOptions says what stands on a bench. The zero value is the bench mule
// with an inch indicator and a crank encoder, turned in all styles by turns.
type BenchOptions struct {
	Seed      uint64
	Engine    Engine    // BenchMule
	Valve     int       // the valve measured first, from 0
	Hands     []Hand    // one after the other; each style at 40 degrees a second
	Indicator Indicator // its slips, zeros, switches and losses are left out
	Encoder   *Encoder  // 2400 counts on the crank
	NoEncoder bool
	Sweep     *SweepGauge // none
	Openings  int         // a hand at a time; 2
	Troubles  []Trouble   // what goes wrong in every session; nothing
}

// Bench is an engine, an indicator and somebody to turn it, without end: each
// session goes on where the last one stopped. It belongs to one goroutine; a
// running one is changed through [Live].
type Bench struct {
	o     BenchOptions
	rng   *rand.Rand
	n     uint64 // sessions so far
	shift measure.Stamp
	carry *carried
	// proving comes before the next session; usually none does.
	proving *Proving
}

// carried is what one session hands on to the next.
type carried struct {
	crank    float64
	counter  *counter
	troubles uint64  // what their sizes are drawn from
	base     float64 // mm that the indicator's base has slipped
	drive    float64 // degrees that the encoder's coupling has
}

// Part is one session of a bench, and where it lies in the bench's own time.
type Part struct {
	*Session
	From  measure.Stamp // add to the session's stamps
	Valve Valve
	Hand  Hand
}

// NewBench returns a bench; the error says which valve cannot be.
func NewBench(o BenchOptions) (*Bench, error) {
	if len(o.Engine.Valves) == 0 {
		o.Engine = BenchMule()
	}
	if len(o.Hands) == 0 {
		for _, s := range Styles() {
			o.Hands = append(o.Hands, Hand{Style: s, Speed: 40 * measure.Degree})
		}
	}
	o.Hands = slices.Clone(o.Hands)
	if o.Encoder == nil && !o.NoEncoder {
		o.Encoder = &Encoder{}
	}
	o.Openings = orDefault(o.Openings, 2)
	o.Indicator.Slips, o.Indicator.ReZeros, o.Indicator.Switches, o.Indicator.Lost = nil, nil, nil, nil
	if o.Valve < 0 || o.Valve >= len(o.Engine.Valves) {
		return nil, fmt.Errorf("valve %d of an engine of %d: write 0 to %d", o.Valve, len(o.Engine.Valves), len(o.Engine.Valves)-1)
	}
	for _, v := range o.Engine.Valves {
		if _, err := v.train(); err != nil {
			return nil, err
		}
	}
	b := &Bench{o: o, rng: rand.New(rand.NewPCG(o.Seed, streamBench))}
	for _, h := range b.o.Hands { // find out now what cannot be
		s := b.scenario(h)
		s.Openings = 1
		if _, err := s.Play(); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// Engine returns the engine on the bench.
func (b *Bench) Engine() Engine { return b.o.Engine }

// Queries returns what stands behind the addresses of indicator and encoder, where
// nobody says otherwise.
func (b *Bench) Queries() (indicator, encoder string) {
	return "baud=115200&format=auto" + b.o.Indicator.withDefaults().bareness(), "baud=115200&format=auto"
}

func (b *Bench) scenario(h Hand) Scenario {
	s := Scenario{Seed: b.o.Seed + b.n, Valve: b.o.Engine.Valves[b.o.Valve], Hand: h,
		Indicator: b.o.Indicator, Openings: b.o.Openings, Troubles: b.o.Troubles, Sweep: b.o.Sweep, carry: b.carry}
	if !b.o.NoEncoder {
		s.Encoder = b.o.Encoder
	}
	if b.carry != nil {
		s.Indicator.Preload += fromMM(b.carry.base)
	}
	return s
}

// Next plays the next session.
func (b *Bench) Next() (Part, error) {
	h := b.o.Hands[b.n%uint64(len(b.o.Hands))]
	session, err := b.scenario(h).Play()
	if err != nil {
		return Part{}, fmt.Errorf("session %d: %w", b.n, err)
	}
	b.n++
	p := Part{Session: session, From: b.shift, Valve: b.o.Engine.Valves[b.o.Valve], Hand: h}
	b.handOn(session, session.Truth.End)
	b.shift += session.Truth.End
	return p, nil
}

// cut ends a session early, at a stamp of its own, and waits so long before
// the next.
func (b *Bench) cut(p Part, at, wait measure.Stamp) {
	b.handOn(p.Session, at)
	b.shift = p.From + at + wait
}

func (b *Bench) handOn(s *Session, at measure.Stamp) {
	c := &carried{crank: s.Truth.path.at(at.Seconds()), counter: s.Truth.counter, troubles: b.o.Seed}
	if b.carry != nil {
		c.base, c.drive = b.carry.base, b.carry.drive
	}
	c.base += s.slipped.base
	c.drive += s.slipped.drive
	b.carry = c
}

// Once plays a session as it is told, in place of the bench's own hands, openings
// and troubles. The next one goes on where it stopped.
func (b *Bench) Once(h Hand, openings int, troubles ...Trouble) (Part, error) {
	own := b.o
	defer func() { b.o.Hands, b.o.Openings, b.o.Troubles = own.Hands, own.Openings, own.Troubles }()
	b.o.Hands, b.o.Openings, b.o.Troubles = []Hand{h}, openings, troubles
	return b.Next()
}

// Change puts another rocker, lash or lobe on a valve; the error says what cannot
// be.
func (b *Bench) Change(valve int, v Valve) error {
	if valve < 0 || valve >= len(b.o.Engine.Valves) {
		return fmt.Errorf("valve %d of an engine of %d: write 0 to %d", valve, len(b.o.Engine.Valves), len(b.o.Engine.Valves)-1)
	}
	if _, err := v.train(); err != nil {
		return err
	}
	b.o.Engine.Valves = slices.Clone(b.o.Engine.Valves)
	b.o.Engine.Valves[valve] = v
	return nil
}

// EncoderAt returns what the encoder shows with the crank so far after the engine's
// top dead centre, in whole counts; false while no session was played or without
// an encoder.
func (b *Bench) EncoderAt(crank measure.Angle) (measure.Angle, bool) {
	if b.carry == nil || b.o.Encoder == nil || b.o.NoEncoder {
		return 0, false
	}
	c := b.carry.counter
	return fromDeg(c.angle(c.count(crank.Degrees()))), true
}

// MoveTo puts the indicator on another valve. It is set up again there, so that
// the heel reads a little off zero.
func (b *Bench) MoveTo(valve int) {
	b.o.Valve = valve
	step := b.o.Indicator.withDefaults().Resolution
	b.o.Indicator.Preload = measure.Length(b.rng.IntN(41)-20) * step
}
