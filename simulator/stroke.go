package simulator

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// event is something that happens when the crank first comes to an angle.
type event struct {
	at   float64
	kind eventKind
	size float64 // seconds of a rest, degrees of a back-turn or a lurch
}

type eventKind uint8

const (
	restHere eventKind = iota
	backTurnHere
	lurchHere
)

func byAngle(a, b event) int { return cmp.Compare(a.at, b.at) }

// turner makes the knots of a path, from the start on.
type turner struct {
	habits
	rng   *rand.Rand
	knots []knot
	t     float64
	crank float64
	left  float64 // of the stroke in hand
}

// turn works out the path of a hand over so many openings of a valve.
func (h Hand) turn(t *train, start float64, openings int, rng *rand.Rand) *path {
	end, first := h.end(t, start, openings)
	w := &turner{habits: h.habits(), rng: rng, crank: start}
	events := slices.Concat(h.restsBetween(t, start, end, first), w.whims(t, start, end, first))
	slices.SortStableFunc(events, byAngle)

	w.mark()
	w.rest(w.before)
	w.newStroke()
	for _, e := range events {
		if e.at < w.crank && e.kind != restHere {
			continue // a lurch has run over it
		}
		w.to(e.at)
		switch e.kind {
		case restHere:
			w.rest(e.size)
		case backTurnHere:
			w.back(e.size)
		case lurchHere:
			w.run(e, events, end)
		}
	}
	w.to(end)
	w.rest(w.after)
	return newPath(w.knots)
}

// whims draws the back-turns, lurches and stops of the whole way.
func (w *turner) whims(t *train, start, end, first float64) []event {
	var events []event
	add := func(at float64, kind eventKind, size float64) {
		if at > start && at < end {
			events = append(events, event{at, kind, size})
		}
	}
	for nose := first - 720; nose-360 < end; nose += 720 {
		for range w.count(w.backTurns) {
			var at float64
			switch k := w.rng.Float64(); {
			case k < 0.25:
				at = w.draw(span{-10, 10})
			case k < 0.75:
				at = w.draw(span{t.open, t.close})
			default:
				at = w.draw(span{-360, 360})
			}
			add(nose+at, backTurnHere, w.backTurn*w.draw(span{0.02, 1}))
		}
		for range w.count(w.stops) {
			add(nose+w.draw(span{-360, 360}), restHere, w.draw(span{1, 6}))
		}
		if w.lurch > 0 {
			add(nose+t.noseTo+w.draw(span{0.5, 4}), lurchHere, w.lurch*w.draw(span{0.25, 1}))
		}
	}
	return events
}

func (w *turner) draw(s span) float64 { return s.least + (s.most-s.least)*w.rng.Float64() }

// count draws a whole number whose mean is n: n rounded down or up.
func (w *turner) count(n float64) int {
	whole := int(n)
	if w.rng.Float64() < n-float64(whole) {
		whole++
	}
	return whole
}

// mark sets a knot here and now.
func (w *turner) mark() { w.knots = append(w.knots, knot{w.t, w.crank}) }

// move goes straight to an angle in so many seconds.
func (w *turner) move(crank, seconds float64) {
	w.t += max(seconds, 1e-4)
	w.crank = crank
	w.mark()
}

// rest stays here, trembling.
func (w *turner) rest(seconds float64) {
	here, until := w.crank, w.t+seconds
	if w.tremor > 0 {
		for w.t+0.15 < until {
			w.move(here+w.tremor*w.rng.NormFloat64(), w.draw(span{0.045, 0.07}))
		}
	}
	if w.crank != here {
		w.move(here, 0.05)
	}
	w.move(here, max(until-w.t, 0))
}

func (w *turner) newStroke() {
	w.left = math.Inf(1)
	if w.stroke.most > 0 {
		w.left = w.draw(w.stroke)
	}
}

// to turns forward to an angle, stroke by stroke.
func (w *turner) to(crank float64) {
	for w.crank < crank {
		if w.crank+w.left >= crank {
			w.left -= crank - w.crank
			w.swing(crank)
			return
		}
		w.swing(w.crank + w.left)
		w.rest(w.draw(w.pause) / 2)
		if slip := w.draw(w.slip); slip > 0 {
			w.move(w.crank-slip, slip/w.speed+0.1)
		}
		w.rest(w.draw(w.pause) / 2)
		w.newStroke()
	}
}

// swing is one part of a stroke, in pieces of uneven speed.
func (w *turner) swing(crank float64) {
	from, way := w.crank, crank-w.crank
	n := max(int(math.Round(way/(w.speed*w.piece))), 1)
	for i := range n {
		next := crank
		if i < n-1 {
			next = from + way*float64(i+1)/float64(n)
			if w.tremor > 0 {
				next = min(next+w.tremor*w.rng.NormFloat64(), crank)
			}
		}
		seconds := way / float64(n) / w.speed * math.Exp(w.unevenness*w.rng.NormFloat64())
		w.move(next, seconds)
		if w.rng.Float64() < w.stall {
			w.rest(w.draw(span{0.05, 1}))
		}
	}
}

// back turns the engine the wrong way, with a moment's wait at either end or
// none.
func (w *turner) back(size float64) {
	if w.rng.Float64() < 0.5 {
		w.rest(w.draw(span{0.05, 0.6}))
	}
	w.move(w.crank-size, size/(w.speed*w.draw(span{0.5, 1.5})))
	if w.rng.Float64() < 0.5 {
		w.rest(w.draw(span{0.05, 0.6}))
	}
}

// run is the lurch: the spring pushes the cam on at some 300 to 900 degrees a
// second until the hand catches it, at the latest where a rest was asked for.
func (w *turner) run(lurch event, events []event, end float64) {
	until := min(lurch.at+lurch.size, end)
	for _, e := range events {
		if e.kind == restHere && e.at > lurch.at {
			until = min(until, e.at)
		}
	}
	if until <= w.crank {
		return
	}
	w.move(until, (until-w.crank)/w.draw(span{300, 900}))
	w.rest(w.draw(span{0.2, 1}))
	w.newStroke()
}
