package lift

import (
	"fmt"
	"math"
	"slices"

	"lobescribe/device/measure"
)

// What a set-up fault looks like, in the units of a [shape]. Sound lobes of all
// handbook laws begin and end softer; lash takes a little of the foot off.
const (
	cutFoot    = 1.75 // less foot than this: the spindle hung free below it
	cutTop     = 2.2  // less top than this: the spindle had stopped above it
	flatTop    = 6.0  // as wide a flat is an end of travel, if the top is cut
	nearlyCut  = 2.6
	fewPoints  = 8.0 // readings a flank to judge by
	mostFlanks = 64
	leastShift = 25 * um // under 0.001 in the heel may be what a base circle is out
	mostLost   = 0.02    // share of the max lift that a nose may be missed by before it is too fast
	fastCounts = 3.0     // and in counts
	leastBack  = 4.0     // degrees of a back-turn worth telling
	backCounts = 8.0     // or so much lift, in counts, without an encoder
)

// verdicts collects what the openings say of the set-up.
type verdicts struct {
	foot, top, openingTop, flat []float64
	angles                      bool
	told                        [3]bool // no-contact, travel-end, too-fast
	last                        level   // heel after the last opening
	hasLast                     bool
}

// fault tells one.
func (g *Segmenter) fault(kind FaultKind, at measure.Stamp, says string) {
	g.news = append(g.news, News{Fault: &Fault{Kind: kind, At: at, Says: says}})
}

// judge looks at an opening that is about to be published.
func (g *Segmenter) judge(m measured) {
	g.judgeHeel(m)
	g.judgeShape(m)
	g.judgeSpeed(m)
	if m.back > 0 {
		g.tellBack(m.backAt, "")
	}
	g.backTurn.toldThis = false
}

func (g *Segmenter) tellBack(at measure.Stamp, where string) {
	g.fault(BackTurn, at, "the engine was turned the wrong way for a moment"+where+". The openings are right all the same; a clean turn in one direction takes up the play in the gears")
}

// judgeHeel compares the heels before and after.
func (g *Segmenter) judgeHeel(m measured) {
	v := &g.verdict
	step := float64(g.steps.step())
	shifted := func(a, b level) (float64, bool) {
		d := b.y - a.y
		return d, math.Abs(d) > max(leastShift, 1.6*step, 1.2*step+5*math.Hypot(a.u, b.u))
	}
	if v.hasLast && m.before.n > 0 && !m.reZeroed {
		if d, yes := shifted(v.last, m.before); yes {
			g.tellShift(m.Open, d)
		}
	}
	if m.before.n > 0 && m.after.n > 0 && !m.reZeroed {
		if d, yes := shifted(m.before, m.after); yes {
			g.tellShift(m.Close, d)
		}
	}
	v.last, v.hasLast = m.after, m.after.n > 0
}

func (g *Segmenter) tellShift(at measure.Stamp, d float64) {
	g.fault(ZeroShift, at, fmt.Sprintf("the heel came back %s from where it was: something slipped. Check the indicator's base, its tip and the lash, set zero on the heel and turn again", length(math.Abs(d))))
}

// judgeShape looks for a spindle at the end of its travel, at either end.
func (g *Segmenter) judgeShape(m measured) {
	v := &g.verdict
	if !m.shape.ok || m.shape.points < fewPoints {
		return
	}
	if len(v.flat) >= mostFlanks {
		return
	}
	v.angles = m.shape.angles
	v.foot = append(v.foot, m.shape.foot[:]...)
	v.top = append(v.top, m.shape.top[:]...)
	v.openingTop = append(v.openingTop, m.shape.top[0])
	v.flat = append(v.flat, m.shape.flat)
	// Along the crank angle every flank is a good witness, along time only those
	// where the hand did not stop.
	share := 0.5
	if !v.angles {
		share = 0.3
	}
	if !v.told[0] && rank(v.foot, share) < cutFoot {
		v.told[0] = true
		g.fault(NoContact, m.Open, "the lift begins with a jerk instead of softly: the spindle hangs free on the heel and the valve reaches it only on its way. Push the indicator further in (about half an inch of preload, more than the lift) and turn again")
	}
	top, flat := rank(v.top, share), slices.Min(v.flat)
	cut := top < cutTop || flat > flatTop && top < nearlyCut
	if !v.angles {
		cut = top < cutTop && rank(v.openingTop, share) < nearlyCut && flat > flatTop
	}
	if !v.told[1] && cut {
		v.told[1] = true
		g.fault(TravelEnd, m.Nose, "the nose is cut off flat at "+length(float64(m.MaxLift))+": the spindle had come to the end of its travel. Move the indicator so that it has travel left at full lift and turn again")
	}
}

// judgeSpeed tells of a nose that may have been missed.
func (g *Segmenter) judgeSpeed(m measured) {
	missed := m.short
	if missed > max(mostLost*float64(m.MaxLift), fastCounts*float64(g.steps.step())) && !g.verdict.told[2] {
		g.verdict.told[2] = true
		g.fault(TooFast, m.Nose, "turned too fast for the readings: the nose may lie "+length(missed)+" above the highest of them. Turn more slowly over the nose")
	}
}

// rank returns the value below which a share of x lies.
func rank(x []float64, share float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	return s[min(int(share*float64(len(s))), len(s)-1)]
}

// length prints nanometres for a person.
func length(nm float64) string {
	l := measure.Length(math.Round(nm))
	return fmt.Sprintf("%s mm (%s in)", l.Decimal(measure.InMillimetres, 3), l.Decimal(measure.InInches, 4))
}
