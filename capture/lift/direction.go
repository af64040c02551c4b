package lift

import (
	"math"
	"slices"
)

// extreme is where the outline of a signal turns: the highest or lowest between two
// legs that are long enough for a flank.
type extreme struct {
	at   int // stretch
	high bool
}

// side is 0 where it is low, 1 where it is high.
func (e extreme) side() int {
	if e.high {
		return 1
	}
	return 0
}

// legShare is how much of the whole range a leg takes at least.
const legShare = 0.3

// extremes returns where a signal turned before a leg of at least so far, in order of
// time; its beginning and its end are none. next is where it may have turned since, to
// go farther yet; nil while it has not left that side.
func extremes(s []stretch, least float64) (all []extreme, next *extreme) {
	if len(s) == 0 {
		return nil, nil
	}
	lo, hi, way := 0, 0, 0
	for i, p := range s {
		if p.hi > s[hi].hi {
			hi = i
		}
		if p.lo < s[lo].lo {
			lo = i
		}
		switch {
		case way >= 0 && s[hi].hi-p.lo > least:
			if way > 0 {
				all = append(all, extreme{hi, true})
			}
			way, lo = -1, i
		case way <= 0 && p.hi-s[lo].lo > least:
			if way < 0 {
				all = append(all, extreme{lo, false})
			}
			way, hi = 1, i
		}
	}
	switch last := s[len(s)-1]; {
	case way > 0 && s[hi].hi-last.lo > least/2:
		next = &extreme{hi, true}
	case way < 0 && last.hi-s[lo].lo > least/2:
		next = &extreme{lo, false}
	}
	return all, next
}

// allExtremes returns the next one with them.
func allExtremes(s []stretch, least float64) []extreme {
	all, next := extremes(s, least)
	if next != nil {
		all = append(all, *next)
	}
	return all
}

const (
	// levelShare is how far from an extreme, in shares of the range, the signal is still
	// at its level.
	levelShare = 0.05
	// A hand that goes back over the nose turns again on the other flank: what lies
	// farther than this share of the range from the outermost on its side is no level.
	outerShare = 0.2
	// By so many times its levels must last longer at one side than at the other for the
	// direction to be plain; where either side was seen once alone, by more.
	plainly, plainlyOnce = 3.0, 12.0
)

// direction returns which way the reading runs as the valve opens, by how long the
// signal stays at its highest and at its lowest levels, each time it comes there: a
// heel takes longer than a nose every time, and a hand that rests on a nose, or looks
// at the rocker at half lift, does so once. 0: it does not say plainly. While the trace
// goes on either side must have been seen twice: a first passage may be a finger's, that
// lifts the spindle.
func (g *Segmenter) direction(ended bool) int {
	a := &g.account
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, s := range a.s {
		lo, hi = min(lo, s.lo), max(hi, s.hi)
	}
	if !(hi-lo > leastJudged) {
		return 0
	}
	turns := allExtremes(a.s, legShare*(hi-lo))
	if len(turns) == 0 {
		return 0
	}
	// The beginning and the end are cut off: they last as long as they are seen, at the
	// least, and where they lie on a flank they are no level at all.
	ends := [2]extreme{{0, !turns[0].high}, {len(a.s) - 1, !turns[len(turns)-1].high}}
	outer, near := outerShare*(hi-lo), max(levelShare*(hi-lo), 2*g.tracks[0].lim.near)
	var lasts, all, cut [2][]float64 // low, high: between the ends, with them, of them
	levels := a.outermost(append(append(ends[:1:1], turns...), ends[1]), outer)
	for i, t := range levels {
		between := [2]int{levels[max(i-1, 0)].at, levels[min(i+1, len(levels)-1)].at}
		x, side := math.Log(a.lasts(t, near, outer, between)+ms), t.side()
		all[side] = append(all[side], x)
		if t == ends[0] || t == ends[1] {
			cut[side] = append(cut[side], x)
		} else {
			lasts[side] = append(lasts[side], x)
		}
	}
	for side := range cut {
		for _, x := range cut[side] {
			if seen := lasts[side]; len(seen) == 0 || x > slices.Max(seen) {
				lasts[side] = append(seen, x)
			}
		}
	}
	if len(lasts[0]) == 0 || len(lasts[1]) == 0 {
		return 0
	}
	if ended && len(cut[0]) == 2 && levelsApart(all[0], all[1]) {
		return 1
	} else if ended && len(cut[1]) == 2 && levelsApart(all[1], all[0]) {
		return -1
	}
	for _, x := range lasts {
		slices.Sort(x)
	}
	middle := func(x []float64) float64 { return (x[len(x)/2] + x[(len(x)-1)/2]) / 2 }
	d := middle(lasts[0]) - middle(lasts[1])
	enough := math.Log(plainly)
	if min(len(lasts[0]), len(lasts[1])) < 2 {
		// Between two ends alike somebody may have rested on the only nose.
		if only := len(lasts[1]) < 2; !ended || len(cut[0]) == 2 && only || len(cut[1]) == 2 && !only {
			return 0
		}
		enough = math.Log(plainlyOnce)
	}
	switch {
	case d > enough:
		return 1
	case d < -enough:
		return -1
	}
	return 0
}

// levelsApart says of the logarithms of how long the levels of the side last at which the
// trace begins and ends, as on a heel, whether each is longer than each of the other side.
func levelsApart(heels, noses []float64) bool {
	return min(len(heels), len(noses)) > 1 && slices.Min(heels) > slices.Max(noses)+math.Log(longerEach)
}

// longerEach is by how much each level of one side must last longer.
const longerEach = 1.2

// outermost leaves out the extremes that lie so much farther in than the outermost on
// their side.
func (a *account) outermost(turns []extreme, within float64) []extreme {
	out := [2]float64{math.Inf(1), math.Inf(-1)}
	for _, t := range turns {
		out[0], out[1] = min(out[0], a.s[t.at].lo), max(out[1], a.s[t.at].hi)
	}
	return slices.DeleteFunc(turns, func(t extreme) bool {
		return t.high && a.s[t.at].hi < out[1]-within || !t.high && a.s[t.at].lo > out[0]+within
	})
}

// lasts returns how long the signal stays at one level, about the extreme, between those
// before and after it and no farther in than so much, microseconds: beside a misread or a
// lifted spindle the heel lies at another level than the extreme.
func (a *account) lasts(t extreme, near, within float64, between [2]int) float64 {
	from, to := a.about(t, within, between)
	run, most := a.s[from], 0.0
	for _, s := range a.s[from : to+1] {
		if joined := run.with(s); joined.hi-joined.lo <= 2*near || s == run {
			run = joined
		} else {
			run = s
		}
		most = max(most, run.to-run.from)
	}
	return most
}

// about returns the first and the last of the stretches about an extreme, between two, that
// lie within so much of it.
func (a *account) about(t extreme, within float64, between [2]int) (from, to int) {
	level := a.s[t.at].lo
	if t.high {
		level = a.s[t.at].hi
	}
	at := func(s stretch) bool { return min(math.Abs(s.lo-level), math.Abs(s.hi-level)) <= within }
	from, to = t.at, t.at
	for from > between[0] && at(a.s[from-1]) {
		from--
	}
	for to < between[1] && at(a.s[to+1]) {
		to++
	}
	return from, to
}
