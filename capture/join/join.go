// Package join puts beside a lift what other instruments, on ports or rows of their own,
// said at its instant: a [Joiner] as they come, [Rows] and [All] where the readings of a
// finished trace stand in order of time.
package join

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
	o            Options
	angle, sweep beside
	lifts        bool              // an indicator is there
	pending      []measure.Reading // waiting for a later angle or sweep, from the first on
	first        int
	last         measure.Stamp // of the newest reading let out
}

// beside is what another instrument said lately.
type beside struct {
	there bool
	list  []placed // in order of time
	usual float64  // microseconds between values that differ, while it moves
}

// placed is a value and when it was read.
type placed struct {
	at    measure.Stamp
	value int64
}

// Options are the settings of a Joiner.
type Options struct {
	// Hold is how long a reading waits for the next one beside it before the last
	// one is taken to hold still; 0 means 250 ms, since a busy computer hands
	// bytes over late.
	Hold measure.Stamp
	// Span is the longest time over which the crank is taken to have turned
	// evenly between two readings; 0 means 100 ms, or twice what lies between two
	// that differ. Readings further apart mean a board that was silent because
	// nothing moved.
	Span measure.Stamp
	// Whole says that the readings are of a finished trace, in order of time: one
	// waits as long as the next beside it may change it, and no clock counts.
	Whole bool
	// Keep is how many readings of each instrument are remembered; 0 means 4096.
	Keep int
}

// New returns a Joiner that knows no encoder and no sweep gauge yet and
// passes lift as it comes.
func New(o Options) *Joiner {
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
	if !j.Waits() && j.wants(r) == 0 {
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
func (j *Joiner) Waits() bool { return j.first < len(j.pending) }

// Forget drops an instrument, by what it measures: its link is lost, so an old angle must
// not stand beside a new lift. Waiting readings come out without it.
func (j *Joiner) Forget(dst []measure.Reading, lost measure.Has) []measure.Reading {
	switch lost {
	case measure.HasAngle:
		j.angle = beside{}
	case measure.HasSweep:
		j.sweep = beside{}
	default:
		// The gauge's readings stand alone from now on.
		j.lifts, j.sweep = false, beside{}
	}
	return j.release(dst, j.last)
}

// End lets out whatever waits, with what is known beside it.
func (j *Joiner) End(dst []measure.Reading) []measure.Reading {
	if !j.Waits() {
		return dst
	}
	return j.release(dst, j.pending[len(j.pending)-1].At+max(j.o.Hold, j.angle.span(&j.o), j.sweep.span(&j.o)))
}

// release lets out, oldest first, every waiting reading of which all that stands
// beside it is certain or that has waited long enough.
func (j *Joiner) release(dst []measure.Reading, now measure.Stamp) []measure.Reading {
	for ; j.Waits(); j.first++ {
		r := j.pending[j.first]
		w := j.wants(r)
		certain := (w&measure.HasAngle == 0 || j.angle.certain(r.At)) && (w&measure.HasSweep == 0 || j.sweep.certain(r.At))
		if !certain && now-r.At < j.hold(w) {
			break
		}
		if w&measure.HasAngle != 0 {
			if v, ok := j.angle.at(r.At, &j.o); ok {
				r.Angle, r.Has = measure.Angle(v), r.Has|measure.HasAngle
			}
		}
		if w&measure.HasSweep != 0 {
			if v, ok := j.sweep.at(r.At, &j.o); ok {
				r.Sweep, r.Has = measure.Length(v), r.Has|measure.HasSweep
			}
		}
		dst = j.out(dst, r)
	}
	if j.first > len(j.pending)/2 {
		j.pending, j.first = append(j.pending[:0], j.pending[j.first:]...), 0
	}
	return dst
}

// hold is how long a reading waits for what it wants.
func (j *Joiner) hold(w measure.Has) (hold measure.Stamp) {
	if !j.o.Whole {
		return j.o.Hold
	}
	if w&measure.HasAngle != 0 {
		hold = j.angle.span(&j.o)
	}
	if w&measure.HasSweep != 0 {
		hold = max(hold, j.sweep.span(&j.o))
	}
	return hold
}

func (b *beside) add(p placed, keep int) {
	b.there = true
	if n := len(b.list); n > 0 {
		last := b.list[n-1]
		if p.at <= last.at {
			return // late or doubled: order is what interpolation lives on
		}
		if dt := float64(p.at - last.at); p.value != last.value && dt < longestUsual {
			if b.usual == 0 {
				b.usual = dt
			}
			b.usual += max(-1, min(1, dt/b.usual-1)) * b.usual / 16 // near the median
		}
	}
	if len(b.list) >= keep {
		b.list = append(b.list[:0], b.list[len(b.list)/2:]...)
	}
	b.list = append(b.list, p)
}

// longestUsual is as far as values lie apart, microseconds, while something moves.
const longestUsual = 1e6

// span is how long the way to a value may have lasted.
func (b *beside) span(o *Options) measure.Stamp { return max(o.Span, measure.Stamp(2*b.usual)) }

// certain tells that no later reading changes what stands beside time t.
func (b *beside) certain(t measure.Stamp) bool {
	n := len(b.list)
	return n > 0 && b.list[n-1].at >= t
}

// at returns the value at time t; false before the first one known.
func (b *beside) at(t measure.Stamp, o *Options) (int64, bool) {
	i := sort.Search(len(b.list), func(i int) bool { return b.list[i].at > t }) // the first after t
	if i == 0 {
		return 0, false
	}
	before := b.list[i-1]
	if i == len(b.list) {
		return before.value, true
	}
	after := b.list[i]
	from := max(before.at, after.at-b.span(o))
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
