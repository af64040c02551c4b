package lift

import (
	"fmt"
	"math"
	"slices"

	"lobescribe/device/measure"
)

// What a set-up fault looks like, in the units of a [shape]. Sound lobes of all
// handbook laws begin and end softer; lash takes a little of the foot off.
// Along the crank angle every flank is a good witness, and their median judges,
// of feet with the lower ones, since lash without a ramp leaves one steep.
// Along time only those flanks are where the hand did not stop, which always
// makes them look softer, and so the lower ones judge, and less is found. The
// limits come from simulated hands.
var (
	alongAngle = limitsOfShape{share: 0.5, foot: 1.65, middleFoot: 1.76, top: 2.25, wide: 5.3, softTop: 3}
	alongTime  = limitsOfShape{share: 0.3, foot: 1.5, middleFoot: math.Inf(1), top: 2.5, wide: 4.6, softTop: 2.5, both: true}
)

// limitsOfShape are the limits along one axis. A single opening must be clearer
// by the factor alone.
type limitsOfShape struct {
	share         float64 // of the flanks that lies under the top that judges
	foot          float64 // three in ten flanks have less foot than this
	middleFoot    float64 // and half of them than this: the spindle hung free below it
	top           float64 // less top than this: the spindle had stopped above it
	wide, softTop float64 // or so wide a flat, and less top than this
	both          bool    // and not or
}

const (
	alone = 0.85
	// Where readings are so sparse that a foot lies between two of them, half of
	// the feet must be steep as well.
	sparseFoot = 2.0
	lowFlanks  = 0.3
	mostFlanks = 64
	leastShift = 25 * um // under 0.001 in the heel may be what a base circle is out
	mostLost   = 0.02    // share of the max lift that a nose may be missed by before it is too fast
	fastCounts = 3.0     // and in counts
	leastBack  = 4.0     // degrees of a back-turn worth telling
)

// verdicts collects what the openings say of the set-up.
type verdicts struct {
	foot, top, flat []float64 // of the flanks, opening and closing in turn, and of the noses
	first, nose     measure.Stamp
	cutAt           float64 // max lift
	angles, sparse  bool
	told            [3]bool // no-contact, travel-end, too-fast
	last            level   // heel after the last opening
	hasLast         bool
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
	// Where zero was pressed, the heel on the other side of it is only guessed.
	v.last, v.hasLast = m.after, m.after.n > 0 && !m.reZeroed
}

func (g *Segmenter) tellShift(at measure.Stamp, d float64) {
	g.fault(ZeroShift, at, fmt.Sprintf("the heel came back %s from where it was: something slipped. Check the indicator's base, its tip and the lash, set zero on the heel and turn again", length(math.Abs(d))))
}

// judgeShape adds an opening to the evidence on the spindle's travel. A trace
// that is finished is judged once, at its end.
func (g *Segmenter) judgeShape(m measured) {
	v := &g.verdict
	if !m.shape.ok || len(v.flat) >= mostFlanks || len(v.flat) > 0 && m.shape.angles != v.angles {
		return
	}
	if len(v.flat) == 0 {
		v.first, v.angles = m.Open, m.shape.angles
	}
	v.sparse = v.sparse || m.shape.sparse && !m.shape.angles
	v.nose, v.cutAt = m.Nose, float64(m.MaxLift)
	v.foot = append(v.foot, m.shape.foot[:]...)
	v.top = append(v.top, m.shape.top[:]...)
	v.flat = append(v.flat, m.shape.flat)
	if !g.patient {
		g.judgeTravel()
	}
}

// judgeTravel looks for a spindle at either end of its travel.
func (g *Segmenter) judgeTravel() {
	v := &g.verdict
	n := len(v.flat)
	if n == 0 {
		return
	}
	l := alongTime
	if v.angles {
		l = alongAngle
	}
	if v.sparse {
		l.middleFoot = min(l.middleFoot, sparseFoot)
	}
	margin := 1.0
	if n == 1 {
		margin = alone
	}
	if !v.told[0] && rank(v.foot, lowFlanks) < margin*l.foot && rank(v.foot, 0.5) < margin*l.middleFoot {
		v.told[0] = true
		g.fault(NoContact, v.first, "the lift begins with a jerk instead of softly: the spindle hangs free on the heel and the valve reaches it only on its way. Push the indicator further in (about half an inch of preload, more than the lift) and turn again")
	}
	top, flat := rank(v.top, l.share), rank(v.flat, 0.5)
	cut := top < margin*l.top || flat*margin > l.wide && top < margin*l.softTop
	if l.both {
		// A spring that throws the cam past the nose cuts the closing flank short.
		opening := make([]float64, 0, mostFlanks)
		for i := 0; i < len(v.top); i += 2 {
			opening = append(opening, v.top[i])
		}
		cut = top < margin*l.top && rank(opening, l.share) < margin*1.1*l.top && margin*slices.Min(v.flat) > l.wide
	}
	if !v.told[1] && cut {
		v.told[1] = true
		g.fault(TravelEnd, v.nose, "the nose is cut off flat at "+length(v.cutAt)+": the spindle had come to the end of its travel. Move the indicator so that it has travel left at full lift and turn again")
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
