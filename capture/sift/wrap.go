package sift

import (
	"math"
	"slices"

	"lobescribe/device/measure"
)

// wrap counts on a crank angle that starts again after each turn, or two: no hand
// turns three quarters of a turn between two readings that are wrapSoon apart. A
// misread angle comes back by as many turns as it went, so that it does no harm.
type wrap struct {
	shown measure.Angle // of the last reading with one
	at    measure.Stamp
	begun bool
	turns measure.Angle // to be added
	// When the crank may have gone on by whole turns more than was shown: by far from one
	// reading to the next, or, where it starts again, over a silence. The first of them.
	far, silent []measure.Stamp
}

const (
	wholeTurn = 360 * measure.Degree
	wrapLeast = 270 * measure.Degree
	// A wrap leaves no more than this beside whole turns.
	wrapRest = 90 * measure.Degree
	wrapSoon = measure.Second
	// mostUnsure are remembered.
	mostUnsure = 1024
)

// on counts the angle of a reading on that has one.
func (w *wrap) on(r *measure.Reading) {
	if w.begun {
		by := r.Angle - w.shown
		again := StartedAgain(by, r.At-w.at, w.turns != 0)
		w.turns -= again
		switch on := by - again; {
		case (on > wrapRest || on < -wrapRest) && len(w.far) < mostUnsure:
			w.far = append(w.far, r.At)
		case r.At-w.at >= wrapSoon && len(w.silent) < mostUnsure:
			w.silent = append(w.silent, r.At)
		}
	}
	w.shown, w.at, w.begun = r.Angle, r.At, true
	r.Angle += w.turns
}

// TurnsUnknown says whether the crank may have made whole turns between two moments that
// were not counted: its angle starts again after each, or after a cycle, and readings
// were missing there.
func (s *Sift) TurnsUnknown(from, to measure.Stamp) bool {
	within := func(at measure.Stamp) bool { return at > from && at <= to }
	return slices.ContainsFunc(s.wrap.far, within) || s.wrap.turns != 0 && slices.ContainsFunc(s.wrap.silent, within)
}

// StartsAgain says whether the crank angle starts again, and so what lies at its nought.
func (s *Sift) StartsAgain() bool { return s.wrap.turns != 0 }

// StartedAgain returns the whole turns that an angle lost or won at once, so much
// time apart; 0 where it went on. Of one that is known to start again a long time may lie
// between: the hand rested there, and an instrument that speaks on change was silent.
func StartedAgain(by measure.Angle, apart measure.Stamp, known bool) measure.Angle {
	if (by <= wrapLeast && by >= -wrapLeast) || apart >= wrapSoon && !known {
		return 0
	}
	turns := measure.Angle(math.Round(float64(by)/float64(wholeTurn))) * wholeTurn
	if rest := by - turns; rest > wrapRest || rest < -wrapRest {
		return 0
	}
	return turns
}

// Wraps counts how often a trace's crank angle starts again, for whoever says how
// the angle was read.
type Wraps struct {
	last  measure.Reading
	begun bool
	// Count is how often so far. A misread angle counts twice: there and back.
	Count int
	turns measure.Angle
}

// Add takes the next readings.
func (w *Wraps) Add(readings []measure.Reading) {
	for _, r := range readings {
		if r.Has&measure.HasAngle == 0 {
			continue
		}
		if w.begun {
			if turns := StartedAgain(r.Angle-w.last.Angle, r.At-w.last.At, w.turns != 0); turns != 0 {
				w.Count++
				w.turns += turns
			}
		}
		w.last, w.begun = r, true
	}
}

// Again tells whether the angle starts again turn by turn, as of an encoder with an
// index or a degree wheel, and does not only come back from where it was misread.
func (w *Wraps) Again() bool { return w.turns != 0 }
