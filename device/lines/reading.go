package lines

import (
	"fmt"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// doubtful is a line that is held until the next one tells what it was.
type doubtful struct {
	is         bool
	odd        bool // of another shape
	jumped     bool
	lift, turn number
	length     measure.Length
	at         measure.Stamp
}

// reading takes a line that was understood.
func (d *Decoder) reading(lift, turn *number, at measure.Stamp, out *wire.Out) {
	if d.counts && (turn.decimals > 0 || d.lift < 0 && !d.counted()) {
		out.Refused.Misshapen++
		return
	}
	d.uncounted = d.uncounted || d.counts && turn.mantissa != 0 && !d.counted()
	if d.lift < 0 {
		d.emit(0, turn, at, out)
		return
	}
	s := &d.shape
	if s.scale > 0 && lift.unit == measure.NoUnit && lift.decimals > 0 {
		out.Refused.Misshapen++
		return
	}
	length, ok := s.length(lift, s.unitOf(lift))
	if !ok {
		out.Refused.NotANumber++
		return
	}
	if length > longest || length < -longest {
		out.Refused.NotANumber++
		return
	}
	odd := s.odd(lift)
	jumped := false
	if d.hasLast {
		if moved := (length - d.lastLift).Abs(); moved > stirs {
			jumped = at-d.lastAt < measure.Second && d.jumps(moved, at-d.lastAt)
		}
	}
	if odd || jumped || d.held.is {
		d.doubt(doubtful{is: true, odd: odd, jumped: jumped, lift: *lift, turn: *turn, length: length, at: at}, out)
		return
	}
	d.accept(lift, turn, length, at, out)
}

// How far the lift may go from one reading to the next without a doubt.
const (
	// StillSteps is how many of its steps a column at rest may tremble.
	StillSteps = 2
	// longest is beyond what any indicator shows, or a gauge of distance used as one.
	longest = 10_000 * measure.Millimetre
	// stirs is what no movement is doubted for, however close the readings are.
	stirs = 5 * measure.Millimetre / 2
	// handPace is as fast as a hand on the crank moves a spindle, in nanometres a
	// microsecond, which is millimetres a second: a steep cam gives 0.3 mm a degree,
	// and 120 degrees a second is a fast hand (common practice, no source). What is
	// faster is only held until the next reading bears it out.
	handPace = 40
)

// jumps reports whether a step of the lift is further than a hand makes it in a
// time. Readings that came in one piece are taken to be as far apart as usual.
func (d *Decoder) jumps(moved measure.Length, dt measure.Stamp) bool {
	may := max(stirs, StillSteps*d.grain.place, measure.Length(max(dt, d.period))*max(handPace, 2*d.pace))
	return moved > min(may, d.f.Jump)
}

// goesOn reports whether a reading that was held for its jump is part of a fast
// movement: the next goes on the same way. A misread digit goes there and back.
func (d *Decoder) goesOn(held, now *doubtful) bool {
	there, on := held.length-d.lastLift, now.length-held.length
	return d.hasLast && held.jumped && (there > 0 && on > 0 || there < 0 && on < 0) && there.Abs() <= 4*on.Abs() && on.Abs() <= 4*there.Abs()
}

// doubt settles the line that is held by the one that came now, and holds that
// if it is doubtful itself.
func (d *Decoder) doubt(now doubtful, out *wire.Out) {
	held := d.held
	d.held = doubtful{}
	switch {
	case !held.is:
	case held.odd && now.odd:
		d.shape.relearn(&held.lift, &now.lift, d.lastLift, d.hasLast)
		d.grain = grain{}
		d.acceptHeld(&held, out)
		d.acceptHeld(&now, out)
		return
	case !held.odd && !now.odd && (!d.jumps((now.length-held.length).Abs(), now.at-held.at) || d.goesOn(&held, &now)):
		if held.jumped {
			d.pace = (held.length - d.lastLift).Abs() / measure.Length(max(held.at-d.lastAt, d.period, measure.Millisecond))
		}
		d.acceptHeld(&held, out)
		d.acceptHeld(&now, out)
		return
	case held.odd && d.hasLast && between(held.length, d.lastLift, now.length, d.grain.place):
		// It stands where it should: a zero was dropped, and no digit lost.
		d.shape.alone()
		d.acceptHeld(&held, out)
	case held.odd:
		out.Refused.Misshapen++
	default:
		out.Refused.Jump++
	}
	if now.odd || now.jumped {
		d.held = now
		return
	}
	d.acceptHeld(&now, out)
}

// between reports whether l stands between a and b, give or take a step.
func between(l, a, b, step measure.Length) bool {
	return l >= min(a, b)-step && l <= max(a, b)+step
}

// acceptHeld gives out a line that was held. Its unit may have been settled
// since, so its length is worked out again.
func (d *Decoder) acceptHeld(r *doubtful, out *wire.Out) {
	length, ok := d.shape.length(&r.lift, d.shape.unitOf(&r.lift))
	if !ok {
		out.Refused.NotANumber++
		return
	}
	d.accept(&r.lift, &r.turn, length, r.at, out)
}

// accept gives out a line as a reading.
func (d *Decoder) accept(lift, turn *number, length measure.Length, at measure.Stamp, out *wire.Out) {
	s := &d.shape
	if unit := s.unitOf(lift); unit != s.unit || !s.started {
		if s.started {
			out.Note(measure.Note{At: at, Kind: measure.NoteUnitChange,
				Says: fmt.Sprintf("the indicator was switched from %s to %s", s.unit, unit)})
		}
		s.unit, s.started = unit, true
		d.grain = grain{}
	}
	s.learn(lift)
	if d.hasLast {
		d.period += (at - d.lastAt - d.period) >> 3
	}
	d.lastLift, d.lastAt, d.hasLast = length, at, true
	if place := d.place(lift, s.unit); place > 0 {
		if d.grain.place > 0 {
			place = min(place, d.grain.place) // a dropped zero makes no coarser step
		}
		d.grain.add(length, place)
	}
	d.emit(length, turn, at, out)
}

// place returns the length of one in the last decimal of n.
func (d *Decoder) place(n *number, unit measure.Unit) measure.Length {
	if d.shape.scale > 0 && n.unit == measure.NoUnit {
		return d.shape.scale
	}
	if d.shape.per > 0 && d.shape.perUnit == unit && d.shape.perPlace == n.decimals {
		return d.shape.per
	}
	l, _ := measure.FromDecimal(1, n.decimals, unit.Length())
	return l
}

func (d *Decoder) emit(length measure.Length, turn *number, at measure.Stamp, out *wire.Out) {
	r := measure.Reading{At: at}
	if d.lift >= 0 {
		r.Has |= measure.HasLift
		r.Lift = length
		if d.o.Invert {
			r.Lift = -r.Lift
		}
	}
	if d.turn >= 0 && (!d.counts || d.counted()) {
		r.Has |= measure.HasAngle
		if d.counts {
			r.Angle = d.o.Crank.FromCounts(turn.mantissa)
			if s := turn.status; s != nil && s.Index {
				d.index(at, out)
			}
		} else {
			a, err := measure.FromDecimal(turn.mantissa, turn.decimals, measure.Length(d.perAngle))
			if err != nil {
				out.Refused.NotANumber++
				return
			}
			r.Angle = d.o.Crank.FromDegrees(measure.Angle(a))
		}
	}
	out.Add(r)
}

// indexed is a [wire.Crank] that knows where the index of its encoder belongs.
type indexed interface {
	// Index says that the latest number came with the index, and returns how
	// many counts were lost (below zero) or too many since the one before.
	Index() (missed int64)
	// Lost is the sentence for missed counts.
	Lost(missed int64) string
}

// index takes the index of the latest line.
func (d *Decoder) index(at measure.Stamp, out *wire.Out) {
	c, ok := d.o.Crank.(indexed)
	if !ok {
		return
	}
	if missed := c.Index(); missed != 0 {
		out.Condition(at, c.Lost(missed))
	}
}

// unwrap is the crank of a board that prints degrees: it undoes the wrap at a
// full turn. Counts mean nothing to it.
type unwrap struct {
	turns   measure.Angle
	last    measure.Angle
	started bool
}

func (u *unwrap) FromCounts(int64) measure.Angle { return 0 }
func (u *unwrap) Step() measure.Angle            { return 0 }

func (u *unwrap) FromDegrees(a measure.Angle) measure.Angle {
	if u.started {
		switch d := a - u.last; {
		case d > measure.Turn/2 && d <= measure.Turn:
			u.turns -= measure.Turn
		case d < -measure.Turn/2 && d >= -measure.Turn:
			u.turns += measure.Turn
		}
	}
	u.last, u.started = a, true
	return u.turns + a
}
