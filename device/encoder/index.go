package encoder

import (
	"fmt"

	"lobescribe/device/measure"
)

// index watches whether the index comes at the same count in every turn.
//
// A board tells of the index on the first line after it: so the edge lies
// somewhere between the number of that line and the one before, and each turn
// narrows the place down. A turn whose edge cannot lie there has lost counts,
// or got some too many.
type index struct {
	known  bool
	lo, hi int64 // the edge lies in [lo, hi], in counts of some turn
	from   int64 // where the latest line's way began
	moved  bool
}

// pass takes the way of the latest line.
func (x *index) pass(from, to int64, started bool) { x.from, x.moved = from, started && from != to }

// edge takes the index of the latest line and returns by how many counts its
// place has moved since: 0 when all is well.
func (x *index) edge(to, counts int64) int64 {
	lo, hi := min(x.from, to), max(x.from, to)
	if !x.moved {
		lo, hi = to, to
	}
	if hi-lo >= counts { // a whole turn in one line: it may lie anywhere
		return 0
	}
	if !x.known {
		x.known, x.lo, x.hi = true, lo, hi
		return 0
	}
	// Bring the old place into the turn nearest to the new one.
	shift := nearestTurn((lo+hi)/2-(x.lo+x.hi)/2, counts)
	a, b := x.lo+shift, x.hi+shift
	switch {
	case lo > b: // the counter is ahead of the shaft
		x.lo, x.hi = lo, hi
		return lo - b
	case hi < a:
		x.lo, x.hi = lo, hi
		return hi - a
	}
	x.lo, x.hi = max(a, lo), min(b, hi)
	return 0
}

// nearestTurn returns the whole number of turns nearest to d, in counts.
func nearestTurn(d, counts int64) int64 {
	half := counts / 2
	if d < 0 {
		half = -half
	}
	return (d + half) / counts * counts
}

// Index says that the latest number came with the mark of the index. It returns
// how many counts were lost (below zero) or counted too many since the mark
// before, at the least; 0 when the mark came where it should. The angle is not
// mended by it: readings are not altered silently.
func (c *Crank) Index() (missed int64) {
	if c.counts == 0 || !c.number.started {
		return 0
	}
	return c.index.edge(c.at, c.counts)
}

// Lost returns the sentence for missed counts, a condition of the device.
func (c *Crank) Lost(missed int64) string {
	if missed == 0 {
		return ""
	}
	word, n := "too many", missed
	if n < 0 {
		word, n = "lost", -n
	}
	unit := "counts"
	if n == 1 {
		unit = "count"
	}
	a := measure.Angle(n) * c.turn / measure.Angle(c.counts)
	return fmt.Sprintf("%d %s %s between two marks of the index (%v of crank): look at plug, cable and screen of the encoder, and set TDC again", n, unit, word, a)
}
