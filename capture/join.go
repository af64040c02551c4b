package capture

import (
	"sort"

	"lobescribe/device/measure"
)

// Joiner puts the crank angle, and what the sweep gauge shows, beside the lift
// when those instruments hang on ports of their own. Each lift reading gets both
// interpolated at its own instant from the readings before and after it, so none
// has to be the faster one. It is a pure state machine: stamps of all sources must
// be on one monotonic clock, with each source's own delay already taken off.
//
// An encoder board may be silent while the crank stands still, and so may a gauge.
// So silence is read as standing still: the last value holds, until one spacing
// (Span) before the next one that differs.
//
// Where no lift comes, as with one indicator that was moved from the stem to the
// roller, the sweep gauge's readings are what the angle is put beside.
type Joiner struct {
	o            JoinOptions
	angle, sweep beside
	lifts        bool              // an indicator is there
	pending      []measure.Reading // waiting for a later angle or sweep
	last         measure.Stamp     // of the newest reading let out
}

// beside is what another instrument said lately.
type beside struct {
	there bool
	list  []placed // in order of time
}

// placed is a value and when it was read.
type placed struct {
	at    measure.Stamp
	value int64
}

// JoinOptions are the settings of a Joiner.
type JoinOptions struct {
	// Hold is how long a reading waits for the next one beside it before the last
	// one is taken to hold still; 0 means 250 ms, since a busy computer hands
	// bytes over late.
	Hold measure.Stamp
	// Span is the longest time over which the crank is taken to have turned
	// evenly between two readings; 0 means 100 ms. Readings further apart mean a
	// board that was silent because nothing moved.
	Span measure.Stamp
	// Keep is how many readings of each instrument are remembered; 0 means 4096.
	Keep int
}

// NewJoiner returns a Joiner that knows no encoder and no sweep gauge yet and
// passes lift as it comes.
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
	return &Joiner{o: o}
}

// Lift takes a reading of the indicator and appends to dst what is ready. A
// reading that already carries its angle (one board measures both) keeps it.
func (j *Joiner) Lift(dst []measure.Reading, r measure.Reading) []measure.Reading {
	j.lifts = j.lifts || r.Has&measure.HasLift != 0
	return j.take(dst, r)
}

// Angle takes a reading of the encoder and appends to dst what it completes.
func (j *Joiner) Angle(dst []measure.Reading, r measure.Reading) []measure.Reading {
	j.angle.add(placed{r.At, int64(r.Angle)}, j.o.Keep)
	return j.release(dst, r.At)
}

// Sweep takes a reading of the sweep gauge and appends to dst what it completes,
// or is.
func (j *Joiner) Sweep(dst []measure.Reading, r measure.Reading) []measure.Reading {
	j.sweep.add(placed{r.At, int64(r.Sweep)}, j.o.Keep)
	if !j.lifts {
		return j.take(dst, r)
	}
	return j.release(dst, r.At)
}

func (j *Joiner) take(dst []measure.Reading, r measure.Reading) []measure.Reading {
	if len(j.pending) == 0 && j.wants(r) == 0 {
		return j.out(dst, r)
	}
	j.pending = append(j.pending, r)
	return j.release(dst, r.At)
}

// wants are the quantities that are to be put beside r.
func (j *Joiner) wants(r measure.Reading) (w measure.Has) {
	if j.angle.there {
		w |= measure.HasAngle
	}
	if j.sweep.there {
		w |= measure.HasSweep
	}
	return w &^ r.Has
}

// Tick tells the time when nothing has come, so that readings do not wait for an
// encoder that stands still.
func (j *Joiner) Tick(dst []measure.Reading, now measure.Stamp) []measure.Reading {
	return j.release(dst, now)
}

// Waits reports whether readings wait for the encoder or the sweep gauge.
func (j *Joiner) Waits() bool { return len(j.pending) > 0 }

// Forget drops an instrument: its link is lost, so an old angle must not stand
// beside a new lift. Waiting readings come out without it.
func (j *Joiner) Forget(dst []measure.Reading, role Role) []measure.Reading {
	switch role {
	case Encoder:
		j.angle = beside{}
	case Sweep:
		j.sweep = beside{}
	default:
		// The gauge's readings stand alone from now on.
		j.lifts, j.sweep = false, beside{}
	}
	return j.release(dst, j.last)
}

// End lets out whatever waits, with what is known beside it.
func (j *Joiner) End(dst []measure.Reading) []measure.Reading {
	if n := len(j.pending); n > 0 {
		dst = j.release(dst, j.pending[n-1].At+j.o.Hold)
	}
	return dst
}

// release lets out, oldest first, every waiting reading of which all that stands
// beside it is certain or that has waited long enough.
func (j *Joiner) release(dst []measure.Reading, now measure.Stamp) []measure.Reading {
	n := 0
	for _, r := range j.pending {
		w := j.wants(r)
		certain := (w&measure.HasAngle == 0 || j.angle.certain(r.At)) && (w&measure.HasSweep == 0 || j.sweep.certain(r.At))
		if !certain && now-r.At < j.o.Hold {
			break
		}
		if w&measure.HasAngle != 0 {
			if v, ok := j.angle.at(r.At, j.o.Span); ok {
				r.Angle, r.Has = measure.Angle(v), r.Has|measure.HasAngle
			}
		}
		if w&measure.HasSweep != 0 {
			if v, ok := j.sweep.at(r.At, j.o.Span); ok {
				r.Sweep, r.Has = measure.Length(v), r.Has|measure.HasSweep
			}
		}
		dst = j.out(dst, r)
		n++
	}
	j.pending = append(j.pending[:0], j.pending[n:]...)
	return dst
}

func (b *beside) add(p placed, keep int) {
	b.there = true
	if n := len(b.list); n > 0 && p.at <= b.list[n-1].at {
		return // late or doubled: order is what interpolation lives on
	}
	if len(b.list) >= keep {
		b.list = append(b.list[:0], b.list[len(b.list)/2:]...)
	}
	b.list = append(b.list, p)
}

// certain tells that no later reading changes what stands beside time t.
func (b *beside) certain(t measure.Stamp) bool {
	n := len(b.list)
	return n > 0 && b.list[n-1].at >= t
}

// at returns the value at time t; false before the first one known.
func (b *beside) at(t, span measure.Stamp) (int64, bool) {
	i := sort.Search(len(b.list), func(i int) bool { return b.list[i].at > t }) // the first after t
	if i == 0 {
		return 0, false
	}
	before := b.list[i-1]
	if i == len(b.list) {
		return before.value, true
	}
	after := b.list[i]
	from := max(before.at, after.at-span)
	if t <= from {
		return before.value, true
	}
	moved := float64(after.value-before.value) * float64(t-from) / float64(after.at-from)
	return before.value + int64(moved), true
}

// out appends r unless it would run back in time.
func (j *Joiner) out(dst []measure.Reading, r measure.Reading) []measure.Reading {
	if r.At < j.last {
		r.At = j.last
	}
	j.last = r.At
	return append(dst, r)
}
