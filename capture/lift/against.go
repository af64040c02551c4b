package lift

import (
	"lobescribe/capture/lift/contrary"
	"lobescribe/device/measure"
)

// contraries is what the valve and the encoder did against each other in an opening.
type contraries struct {
	counted   float64 // degrees, forward as the valve went back and on
	countedAt measure.Stamp
	slipped   float64 // nanometres that the lift ran back by while the crank went on
	slippedAt measure.Stamp
}

func (e surroundings) contrary(v *view, scatter float64) (c contraries) {
	o := contrary.Opening{T: v.t, Y: v.y, A: v.a, Top: v.top, Way: v.way(), Count: v.count, Step: e.step, Scatter: scatter}
	counted, first := o.Counted()
	c.counted, c.countedAt = counted, stamp(v.p[first].t)
	if counted == 0 && v.fine {
		slipped, at := o.Slipped()
		c.slipped, c.slippedAt = slipped, stamp(v.p[at].t)
	}
	return c
}

func (g *Segmenter) judgeContrary(m measured) {
	c := &m.contrary
	if c.counted > 0 && !g.verdict.encoder {
		g.fault(EncoderCounts, c.countedAt, "the valve went back on its flank and on again, and meanwhile the encoder counted %.0f degrees forward: it counts both ways as one. One of its two channels is dead, or it is set to count one way; the crank angles from here on are wrong. Check its wiring, and turn again", c.counted)
	}
	if c.slipped > 0 {
		g.fault(Knock, c.slippedAt, "the reading ran back by %v on a flank while the crank went on: the stand was knocked there, or its base or tip slipped. What this opening shows may be off by as much and more; see to the stand, and turn this opening again", length(c.slipped))
	}
}
