package lift

import "math"

// What a trace holds of which no opening could be made.

// judgeNone tells of a trace without any opening in which the reading went over a nose,
// there and back. A heel between two parts of openings goes there and back as well: it
// lasts longer than its flanks.
func (g *Segmenter) judgeNone() {
	a := g.account.s
	if len(a) == 0 {
		return
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	least, most := a[0].least, a[0].most
	for _, s := range a {
		lo, hi = min(lo, s.lo), max(hi, s.hi)
		least, most = min(least, s.least), max(most, s.most)
	}
	turns := allExtremes(a, legShare*(hi-lo))
	first := extreme{at: 0, high: len(turns) > 0 && !turns[0].high}
	last := extreme{at: len(a) - 1, high: len(turns) > 0 && !turns[len(turns)-1].high}
	near := max(levelShare*(hi-lo), 2*g.tracks[0].lim.near)
	levels := []stretch{g.account.level(first, near)}
	for _, t := range turns {
		levels = append(levels, g.account.level(t, near))
	}
	levels = append(levels, g.account.level(last, near))
	often := most-least > openAtMost || len(turns) >= severalTurns
	switch {
	case hi-lo < leastInches || hi-lo < leastJudged && !often:
	case hi-lo < g.tracks[0].lim.least && often:
		g.fault(UnitChange, stamp(a[0].from), "the reading went by no more than %v as the engine was turned, less than a valve lifts: the indicator shows inches that are read as millimetres, or its tip is not on the valve. Say its unit in its address, or choose the column's unit; else set it up again, and turn through again", length(hi-lo))
	case often || wentOver(levels, comeBack*(hi-lo)) || stopped(levels):
		g.fault(NotCounted, stamp(a[0].from), "the reading went over %v and no opening could be made of it: something slipped or shakes, readings are missing or wrong, or the trace holds no heel on both sides of a nose. Look at the trace, mend what it shows, and turn through again", length(hi-lo))
	}
}

// wentOver says whether the reading stood at a level, went so far from it to one that is no
// heel, and so far again.
func wentOver(levels []stretch, far float64) bool {
	for i := 1; i < len(levels)-1; i++ {
		was, top, is := levels[i-1], levels[i], levels[i+1]
		switch {
		case min(apart(was, top), apart(top, is)) < far,
			i == 1 && !was.stood(),
			top.heelBetween(top.from-was.to, is.from-top.to):
		default:
			return true
		}
	}
	return false
}

// stopped says whether the reading left a level where it stood, and stands at another or
// there again for longer than somebody who ends a trace.
func stopped(levels []stretch) bool {
	began, ended := levels[0], levels[len(levels)-1]
	return began.to-began.from > beganOnHeel && ended.to-ended.from > restedSomewhere
}

const (
	// As many millimetres a valve lifts in inches at the least; no heel goes so far up and down.
	leastInches = 0.1 * mm
	// So often no reading turns that has not gone over a nose.
	severalTurns = 3
	// What comes back by such a share of the whole range has come home, or nearly.
	comeBack = 0.8
	// So long a trace without an opening stands where it came to.
	restedSomewhere = 3 * s
)

// level returns the stretches about an extreme within so much of it, as one.
func (a *account) level(t extreme, near float64) stretch {
	from, to := a.about(t, near, [2]int{0, len(a.s) - 1})
	level := a.s[from]
	for _, s := range a.s[from+1 : to+1] {
		level = level.with(s)
	}
	return level
}

// apart returns how far the middles of two levels lie from each other.
func apart(a, b stretch) float64 { return math.Abs(a.lo+a.hi-b.lo-b.hi) / 2 }

// stood says whether a level lasts, or the crank was turned on it.
func (s stretch) stood() bool {
	return s.to-s.from >= beganOnHeel || s.most-s.least >= heelTurned
}

// heelBetween says whether a level between two flanks that took so long lasts like a heel.
func (s stretch) heelBetween(before, after float64) bool {
	if turned := s.most - s.least; !math.IsNaN(turned) {
		return turned > surelyHeel
	}
	return s.to-s.from > heelTimes*max(before, after)
}

// heelTimes is how many times as long as the longer of its flanks a heel lasts.
const heelTimes = 2.0
