package lift

import (
	"math"
	"slices"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/drive"
	"lobescribe/device/measure"
)

// judgeWhole looks at all openings of a finished trace at once.
func (g *Segmenter) judgeWhole(all []measured) {
	if len(all) > 0 {
		g.tellSinking(all[0])
	}
	d := g.judgeDrive(all)
	g.widen(all)
	g.agree(all)
	for i := range all {
		for side := range 2 {
			x := &all[i].crossing[side]
			x.u = gum.Root(x.u, d.loose/2)
			all[i].state(side, d.lag, d.u)
		}
	}
	g.agreeAngles(all)
	g.judgeIndex(all)
	g.judgeDuration(all)
}

// judgeDuration tells of an encoder whose counts a turn are wrong by so much that no
// lobe lasts as long, or as short: one opening alone has no nose to nose.
func (g *Segmenter) judgeDuration(all []measured) {
	if g.verdict.encoder || g.verdict.told[0] || g.verdict.told[1] {
		return
	}
	at, degrees := measure.Stamp(0), 0.0
	for _, m := range all {
		a, b := m.OpeningHalf.Angle, m.ClosingHalf.Angle
		if a == nil || b == nil {
			continue
		}
		at, degrees = m.Open, math.Abs((*b - *a).Degrees())
		if degrees >= leastDuration && degrees <= mostDuration {
			return
		}
	}
	if degrees == 0 {
		return
	}
	than := "longer"
	if degrees < leastDuration {
		than = "shorter"
	}
	g.fault(EncoderCounts, at, "by the encoder the crank turns %.0f degrees from half lift to half lift, %s than any lobe lasts: its counts a turn are wrong, or it sits on the cam. Correct counts= in its address (on=cam where it sits on the cam), and turn through two openings", degrees, than)
}

// From half lift to half lift a lobe lasts so many degrees of the crank at the least and
// at the most (common practice, no source: 120 to 185 are usual).
const leastDuration, mostDuration = 70.0, 250.0

// agreeAngles gives half-lift angles that lie elsewhere than those of the other openings,
// whole cycles apart, an uncertainty that holds the difference, and tells of the worst: an
// opening that the fit of the drive could not take is looked at here as well.
func (g *Segmenter) agreeAngles(all []measured) {
	if g.verdict.encoder || len(all) < 2 {
		return // what is wrong with them was told
	}
	cycle := period
	if g.sift.TurnsUnknown(all[0].Open, all[len(all)-1].Close) {
		cycle = wholeTurn
	}
	way := mostWay(all)
	g.tellReversed(all, way, cycle)
	worst, most := -1, 0.0
	for side := range 2 {
		var which []int
		var off []float64
		for i := range all {
			if a := all[i].half(side).Angle; a != nil && all[i].way == way {
				which = append(which, i)
				off = append(off, math.Remainder((*a-*all[which[0]].half(side).Angle).Degrees(), cycle))
			}
		}
		if len(off) < 2 {
			continue
		}
		sorted := slices.Sorted(slices.Values(off))
		middle := (sorted[len(off)/2] + sorted[(len(off)-1)/2]) / 2
		// Where more than one lies apart, any may be the right one.
		n := len(sorted)
		apart := sorted[n-1] - sorted[0]
		if n > 2 {
			apart = min(sorted[n-1]-sorted[1], sorted[n-2]-sorted[0])
		}
		for k, i := range which {
			c := all[i].half(side)
			by := math.Abs(off[k] - middle)
			if n == 2 {
				by = apart
			}
			if beyond := by - repeatTimes*c.AngleU.Degrees() - drive.LeastSlip; beyond > most {
				worst, most = i, beyond
			}
			if by = max(by, apart); by > c.AngleU.Degrees() {
				c.AngleU = angle(min(by, mostAngleU))
			}
		}
	}
	if worst >= 0 {
		g.fault(NoRepeat, all[worst].Nose, "the half-lift angles do not repeat: those of this opening lie elsewhere than the others', by more than readings and delays explain. The encoder slipped or was knocked while the valve was open; leave this opening out, or turn the valve again")
	}
}

// tellReversed tells of openings turned through the other way whose middle, between both
// half lifts, does not lie where that of the others does: a lobe has its middle at one angle
// whichever way it is turned.
func (g *Segmenter) tellReversed(all []measured, way, cycle float64) {
	mid := [2]float64{math.NaN(), math.NaN()} // of the first that was turned the one way, and the other
	loose, at := 0.0, measure.Stamp(0)
	for i := range all {
		m := &all[i]
		a, b := m.OpeningHalf.Angle, m.ClosingHalf.Angle
		if a == nil || b == nil || m.way == 0 {
			continue
		}
		loose = max(loose, m.OpeningHalf.AngleU.Degrees(), m.ClosingHalf.AngleU.Degrees())
		k := 0
		if m.way != way {
			k = 1
		}
		if math.IsNaN(mid[k]) {
			mid[k] = (*a + *b).Degrees() / 2
			if k == 1 {
				at = m.Nose
			}
		}
	}
	// Not a number where all were turned one way.
	if off := math.Abs(math.Remainder(mid[0]-mid[1], cycle)); off > 2*repeatTimes*loose+reversedBy {
		g.fault(EncoderSlip, at, "this opening was turned through the other way by the encoder, and its middle lies %.0f degrees from that of the others, where the same lobe has it: the encoder changed its direction on the way, or it slipped. Half-lift angles before and after do not go together; look at its cable and coupling, and turn again", off)
	}
}

// reversedBy is how many degrees the play of a drive and the lash of a timing chain move a
// lobe's middle by, turned one way and the other (common practice, no source).
const reversedBy = 12.0

// half returns the crossing of half lift on the opening flank, 0, or the closing one.
func (m *measured) half(side int) *Crossing {
	return [2]*Crossing{&m.OpeningHalf, &m.ClosingHalf}[side]
}

// widen gives openings what they, and those before them, leave open together. A
// finished trace gives all of them at once; else each one when it is told.
func (g *Segmenter) widen(dst []measured) {
	g.shareRunOut(dst)
	g.sunk(dst)
	g.stuck(dst)
	g.crept(dst)
	g.travelled(dst)
}

// shareRunOut gives every opening the run-out of the heel that any has seen: each
// sees a part of the turn.
func (g *Segmenter) shareRunOut(dst []measured) {
	most := g.verdict.wander
	for _, m := range dst {
		most = max(most, m.wander)
	}
	for i := range dst {
		m := &dst[i]
		m.common = gum.Root(m.common, math.Sqrt(max(most*most-m.wander*m.wander, 0)/runOutShare))
		m.wander = most
		m.stateLift()
	}
	g.verdict.wander = most
}

// agree widens the uncertainty of an opening that disagrees with the others of
// the same valve to hold the difference to their middle: one of them is wrong in
// a way that nothing else has told. Of two nobody knows which. Where that is far
// beyond what they may differ by, it is told.
func (g *Segmenter) agree(dst []measured) {
	if len(dst) < 2 {
		if len(dst) == 1 {
			g.tellSnatched(dst[0])
		}
		return
	}
	lifts := make([]float64, len(dst))
	for i, m := range dst {
		lifts[i] = float64(m.MaxLift)
	}
	slices.Sort(lifts)
	n := len(lifts)
	middle := (lifts[n/2] + lifts[(n-1)/2]) / 2
	g.tellHasty(dst, middle)
	worst, most, short := 0, 0.0, 0.0
	for _, m := range dst {
		short = max(short, m.short) // a nose between sparse readings
	}
	for i := range dst {
		m := &dst[i]
		off := math.Abs(float64(m.MaxLift) - middle)
		own := gum.Root(m.own, m.alike)
		if n == 2 {
			off *= 2
			own = gum.Root(dst[0].own, dst[1].own, dst[0].alike, dst[1].alike)
		}
		if beyond := off - repeatTimes*2*own - repeatCounts*float64(g.steps.Step()) - short; beyond > most {
			worst, most = i, beyond
		}
		if off > 2*m.u() {
			m.own = math.Sqrt(max(off*off/4-m.common*m.common-m.alike*m.alike, m.own*m.own))
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
		g.fault(NoRepeat, m.Nose, "the openings do not repeat: this one's max lift is %v %v than the middle of all, more than readings, hand and heel explain. Something slipped, was knocked or was misread: turn the valve again, and leave out what does not agree", length(math.Abs(off)), more)
	}
}

// tellHasty tells of an opening whose flanks went by far quicker than those of any other,
// rests not counted, and which has another lift, or is one of three at the least: somebody
// lifted the spindle, and no valve opened.
func (g *Segmenter) tellHasty(all []measured, middle float64) {
	hasty, next := 0, math.Inf(1) // the quickest, and the next one's time
	for i := 1; i < len(all); i++ {
		if quickest := all[hasty].flank; all[i].flank < quickest {
			hasty, next = i, quickest
		} else {
			next = min(next, all[i].flank)
		}
	}
	m := all[hasty]
	off := float64(m.MaxLift) - middle
	if len(all) == 2 {
		off *= 2
	}
	if math.Abs(off) < repeatCounts*float64(g.steps.Step()) {
		return // no finger stops just where the nose is
	}
	times := hastyTimes
	if math.Abs(off) < max(hastyOff*middle, repeatCounts*float64(g.steps.Step())) {
		times = hastyAlone
	}
	if times*m.flank > next || times == hastyAlone && len(all) < 3 {
		return
	}
	g.fault(NoRepeat, m.Nose, "the openings do not repeat: this one went by far quicker than any other. It looks as if somebody had lifted the spindle, or knocked against it: leave it out, or turn the valve again")
}

// An opening whose flanks are so many times quicker than the next one's, and which is off
// by such a share of the lift, is none; nor is one that is so many times quicker than two
// others at the least.
const hastyTimes, hastyOff, hastyAlone = 3.0, 0.02, 4.5

// tellSnatched tells of the only opening of a trace where no hand turns an engine so
// fast, and no encoder says that it did.
func (g *Segmenter) tellSnatched(m measured) {
	if long := float64(m.Close - m.Open); long < snatched && m.NoseAngle == nil {
		g.fault(NoRepeat, m.Nose, "this opening took %.1f s, in which hardly a hand turns an engine through one, and there is no other to compare it with: if somebody lifted the spindle, it is none. Turn the valve through twice", long/s)
	}
}

// snatched: in less time than that an opening is turned through by no hand, microseconds
// (derived here: an opening of 240 degrees at 250 degrees a second).
const snatched = 0.95 * s

// An opening does not repeat where it is off by more than so many times its own
// expanded uncertainty and so many counts.
const repeatTimes, repeatCounts = 2.0, 3.0

// stateLift states the uncertainty of the max lift.
func (m *measured) stateLift() {
	m.MaxLiftU = measure.Length(math.Ceil(2 * m.u()))
}

// u returns the standard uncertainty of the max lift.
func (m *measured) u() float64 { return gum.Root(m.own, m.common, m.alike) }
