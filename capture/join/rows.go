package join

import (
	"lobescribe/capture/sift"
	"lobescribe/device/measure"
)

// Rows puts the crank angle and the sweep beside the lifts of a finished trace whose
// instruments stand on rows of their own, as the [Joiner] does of instruments that are
// read. A row that carries all is passed as it is; so are all until one does not. The zero
// value has seen nothing.
//
// What the encoder itself said comes out too, behind the lifts that came before it. An
// angle that starts again after each turn does so beside a lift as well.
type Rows struct {
	j     *Joiner         // nil while no instrument stood alone
	last  measure.Reading // with an angle
	turns measure.Angle   // that the angle started again by
	begun bool
	bare  int // lifts that came without an angle, less those with one
	out   []measure.Reading
}

// alone are rows of an instrument that stands beside the indicator.
func alone(h measure.Has) bool { return h == measure.HasAngle || h == measure.HasSweep }

// Passes says that r goes on as it is and nothing comes before it.
func (x *Rows) Passes(r *measure.Reading) bool {
	if x.j != nil || alone(r.Has) {
		return false
	}
	if r.Has&measure.HasAngle != 0 {
		x.last = *r
	}
	return true
}

// Add takes the next reading and returns what is ready; it is good until the next call.
func (x *Rows) Add(r *measure.Reading) []measure.Reading {
	x.out = x.out[:0]
	if x.j == nil {
		x.j = New(Options{Whole: true})
		if x.last.Has&measure.HasAngle != 0 { // it stood beside a lift until now
			x.angle(x.last)
		}
	}
	if r.Has&measure.HasAngle != 0 {
		x.angle(*r)
	}
	switch {
	case r.Has == measure.HasAngle:
		x.out = append(x.out, *r)
	case r.Has == measure.HasSweep:
		x.put(func(dst []measure.Reading) []measure.Reading { return x.j.Sweep(dst, *r) }, x.turns)
	default:
		if x.bare++; r.Has&measure.HasAngle != 0 {
			x.bare -= 2
		}
		own := *r
		own.Angle += x.turns
		x.put(func(dst []measure.Reading) []measure.Reading { return x.j.Lift(dst, own) }, x.turns)
	}
	return x.out
}

// angle counts the encoder on.
func (x *Rows) angle(r measure.Reading) {
	turns := x.turns
	if x.begun {
		x.turns -= sift.StartedAgain(r.Angle-x.last.Angle, r.At-x.last.At, x.turns != 0)
	}
	x.last, x.begun = r, true
	r.Angle += x.turns
	x.put(func(dst []measure.Reading) []measure.Reading { return x.j.Angle(dst, r) }, turns)
}

// put appends what the joiner lets out, its angles as they were shown.
func (x *Rows) put(take func([]measure.Reading) []measure.Reading, turns measure.Angle) {
	n := len(x.out)
	x.out = take(x.out)
	for i := range x.out[n:] {
		if r := &x.out[n+i]; r.Has&measure.HasAngle != 0 {
			r.Angle -= turns
		}
	}
}

// End returns what still waits.
func (x *Rows) End() []measure.Reading {
	if x.out = x.out[:0]; x.j != nil {
		x.put(x.j.End, x.turns)
	}
	return x.out
}

// Between says whether most angles beside a lift were taken between two of the encoder's.
func (x *Rows) Between() bool { return x.bare > 0 }

// All returns the readings of a finished trace with what stands beside each; those that
// were given where none stands alone.
func All(readings []measure.Reading) []measure.Reading {
	x := &Rows{}
	for i := range readings {
		if x.Passes(&readings[i]) {
			continue
		}
		all := append(make([]measure.Reading, 0, len(readings)), readings[:i]...)
		for k := i; k < len(readings); k++ {
			all = append(all, x.Add(&readings[k])...)
		}
		return append(all, x.End()...)
	}
	return readings
}
