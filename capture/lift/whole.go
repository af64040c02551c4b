package lift

import (
	"math"
	"slices"

	"lobescribe/device/measure"
)

// judgeWhole looks at all openings of a finished trace at once.
func (g *Segmenter) judgeWhole(all []measured) {
	d := g.judgeDrive(all)
	shareRunOut(all)
	g.sunk(all)
	g.stuck(all)
	g.travelled(all)
	agree(all)
	for i := range all {
		for side := range 2 {
			x := &all[i].crossing[side]
			x.u = hypot(x.u, d.loose/2)
			all[i].state(side, d.lag, d.u)
		}
	}
}

// shareRunOut gives every opening the run-out of the heel that any has seen: each
// sees a part of the turn.
func shareRunOut(dst []measured) {
	most := 0.0
	for _, m := range dst {
		most = max(most, m.wander)
	}
	for i := range dst {
		m := &dst[i]
		m.common = hypot(m.common, math.Sqrt(max(most*most-m.wander*m.wander, 0)/runOutShare))
		m.wander = most
		m.stateLift()
	}
}

// agree widens the uncertainty of an opening that disagrees with the others of
// the same valve to hold the difference to their middle: one of them is wrong in
// a way that nothing else has told. Of two nobody knows which.
func agree(dst []measured) {
	if len(dst) < 2 {
		return
	}
	lifts := make([]float64, len(dst))
	for i, m := range dst {
		lifts[i] = float64(m.MaxLift)
	}
	slices.Sort(lifts)
	n := len(lifts)
	middle := (lifts[n/2] + lifts[(n-1)/2]) / 2
	for i := range dst {
		m := &dst[i]
		off := math.Abs(float64(m.MaxLift) - middle)
		if n == 2 {
			off *= 2
		}
		if u := 2 * hypot(m.own, m.common); off > u {
			m.own = math.Sqrt(max(off*off/4-m.common*m.common, m.own*m.own))
			m.stateLift()
		}
	}
}

// stateLift states the uncertainty of the max lift.
func (m *measured) stateLift() {
	m.MaxLiftU = measure.Length(math.Ceil(2 * hypot(m.own, m.common)))
}
