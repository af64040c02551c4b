package lift

import (
	"math"
)

// What a trace shows before its first opening.

// judgeFirst tells of a nose that was passed before the first opening, where the trace
// began with the valve open by ajar. Without an encoder a lobe that begins there looks
// like one whose base slipped; but where the reading comes back to where it began, and
// stands there, that was a heel.
func (g *Segmenter) judgeFirst(parts []stretch, o outside, ajar float64) (told bool) {
	top, at := math.Inf(-1), 0
	for i, s := range parts {
		if s.hi-o.heel[1] > top {
			top, at = s.hi-o.heel[1], i
		}
	}
	came := g.cameBack(parts[at:], o.heel[1]+ajar, o.heel[1])
	switch {
	case came && top-ajar > excursion*o.lift:
		g.fault(NotCounted, stamp(parts[0].from), "the reading goes over a nose here and comes back to where it began, %v off the heel that follows: zero was pressed, or the indicator's base or tip has moved since. This first opening does not count; turn it again", length(math.Abs(ajar)))
		return true
	case noses(parts, o) > 1:
		g.fault(NotCounted, stamp(parts[0].from), "the trace begins with the valve open, goes over more than one nose from there, and comes home to another heel: the indicator's base or tip has moved. These openings do not count; see to it, begin with the valve shut, and turn them again")
		return true
	case top < openFully*o.lift || ajar > besideNose*o.lift:
		return false
	case math.Abs(ajar) > ajarAtMost*o.lift || !math.IsNaN(parts[0].first): // that nothing moved the crank's angles tell
		g.fault(PartTurn, stamp(parts[0].from), "the trace begins with the valve open: the nose that it goes over first does not count. Begin with the valve shut")
		return false
	}
	g.fault(NotCounted, stamp(parts[0].from), "the trace begins %v off the heel that follows, and goes over a nose from there: the valve was not quite shut, or the indicator's base or tip has moved since. This first opening does not count; see to it, begin with the valve shut, and turn it again", length(math.Abs(ajar)))
	return true
}

// cameBack says whether a reading comes back to a level, stands there and is then somewhere
// else between two readings: a hand that rested as high on the other flank goes down from
// there like any other.
func (g *Segmenter) cameBack(parts []stretch, level, next float64) bool {
	near := 2 * g.tracks[0].lim.near
	at := func(s stretch, level float64) bool { return s.lo > level-near && s.hi < level+near }
	stood, left := 0.0, 0
	for _, s := range parts {
		switch {
		case at(s, level):
			stood, left = stood+s.to-s.from+g.stream.typical, 0
		case stood < stoodHome:
			stood = 0
		case at(s, next):
			return left <= 1
		default:
			left++
		}
	}
	return false
}

// noses counts how often a reading goes up to a nose and comes down near the heel again.
func noses(parts []stretch, o outside) (n int) {
	up := false
	for _, s := range parts {
		switch {
		case s.hi-o.heel[1] > openFully*o.lift:
			up = true
		case up && s.lo-o.heel[1] < fromHeel*o.lift:
			up = false
			n++
		}
	}
	return n
}

// stoodHome is how long a reading stands on a heel that it has come back to.
const stoodHome = s

// ajarAtMost is the share of the lift by which somebody may think that a valve is shut;
// besideNose that from which on a trace may begin on its nose.
const ajarAtMost, besideNose = 0.1, 0.9
