package device

import (
	"context"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// A foot switch between CTS or DSR and a line that is up (as RTS or DTR) is a
// "mark": the source gives a note of it. pedal=cts or pedal=dsr in the address
// asks for that, on the port of an instrument or, with format=none, on a port
// with nothing else. Held down, it ends the trace ([Event.Held]). A pseudo-tty has
// no such lines; a bridge of an rfc2217: address tells of its own.

// modem is a link that can tell the state of its modem lines.
type modem interface {
	Modem() (cts, dsr bool, err error)
}

// pedal makes marks of the level of a line: contacts bounce for some
// milliseconds, and a foot rests. It is a pure state machine.
type pedal struct {
	line    string // "cts", "dsr" or ""
	down    bool   // as last believed
	level   bool   // as last seen
	since   measure.Stamp
	started bool
	held    bool // told of this press
}

// press is what a foot did.
type press uint8

const (
	noPress  press = iota
	pressed        // just now
	heldDown       // for pedalLong, told once a press
)

const (
	pedalEvery  = 10 * measure.Millisecond
	pedalStable = 25 * measure.Millisecond // longer than contacts bounce
	pedalLong   = 1500 * measure.Millisecond
)

// see takes the level at a moment and tells what the foot did. A press belongs
// to the moment when the level first changed, which is at. The level at the open
// is no press, however long it lasts.
func (p *pedal) see(now measure.Stamp, level bool) (at measure.Stamp, did press) {
	if !p.started {
		p.started, p.level, p.since, p.down, p.held = true, level, now, level, level
		return 0, noPress
	}
	if level != p.level {
		p.level, p.since = level, now
	}
	switch {
	case p.level && p.down && !p.held && now-p.since >= pedalLong:
		p.held = true
		return p.since, heldDown
	case p.level == p.down || now-p.since < pedalStable:
		return 0, noPress
	}
	p.down, p.held = p.level, false
	if !p.down {
		return 0, noPress
	}
	return p.since, pressed
}

// none is the decoder of a port that has only a pedal on it.
type none struct{}

func (none) Decode(wire.Chunk, *wire.Out) {}
func (none) Reset()                       {}
func (none) Found() wire.Found {
	return wire.Found{Settled: true, Format: "none", Says: "nothing is read of this port"}
}

// lookAtPedal tells of a press of the foot switch, short and long.
func (s *Source) lookAtPedal(ctx context.Context, now measure.Stamp) {
	m, ok := s.link.(modem)
	if s.pedal.line == "" || !ok {
		return
	}
	cts, dsr, err := m.Modem()
	if err != nil {
		s.o.Log.Warn("the port has no such line", "port", s.name, "line", s.pedal.line, "err", err)
		s.pedal.line = ""
		return
	}
	level := cts
	if s.pedal.line == "dsr" {
		level = dsr
	}
	switch at, did := s.pedal.see(now, level); did {
	case pressed:
		s.note(ctx, measure.Note{At: at, Kind: measure.NoteMark, Says: "foot switch"})
	case heldDown:
		s.o.Log.Info("the foot switch is held down", "port", s.name)
		s.send(ctx, Event{Held: true})
	}
}
