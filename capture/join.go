package capture

import (
	"lobescribe/device/measure"
)

// Joiner puts the crank angle beside the lift when indicator and encoder hang
// on ports of their own. Each lift reading gets the angle interpolated at its
// own instant from the encoder readings before and after it, so neither has to
// be the faster one. It is a pure state machine: stamps of both sources must be
// on one monotonic clock, with each source's own delay already taken off.
//
// An encoder board may be silent while the crank stands still. So silence is
// read as standing still: the last angle holds, until one spacing (Span) before
// the next one that differs.
type Joiner struct {
	o       JoinOptions
	angles  []measure.Reading // ring content in order of time, oldest first
	pending []measure.Reading // lift readings still waiting for a later angle
	last    measure.Stamp     // of the newest reading let out
	alone   bool              // no encoder: lift passes at once
}

// JoinOptions are the settings of a Joiner.
type JoinOptions struct {
	// Hold is how long a lift reading waits for the next angle before the last
	// one is taken to hold still; 0 means 250 ms, since a busy computer hands
	// bytes over late.
	Hold measure.Stamp
	// Span is the longest time over which the crank is taken to have turned
	// evenly between two angles; 0 means 100 ms. Angles further apart mean a
	// board that was silent because nothing moved.
	Span measure.Stamp
	// Keep is how many angles are remembered; 0 means 4096.
	Keep int
}

// NewJoiner returns a Joiner that knows no encoder yet and passes lift as it
// comes.
func NewJoiner(o JoinOptions) *Joiner {
	if o.Hold == 0 {
		o.Hold = 250 * measure.Millisecond
	}
	if o.Span == 0 {
		o.Span = 100 * measure.Millisecond
	}
	if o.Keep == 0 {
		o.Keep = 4096
	}
	return &Joiner{o: o, alone: true}
}

// Lift takes a reading of the indicator and appends to dst what is ready. A
// reading that already carries its angle (one board measures both) passes
// untouched.
func (j *Joiner) Lift(dst []measure.Reading, r measure.Reading) []measure.Reading {
	if j.alone || r.Has&measure.HasAngle != 0 {
		return j.out(dst, r)
	}
	j.pending = append(j.pending, r)
	return j.release(dst, r.At)
}

// Angle takes a reading of the encoder and appends to dst what it completes.
func (j *Joiner) Angle(dst []measure.Reading, r measure.Reading) []measure.Reading {
	j.alone = false
	if n := len(j.angles); n > 0 && r.At <= j.angles[n-1].At {
		return dst // late or doubled: order is what interpolation lives on
	}
	if len(j.angles) >= j.o.Keep {
		j.angles = append(j.angles[:0], j.angles[len(j.angles)/2:]...)
	}
	j.angles = append(j.angles, r)
	return j.release(dst, r.At)
}

// Tick tells the time when nothing has come, so that lift readings do not wait
// for an encoder that stands still.
func (j *Joiner) Tick(dst []measure.Reading, now measure.Stamp) []measure.Reading {
	return j.release(dst, now)
}

// Waits reports whether lift readings wait for the encoder.
func (j *Joiner) Waits() bool { return len(j.pending) > 0 }

// Forget drops the encoder: its link is lost, so an old angle must not stand
// beside a new lift. Waiting readings come out without one.
func (j *Joiner) Forget(dst []measure.Reading) []measure.Reading {
	for _, r := range j.pending {
		dst = j.out(dst, r)
	}
	j.pending = j.pending[:0]
	j.angles = j.angles[:0]
	j.alone = true
	return dst
}

// release lets out, oldest first, every waiting reading whose angle is certain
// or that has waited long enough.
func (j *Joiner) release(dst []measure.Reading, now measure.Stamp) []measure.Reading {
	n := 0
	for _, r := range j.pending {
		newest := len(j.angles) - 1
		certain := newest >= 0 && j.angles[newest].At >= r.At
		if !certain && now-r.At < j.o.Hold {
			break
		}
		if newest >= 0 {
			if a, ok := j.at(r.At); ok {
				r.Angle, r.Has = a, r.Has|measure.HasAngle
			}
		}
		dst = j.out(dst, r)
		n++
	}
	j.pending = append(j.pending[:0], j.pending[n:]...)
	return dst
}

// at returns the angle at time t; false before the first one known.
func (j *Joiner) at(t measure.Stamp) (measure.Angle, bool) {
	lo, hi := 0, len(j.angles) // the first angle after t is in [lo, hi]
	for lo < hi {
		mid := (lo + hi) / 2
		if j.angles[mid].At <= t {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	if lo == 0 {
		return 0, false
	}
	before := j.angles[lo-1]
	if lo == len(j.angles) {
		return before.Angle, true
	}
	after := j.angles[lo]
	from := max(before.At, after.At-j.o.Span)
	if t <= from {
		return before.Angle, true
	}
	turned := float64(after.Angle-before.Angle) * float64(t-from) / float64(after.At-from)
	return before.Angle + measure.Angle(turned), true
}

// out appends r unless it would run back in time.
func (j *Joiner) out(dst []measure.Reading, r measure.Reading) []measure.Reading {
	if r.At < j.last {
		r.At = j.last
	}
	j.last = r.At
	return append(dst, r)
}
