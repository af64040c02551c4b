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
	g.agree(all)
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
// a way that nothing else has told. Of two nobody knows which. Where that is far
// beyond what they may differ by, it is told.
func (g *Segmenter) agree(dst []measured) {
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
	worst, most, short := 0, 0.0, 0.0
	for _, m := range dst {
		short = max(short, m.short) // a nose between sparse readings
	}
	for i := range dst {
		m := &dst[i]
		off := math.Abs(float64(m.MaxLift) - middle)
		own := m.own
		if n == 2 {
			off *= 2
			own = hypot(dst[0].own, dst[1].own)
		}
		if beyond := off - repeatTimes*2*own - repeatCounts*float64(g.steps.Step()) - short; beyond > most {
			worst, most = i, beyond
		}
		if u := 2 * hypot(m.own, m.common); off > u {
			m.own = math.Sqrt(max(off*off/4-m.common*m.common, m.own*m.own))
			m.stateLift()
		}
	}
	if most > 0 {
		m := dst[worst]
		off := float64(m.MaxLift) - middle
		more := "higher"
		if off < 0 {
			more = "lower"
		}
		g.fault(NoRepeat, m.Nose, "the openings do not repeat: this one's max lift is "+length(math.Abs(off))+" "+more+" than the middle of all, more than readings, hand and heel explain. Something slipped, was knocked or was misread: turn the valve again, and leave out what does not agree")
	}
}

// An opening does not repeat where it is off by more than so many times its own
// expanded uncertainty and so many counts.
const repeatTimes, repeatCounts = 2.0, 3.0

// stateLift states the uncertainty of the max lift.
func (m *measured) stateLift() {
	m.MaxLiftU = measure.Length(math.Ceil(2 * hypot(m.own, m.common)))
}
