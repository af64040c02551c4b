package prove

import (
	"math"

	"lobescribe/device/measure"
)

const (
	// leastHeight is how far the spindle must be lifted for a snap, or leave its
	// place for an arrival from the other side.
	leastHeight = measure.Millimetre / 2
	// samePlace is how near to where it stood the spindle must come back for the
	// difference to be the gauge's.
	samePlace = measure.Millimetre / 10
	// snapWithin is how long the figure of a spindle that was let go takes from
	// three quarters of its height to a tenth, at most. A hand that lowers a
	// spindle takes longer.
	snapWithin = 450 * measure.Millisecond
	// leastAway is how long the spindle is away at least: what comes back sooner
	// was misread.
	leastAway = 200 * measure.Millisecond
	// mostAway readings of an excursion are kept, the newest.
	mostAway = 8192
	// fallsBy is the part of its height by which a figure falls in fallsIn at
	// the least, or a hand lowers it.
	fallsBy, fallsIn = 0.02, 20 * measure.Millisecond
)

// excursion is the spindle away from where it stood, and back.
type excursion struct {
	of   []sample
	away bool // it has been farther than leastHeight, twice running
}

func (e *excursion) reset() { e.of, e.away = e.of[:0], false }

// add takes a reading while the spindle is not at rest; from is where it stood.
func (e *excursion) add(s sample, from float64) {
	if len(e.of) >= mostAway {
		e.of = append(e.of[:0], e.of[mostAway/2:]...)
	}
	far := func(x sample) bool { return math.Abs(x.lift-from) > float64(leastHeight) }
	if n := len(e.of); n > 0 && far(s) && far(e.of[n-1]) && (s.lift > from) == (e.of[n-1].lift > from) {
		e.away = true
	}
	e.of = append(e.of, s)
}

// homecoming is what an excursion came to.
type homecoming struct {
	side int  // +1: it was away where readings are higher
	snap bool // it was let go, not lowered
	from int  // the reading at which it was let go
	took measure.Stamp
}

const (
	// A figure that jumps by more than leastJump and jumps back as far within
	// longestBurst, of mostInBurst readings at the most, was misread meanwhile.
	leastJump    = measure.Millimetre / 4
	longestBurst = 250 * measure.Millisecond
	mostInBurst  = 12
)

// unspoil leaves out what was misread, and what is beyond the stops.
func (e *excursion) unspoil(low, high float64) {
	kept := e.of[:0:0]
	for i := 0; i < len(e.of); i++ {
		s := e.of[i]
		if s.lift < low-float64(stopBand) || s.lift > high+float64(stopBand) {
			continue
		}
		if n := len(kept); n > 0 {
			if j := e.returns(i, kept[n-1].lift); j > i {
				i = j - 1
				continue
			}
		}
		kept = append(kept, s)
	}
	e.of = kept
}

// returns says where the figure jumps back that jumped away at i, from before; i
// where it does not.
func (e *excursion) returns(i int, before float64) int {
	jump := e.of[i].lift - before
	if math.Abs(jump) < float64(leastJump) {
		return i
	}
	for j := i + 1; j < len(e.of) && j <= i+mostInBurst && e.of[j].at-e.of[i].at <= longestBurst; j++ {
		back := e.of[j].lift - e.of[j-1].lift
		if back*jump < 0 && math.Abs(back) > 0.5*math.Abs(jump) && math.Abs(e.of[j].lift-before) < 0.4*math.Abs(jump) {
			return j
		}
	}
	return i
}

// home tells how the spindle came to rest. slack is what sparse or stale readings
// add to the time that a fall seems to take.
func (e *excursion) home(rest float64, slack measure.Stamp) (h homecoming, ok bool) {
	highest, lowest := 0.0, 0.0
	first, last := measure.Stamp(-1), measure.Stamp(-1)
	for i, s := range e.of {
		d := s.lift - rest
		if math.Abs(d) > float64(leastHeight)/4 {
			if first < 0 {
				first = s.at
			}
			last = s.at
		}
		if i > 0 { // the lesser of two neighbours, so that no single reading counts
			p := e.of[i-1].lift - rest
			highest, lowest = max(highest, min(d, p)), min(lowest, max(d, p))
		}
	}
	height := max(highest, -lowest)
	if height < float64(leastHeight) || last-first+slack < leastAway {
		return h, false
	}
	h.side = 1
	if -lowest > highest {
		h.side = -1
	}
	for _, part := range [...]float64{1, 0.8, 0.6, 0.5} {
		if top := part * height; top >= float64(leastHeight) {
			if from, took, ok := e.fall(rest, float64(h.side), top, slack); ok && took <= snapWithin+slack {
				h.snap, h.from, h.took = true, from, took
				return h, true
			}
		}
	}
	return h, true
}

// fall finds the last fall from near a height: where it began, and how long it
// took from three quarters to a tenth.
func (e *excursion) fall(rest, side, top float64, slack measure.Stamp) (from int, took measure.Stamp, ok bool) {
	height := func(i int) float64 { return side * (e.of[i].lift - rest) }
	begin := -1
	for i := len(e.of) - 1; i >= 0 && begin < 0; i-- {
		if height(i) >= 0.75*top && (i == 0 || height(i-1) >= 0.7*top) {
			begin = i
		}
	}
	if begin < 0 {
		return 0, 0, false
	}
	end := begin
	for end < len(e.of)-1 && height(end) > 0.1*top {
		end++
	}
	from = begin
	back := max(fallsIn, slack)
	for from > 0 {
		j := from - 1
		for j > 0 && e.of[from].at-e.of[j].at < back {
			j--
		}
		slowest := fallsBy * top * float64(e.of[from].at-e.of[j].at) / float64(fallsIn)
		if fell := height(j) - height(from); fell < min(slowest, 0.5*top) || height(j) > 1.5*top {
			break
		}
		from--
	}
	return from, e.of[end].at - e.of[begin].at, true
}
