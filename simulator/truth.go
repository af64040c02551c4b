package simulator

import (
	"math"

	"lobescribe/device/measure"
)

// Truth is what really happened, as no instrument shows it.
type Truth struct {
	// Openings are the passages in which the valve came to its highest lift,
	// and those cut by the start or the end of the session, in order.
	Openings []TrueOpening
	// Touches are the passages that began and ended on the heel without the
	// nose between: a back-turn that went from the heel into a ramp. They are
	// no openings.
	Touches []TrueOpening

	MaxLift, HalfLift                  measure.Length // of the valve
	NoseAngle                          measure.Angle  // of the first whole opening, as in TrueOpening
	HalfOpeningWidth, HalfClosingWidth measure.Angle  // crank, half lift to nose and nose to half lift
	End                                measure.Stamp  // of the session
	Fastest                            measure.Angle  // highest crank speed, a second

	train   *train
	path    *path
	show    *display
	counter *counter
}

// TrueOpening is one passage with lift above zero.
type TrueOpening struct {
	// Open is the last moment on the heel, Close the first one back on it; for
	// a part of an opening the start or end of the session.
	//
	// Nose is when the lift is first at its highest, NoseUntil when it last is
	// (a dwell, a rest, or a back-turn over the nose lie between).
	Open, Nose, NoseUntil, Close measure.Stamp

	MaxLift measure.Length // highest lift of the passage
	// Heel is what a perfect indicator in its place shows at Open, and
	// HeelAfter at Close; they differ where something slipped.
	Heel, HeelAfter measure.Length
	// ShownLift is how far a perfect indicator in its place moves from heel to
	// nose: MaxLift, except for a cosine error, an end of travel or a spindle
	// that hangs free.
	ShownLift measure.Length

	// The crank angles as a perfect encoder would count them: from its zero, in
	// its direction, without steps. Without an encoder they are the engine's
	// own. A back-turn does not change them: the flank stays where it is.
	// NoseAngle is the middle of the dwell.
	OpeningHalfAngle, ClosingHalfAngle, NoseAngle measure.Angle

	// OpeningHalfAt is the last upward pass of half of MaxLift before Nose, and
	// ClosingHalfAt the first downward pass after NoseUntil. Where the hand
	// rests on half lift, the pass is when it arrives. Both are zero in an
	// opening that is not whole and lacks that pass.
	OpeningHalfAt, ClosingHalfAt measure.Stamp

	// HighestSampled is the highest true lift at any reading between Open and
	// Close: MaxLift less this is the shortfall of sampling.
	HighestSampled measure.Length

	// Whole is true when it began and ended on the heel.
	Whole bool
}

// LiftAt returns the valve's lift.
func (t *Truth) LiftAt(at measure.Stamp) measure.Length { return fromMM(t.liftAt(at.Seconds())) }

// CrankAt returns the crank angle as a perfect encoder would count it.
func (t *Truth) CrankAt(at measure.Stamp) measure.Angle {
	return fromDeg(t.counter.perfect(t.path.at(at.Seconds())))
}

// ShownAt returns what the indicator would show with neither delay, noise nor
// steps. After a switch to another unit it is still a length.
func (t *Truth) ShownAt(at measure.Stamp) measure.Length {
	return fromMM(t.show.at(at.Seconds(), t.liftAt(at.Seconds())))
}

func (t *Truth) liftAt(seconds float64) float64 { return t.train.lift(t.path.at(seconds)) }

// Whole returns the whole openings.
func (t *Truth) Whole() []TrueOpening {
	var whole []TrueOpening
	for _, o := range t.Openings {
		if o.Whole {
			whole = append(whole, o)
		}
	}
	return whole
}

// mark is one of the crank angles of a lobe that are worth noting.
type mark uint8

const (
	opens mark = iota
	halfUp
	noseBegins
	noseEnds
	halfDown
	closes
)

// pass is the crank going past a mark of the nose at an angle.
type pass struct {
	t       float64
	mark    mark
	nose    float64 // crank angle of that nose
	forward bool
}

// passes walks the path and returns everything it goes past, in order of time.
// Standing on half lift counts as being past it, so that a rest there is passed
// once, on arrival. Heel and nose are closed spans: whoever stands on their
// last angle has not left them.
func (t *Truth) passes() []pass {
	var all []pass
	marks := [...]float64{t.train.open, t.train.halfOpening, t.train.noseFrom, t.train.noseTo, t.train.halfClosing, t.train.close}
	for i := range len(t.path.knots) - 1 {
		a, b := t.path.knots[i].crank, t.path.knots[i+1].crank
		if a == b {
			continue
		}
		lo, hi := min(a, b), max(a, b)
		from := len(all)
		for k := math.Floor((lo-t.train.noseAt)/720) - 1; t.train.noseAt+k*720-360 <= hi; k++ {
			nose := t.train.noseAt + k*720
			for m, off := range marks {
				c := nose + off
				past := c > lo && c <= hi
				if mark(m) == opens || mark(m) == noseEnds {
					past = c >= lo && c < hi
				}
				if past {
					all = append(all, pass{t.path.when(i, c), mark(m), nose, b > a})
				}
			}
		}
		if b < a { // the marks were met the other way round
			for l, r := from, len(all)-1; l < r; l, r = l+1, r-1 {
				all[l], all[r] = all[r], all[l]
			}
		}
	}
	return all
}

// find works out the openings.
func (t *Truth) find() {
	start, end := t.path.knots[0], t.path.knots[len(t.path.knots)-1]
	o := passage{}
	rel := start.crank - t.train.noseAt
	nose := t.train.noseAt + 720*math.Round(rel/720)
	if rel = start.crank - nose; rel > t.train.open && rel < t.train.close {
		o.begin(start.t, nose, true)
		if rel >= t.train.noseFrom && rel <= t.train.noseTo {
			o.top(start.t)
		}
	}
	for _, p := range t.passes() {
		switch {
		case p.mark == opens && p.forward, p.mark == closes && !p.forward:
			o.begin(p.t, p.nose, false)
		case p.mark == opens, p.mark == closes:
			t.finish(&o, p.t, false)
		case p.mark == halfUp && p.forward, p.mark == halfDown && !p.forward:
			o.up(p.t)
		case p.mark == halfUp, p.mark == halfDown:
			o.down(p.t)
		default:
			o.top(p.t)
		}
	}
	if o.on {
		// Resting on the nose at the end: the nose lasts until the end.
		if r := end.crank - o.nose; r >= t.train.noseFrom && r <= t.train.noseTo {
			o.top(end.t)
		}
		t.finish(&o, end.t, true)
	}
}

// passage is the opening being walked through.
type passage struct {
	on, cut, topped              bool
	nose                         float64
	open, noseFrom, noseTo       float64
	lastUp, openingHalf, closing float64
	hasUp, hasOpening, hasDown   bool
}

func (o *passage) begin(t, nose float64, cut bool) {
	*o = passage{on: true, cut: cut, nose: nose, open: t}
}

func (o *passage) up(t float64) { o.lastUp, o.hasUp = t, true }

func (o *passage) down(t float64) {
	if o.topped && !o.hasDown {
		o.closing, o.hasDown = t, true
	}
}

// top is being at the highest lift. Whatever half lift was passed downward
// before was not after the nose.
func (o *passage) top(t float64) {
	if !o.topped {
		o.topped, o.noseFrom = true, t
		o.openingHalf, o.hasOpening = o.lastUp, o.hasUp
	}
	o.noseTo, o.hasDown = t, false
}

// finish ends the passage and files it.
func (t *Truth) finish(o *passage, at float64, cut bool) {
	defer func() { *o = passage{} }()
	p := TrueOpening{
		Open: fromSec(o.open), Close: fromSec(at), Whole: o.topped && !o.cut && !cut,
		OpeningHalfAngle: fromDeg(t.counter.perfect(o.nose + t.train.halfOpening)),
		ClosingHalfAngle: fromDeg(t.counter.perfect(o.nose + t.train.halfClosing)),
		NoseAngle:        fromDeg(t.counter.perfect(o.nose + (t.train.noseFrom+t.train.noseTo)/2)),
	}
	if o.topped {
		p.MaxLift, p.Nose, p.NoseUntil = fromMM(t.train.max), fromSec(o.noseFrom), fromSec(o.noseTo)
	} else {
		when := t.highest(o.open, at)
		p.MaxLift, p.Nose, p.NoseUntil = fromMM(t.liftAt(when)), fromSec(when), fromSec(when)
	}
	if o.hasOpening {
		p.OpeningHalfAt = fromSec(o.openingHalf)
	}
	if o.hasDown {
		p.ClosingHalfAt = fromSec(o.closing)
	}
	p.Heel, p.HeelAfter = fromMM(t.show.at(o.open, 0)), fromMM(t.show.at(at, 0))
	p.ShownLift = fromMM(math.Abs(t.show.travel(p.MaxLift.Millimetres()) - t.show.travel(0)))
	if o.topped || o.cut || cut {
		t.Openings = append(t.Openings, p)
	} else {
		t.Touches = append(t.Touches, p)
	}
}

// highest returns when a passage without the nose has its highest lift: at one
// of the knots, where alone the crank turns round, or at its ends.
func (t *Truth) highest(from, to float64) float64 {
	best, high := from, t.liftAt(from)
	consider := func(at float64) {
		if l := t.liftAt(at); l > high {
			best, high = at, l
		}
	}
	for i := t.path.pieceAt(from) + 1; i < len(t.path.knots) && t.path.knots[i].t < to; i++ {
		consider(t.path.knots[i].t)
	}
	consider(to)
	return best
}
