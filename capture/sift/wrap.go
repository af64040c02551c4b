package sift

import (
	"math"

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
}

const (
	wholeTurn = 360 * measure.Degree
	wrapLeast = 270 * measure.Degree
	// A wrap leaves no more than this beside whole turns.
	wrapRest = 90 * measure.Degree
	wrapSoon = measure.Second
)

// on returns the reading with its angle counted on.
func (w *wrap) on(r measure.Reading) measure.Reading {
	if r.Has&measure.HasAngle == 0 {
		return r
	}
	by := r.Angle - w.shown
	if w.begun && (by > wrapLeast || by < -wrapLeast) && r.At-w.at < wrapSoon {
		turns := measure.Angle(math.Round(float64(by)/float64(wholeTurn))) * wholeTurn
		if rest := by - turns; rest <= wrapRest && rest >= -wrapRest {
			w.turns -= turns
		}
	}
	w.shown, w.at, w.begun = r.Angle, r.At, true
	r.Angle += w.turns
	return r
}
