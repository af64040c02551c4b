package measure

import (
	"fmt"
	"strings"
	"time"
)

// Angle is a crank (or, where said, cam) angle in whole microdegrees. Angles
// grow without end as an encoder turns: nothing here wraps by itself.
//
// Its JSON form is a number of degrees, exact to the microdegree; name such a
// field with the ending _deg.
type Angle int64

// The angles a bench speaks in.
const (
	Microdegree Angle = 1
	Degree            = 1_000_000 * Microdegree
	Turn              = 360 * Degree
	// Cycle is one four-stroke cycle: two turns of the crank.
	Cycle = 2 * Turn
)

// ParseAngle reads a number of degrees, with or without "deg" or "°".
func ParseAngle(text string) (Angle, error) {
	s := strings.TrimSpace(text)
	mantissa, decimals, n, err := ScanDecimal([]byte(s))
	if err != nil {
		return 0, fmt.Errorf(`%q is not an angle: expected a number of degrees, as in "106.5" or "-12 deg"`, text)
	}
	switch strings.ToLower(strings.TrimSpace(s[n:])) {
	case "", "°", "deg", "degree", "degrees":
	default:
		return 0, fmt.Errorf(`%q is not an angle: %q is no unit of it (expected degrees, as in "106.5" or "-12 deg")`, text, s[n:])
	}
	v, err := mulPow10(mantissa, decimals, int64(Degree))
	if err != nil {
		return 0, fmt.Errorf("%q is not a usable angle: %w", text, err)
	}
	return Angle(v), nil
}

// FromDegrees returns the Angle nearest to deg. It panics on NaN and infinity.
func FromDegrees(deg float64) Angle { return Angle(fromFloat(deg, Length(Degree))) }

// Degrees returns a as a float, for mathematics and drawing.
func (a Angle) Degrees() float64 { return float64(a) / float64(Degree) }

// Wrap returns a reduced to [0, period). The period must be positive.
func (a Angle) Wrap(period Angle) Angle {
	a %= period
	if a < 0 {
		a += period
	}
	return a
}

// String prints a in degrees with no digit missing: "106.5 deg".
func (a Angle) String() string { return trimmed(int64(a), 6) + " deg" }

// MarshalJSON writes a as a number of degrees, exact to the microdegree.
func (a Angle) MarshalJSON() ([]byte, error) { return []byte(trimmed(int64(a), 6)), nil }

// UnmarshalJSON reads a number of degrees.
func (a *Angle) UnmarshalJSON(b []byte) error {
	v, err := fromJSON(b, int64(Degree))
	if err != nil {
		return fmt.Errorf("angle in degrees: %w", err)
	}
	*a = Angle(v)
	return nil
}

// Stamp is a monotonic time in whole microseconds since an origin that its
// owner states: the start of the process for live readings, the start of the
// trace inside a trace. It never follows the wall clock, so a clock step bends
// nothing.
//
// Its JSON form is a number of seconds, exact to the microsecond; name such a
// field with the ending _s.
type Stamp int64

// Stamps and spans of time.
const (
	Microsecond Stamp = 1
	Millisecond       = 1000 * Microsecond
	Second            = 1000 * Millisecond
)

// StampOf returns d in whole microseconds.
func StampOf(d time.Duration) Stamp { return Stamp(d.Microseconds()) }

// Duration returns t as a span since its origin.
func (t Stamp) Duration() time.Duration { return time.Duration(t) * time.Microsecond }

// Seconds returns t as a float, for mathematics and drawing.
func (t Stamp) Seconds() float64 { return float64(t) / float64(Second) }

// String prints t in seconds with no digit missing: "12.25 s".
func (t Stamp) String() string { return trimmed(int64(t), 6) + " s" }

// MarshalJSON writes t as a number of seconds, exact to the microsecond.
func (t Stamp) MarshalJSON() ([]byte, error) { return []byte(trimmed(int64(t), 6)), nil }

// UnmarshalJSON reads a number of seconds.
func (t *Stamp) UnmarshalJSON(b []byte) error {
	v, err := fromJSON(b, int64(Second))
	if err != nil {
		return fmt.Errorf("time in seconds: %w", err)
	}
	*t = Stamp(v)
	return nil
}

// Has says which quantities a Reading carries.
type Has uint8

// What a Reading can carry.
const (
	HasLift Has = 1 << iota
	HasAngle
	HasSweep
)

// HasAll is every quantity that a Reading can carry.
const HasAll = HasLift | HasAngle | HasSweep

// Reading is one moment at which an instrument said something. Lift is what
// the indicator showed (its own zero, its own direction unless invert= was
// asked), Angle what the encoder counted, Sweep what a gauge across the stem
// showed. A quantity it does not have is zero and means nothing.
type Reading struct {
	At    Stamp
	Lift  Length
	Angle Angle
	Sweep Length
	Has   Has
}

// NoteKind says what a Note is about.
type NoteKind string

// What can happen to a stream of readings besides a reading.
const (
	// NoteGap: the link was lost from At until Until; nothing was measured.
	NoteGap NoteKind = "gap"
	// NoteUnitChange: the instrument was switched between inch and metric.
	// Readings on both sides are right, because each carried its unit.
	NoteUnitChange NoteKind = "unit-change"
	// NoteReZero: the instrument said that it was set to zero again.
	NoteReZero NoteKind = "re-zero"
	// NoteMark: the person pressed the space bar, pedal or presenter.
	NoteMark NoteKind = "mark"
	// NoteUnmark: the mark before it, that no other took back, is undone.
	NoteUnmark NoteKind = "unmark"
	// NoteAssumed: nothing told the unit, the scale or the column of what an
	// instrument sends, and Says is what was assumed and the key that tells it.
	NoteAssumed NoteKind = "assumed"
)

// Note is something that happened to a stream of readings. Until is set for a
// gap and zero otherwise.
type Note struct {
	At    Stamp    `json:"t_s"`
	Until Stamp    `json:"until_s,omitempty"`
	Kind  NoteKind `json:"kind"`
	Says  string   `json:"says,omitempty"`
}

// Trace is what was recorded in one go: readings in order of time, and the
// notes beside them. Stamps count from the start of the trace.
type Trace struct {
	Readings []Reading
	Notes    []Note
	// Resolution is the least step of the indicator; 0 when it is not known
	// and must be found from the readings.
	Resolution Length
	// AngleStep is the encoder's angle a count; 0 when not known.
	AngleStep Angle
}
