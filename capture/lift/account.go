package lift

import (
	"cmp"
	"math"
	"slices"
)

// account keeps the whole signal of a finished trace in outline, so that every time
// the valve seems to have left its heel can be accounted for at the end: as an
// opening, as one that the trace's ends cut off, or as one that is told of because
// nothing could be made of it. It shares nothing with the tracks that cut out the
// openings but the signal.
type account struct {
	s   []stretch
	per int // readings a stretch
	n   int // in the last

	gaps [][2]float64 // in which the link was lost, and which are told
	low  []stretch    // excursions too low for an opening that came home
}

// mostGaps is how many are remembered. What is so near to one, microseconds, is beside it.
const mostGaps, besideGap = 256, s

func (a *account) gap(from, until float64) {
	if len(a.gaps) < mostGaps {
		a.gaps = append(a.gaps, [2]float64{from, until})
	}
}

// gapped says whether readings are missing in a stretch or beside it.
func (a *account) gapped(out stretch) bool {
	return slices.ContainsFunc(a.gaps, func(g [2]float64) bool { return g[1] >= out.from-besideGap && g[0] <= out.to+besideGap })
}

// stretch is some readings in a row: when, and within which lifts and angles.
type stretch struct {
	from, to float64
	lo, hi   float64

	// Angles, degrees, NaN without an encoder: of the first and last, and within which
	// all are.
	first, last, least, most float64
}

func stretchOf(p point) stretch { return stretch{p.t, p.t, p.y, p.y, p.a, p.a, p.a, p.a} }

// add takes the next reading, in place: there is one of them for every reading. An
// angle that is not known makes those of the whole stretch unknown, as in with.
func (s *stretch) add(p *point) {
	s.to, s.last = p.t, p.a
	if p.y < s.lo {
		s.lo = p.y
	} else if p.y > s.hi {
		s.hi = p.y
	}
	switch {
	case math.IsNaN(p.a):
		s.least, s.most = p.a, p.a
	case p.a < s.least:
		s.least = p.a
	case p.a > s.most:
		s.most = p.a
	}
}

// with returns a stretch and the next one, as one.
func (s stretch) with(next stretch) stretch {
	s.to, s.last = next.to, next.last
	s.lo, s.hi = min(s.lo, next.lo), max(s.hi, next.hi)
	s.least, s.most = min(s.least, next.least), max(s.most, next.most)
	return s
}

// mostStretches bounds the outline; with more, two become one.
const mostStretches = 1 << 14

func (a *account) add(p *point) {
	if a.per == 0 {
		a.per = 1
	}
	if a.n == 0 || a.n == a.per {
		if len(a.s) == mostStretches {
			a.coarsen()
		}
		a.s, a.n = append(a.s, stretchOf(*p)), 1
		return
	}
	a.s[len(a.s)-1].add(p)
	a.n++
}

func (a *account) coarsen() {
	for i := 0; i < len(a.s)/2; i++ {
		a.s[i] = a.s[2*i].with(a.s[2*i+1])
	}
	a.s = a.s[:len(a.s)/2]
	a.per *= 2
}

// within returns the stretches that lie in a time.
func (a *account) within(from, to float64) []stretch {
	i, _ := slices.BinarySearchFunc(a.s, from, func(s stretch, t float64) int { return cmp.Compare(s.from, t) })
	k, _ := slices.BinarySearchFunc(a.s, to, func(s stretch, t float64) int { return cmp.Compare(s.to, t) })
	return a.s[i:max(i, k)]
}

const (
	// A reading farther from the heel than such a share of the lift belongs to an
	// excursion; one that rose by so much, and came home, was an opening: no hand
	// turns back from there to the heel.
	fromHeel, excursion = 0.2, 0.6
	// No reading lies farther from the heel than so many times the lift.
	beyondLobe = 1.3
	// It turned the crank by so many degrees; up a flank and down the same one does not.
	turnedPast = 60.0
	// On its way there and back the crank turns by more degrees than this.
	stoodStill = 10.0
	// No nose dwells for so many degrees, and no valve stays open for so many.
	stoodOff, openAtMost = 120.0, 500.0
	// Within so many degrees of its nose a lobe has more than such a share of its lift;
	// farther from it than so many it is on the heel. So many stretches in a row that
	// are not go against it.
	onNose, noseAtLeast = 8.0, 0.5
	onHeel, besideLobe  = 220.0, 25.0
	againstLobe         = 3
	// So long nobody looks at a rocker and then ends the trace, microseconds; that is
	// done within such a share of the lift of half lift.
	restedOpen, aboutHalf = 8 * s, 0.15
	// and so long where the valve stands as high as it rose.
	leftOpen = 6 * s
	// So long a valve rests at home, or nearly, or where it was left.
	cameHome = 3 * s
	// Standing so long at its beginning a trace stands on a heel.
	beganStill = 4 * s
	// and so long, at the least, where no opening tells of its heel.
	beganOnHeel = 400 * ms
	// Less than this is no valve that opens, nanometres.
	leastJudged = 0.5 * mm
	// A hand does not turn back by such a share of the lift, and on again.
	swing = 0.5
	// A lift of an opening in the other unit is off by no more than this share of it.
	otherUnitBy = 0.07
)

// outside is a time that no opening holds: before the first, between two, behind the
// last. heel is the reading at home at its beginning and at its end, lift the max lift
// of the trace's openings, nanometres.
type outside struct {
	since, until float64
	heel         [2]float64
	lift, long   float64 // long: how long an opening lasts
	nose         float64 // its angle, in the opening beside; NaN without an encoder
	shut         float64 // so many degrees from its nose, and farther, the valve is shut
	first, last  bool
}

// judgeAccount tells of what the valve did that no opening holds, once: the trace is
// to be looked at there, and turned again.
func (g *Segmenter) judgeAccount(all []measured) {
	switch {
	case g.noLift:
		return // and is told
	case len(all) == 0:
		g.judgeNone()
		return
	}
	g.judgeDips(all)
	lifts, times := make([]float64, len(all)), make([]float64, len(all))
	for i, m := range all {
		lifts[i], times[i] = float64(m.MaxLift), float64(m.Close-m.Open)
	}
	if d := g.direction(true); g.o.Sign == 0 && all[0].NoseAngle == nil && d == -g.sign {
		g.fault(NotCounted, all[0].Open, "which way the reading runs as the valve opens is not plain: these openings were taken between levels that last like noses, with a heel for a nose. Somebody lifted the spindle, or something moved it the other way at first. Turn through again, and begin with the valve shut and the indicator left alone")
		return
	}
	slices.Sort(lifts)
	slices.Sort(times)
	o := outside{since: math.Inf(-1), lift: lifts[len(lifts)/2], long: times[len(times)/2], first: true}
	o.heel, o.nose, o.shut = [2]float64{all[0].before.y, all[0].before.y}, noseAngle(all[0]), g.shutFrom(all)
	for i, m := range all {
		o.until, o.heel[1] = float64(m.Open), m.before.y
		if g.judgeOutside(o) || g.judgeInside(m) {
			return
		}
		o.since, o.heel[0], o.nose, o.first = float64(m.Close)+1, m.after.y, noseAngle(m), false
		if i == len(all)-1 {
			o.until, o.heel[1], o.last = math.Inf(1), m.after.y, true
		}
	}
	g.judgeOutside(o)
}

// shutFrom returns how many degrees from their noses the openings have all come home, with
// something for a drive that has play and a port that is late.
func (g *Segmenter) shutFrom(all []measured) float64 {
	far := 0.0
	for _, m := range all {
		if parts := g.account.within(float64(m.Open), float64(m.Close)); m.NoseAngle != nil && len(parts) > 0 {
			nose := noseAngle(m)
			far = max(far, math.Abs(parts[0].first-nose), math.Abs(parts[len(parts)-1].last-nose))
		}
	}
	if far == 0 {
		return onHeel
	}
	return min(far+besideLobe, onHeel)
}

// signedOutline returns stretches as the valve opens.
func (g *Segmenter) signedOutline(parts []stretch) []stretch {
	parts = slices.Clone(parts)
	for i, s := range parts {
		if g.sign < 0 {
			parts[i].lo, parts[i].hi = -s.hi, -s.lo
		}
	}
	return parts
}

// noseAngle returns the nose's angle in degrees; NaN without an encoder.
func noseAngle(m measured) float64 {
	if m.NoseAngle == nil {
		return math.NaN()
	}
	return m.NoseAngle.Degrees()
}

// judgeOutside looks for excursions in a time that no opening holds.
func (g *Segmenter) judgeOutside(o outside) (told bool) {
	parts := g.account.within(o.since, o.until)
	if len(parts) == 0 || float64(g.account.per)*g.stream.typical > o.long/8 {
		return false // the outline is too coarse
	}
	parts = g.signedOutline(parts)
	w := outline{o: o, home: !o.first, level: stretch{from: math.NaN()}, lim: g.tracks[0].lim}
	if o.first {
		level, stood := w.begins(parts)
		if w.off(stretch{lo: level, hi: level}) && g.judgeFirst(parts, o, level-o.heel[1]) {
			return true
		}
		if stood {
			w.home, w.o.heel[0] = true, level // it may have been another heel
		}
	}
	for _, s := range parts {
		w.outOfPhase(s)
		w.stands(s)
		if out, ended := w.excursion(s); ended && (g.notCounted(out, o.lift) || g.another(out)) {
			return true
		}
		against := w.stood() > stoodOff || w.against >= againstLobe && !g.verdict.encoder // else its angles say nothing of the lobe
		if against && g.judgeOtherUnit(parts, o) {
			return true
		}
		if against {
			g.fault(NotCounted, stamp(s.from), "the engine was turned and the reading did not go as in the openings of this trace: the indicator's tip is off the valve, its base has moved, or the encoder stopped. What follows may not count; set the indicator up again and turn this again")
			return true
		}
	}
	if w.open && (max(w.out.hi, -w.out.lo) > beyondLobe*o.lift || o.last && w.swings(parts)) {
		return g.notCounted(w.out, o.lift)
	}
	if g.judgeOtherUnit(parts, o) || g.judgePassed(parts, o) {
		return true
	}
	if o.last && w.off(w.level) && w.restsLong() && math.IsNaN(w.level.first) {
		g.fault(NotCounted, stamp(w.level.from), "the reading stopped here and did not come home until the end of the trace: the valve was left open, or the indicator's base or tip has moved. This opening does not count; turn through until the valve is shut")
		return true
	}
	if out := w.out; o.last && out.hi > excursion*o.lift && (w.open || w.came && w.off(w.level)) {
		g.fault(PartTurn, stamp(out.from), "the trace ends with the valve open, or with the indicator's tip off it: the last opening, from here on, does not count. Turn through until the valve is shut, and a little further, before you end the trace")
	}
	return false
}

// judgePassed tells of a lobe that the crank went over, from where the valve is shut to where
// it is shut again, without an opening: rows are missing that no gap in time shows.
func (g *Segmenter) judgePassed(parts []stretch, o outside) (told bool) {
	if math.IsNaN(o.nose) || g.verdict.encoder {
		return false
	}
	least, most := math.Inf(1), math.Inf(-1)
	for _, s := range parts {
		if !math.IsNaN(s.least) && !g.account.gapped(s) {
			least, most = min(least, s.least), max(most, s.most)
		}
	}
	nose := o.nose + period*math.Ceil((least+o.shut-o.nose)/period)
	if !(nose+o.shut <= most) {
		return false
	}
	at := slices.IndexFunc(parts, func(s stretch) bool { return (s.last > nose) != (parts[0].first > nose) })
	g.fault(NotCounted, stamp(parts[max(at, 0)].from), "the crank was turned over the lobe here, and no opening was seen: readings are missing, the indicator's tip was off the valve, or the encoder jumped. Look at the trace there, and turn this opening again")
	return true
}

// notCounted tells of an excursion that came home and is no opening, where it must
// have been one.
func (g *Segmenter) notCounted(out stretch, lift float64) bool {
	if max(out.hi, -out.lo) < excursion*lift || g.account.gapped(out) {
		return false
	}
	if turned := math.Abs(out.last - out.first); turned < turnedPast {
		if out.most-out.least > stoodStill {
			return false // up a flank and down the same one
		}
		g.tellStood(stamp(out.from))
		return true
	}
	g.fault(NotCounted, stamp(out.from), "the reading went by %v here, and no opening could be made of it: readings are missing or wrong, or something moved meanwhile. Look at the trace there, and turn this opening again", length(max(out.hi, -out.lo)))
	return true
}

// another tells of excursions that agree with each other and not with the openings: it
// is they that repeat, and what went higher was none of the valve's.
func (g *Segmenter) another(out stretch) (told bool) {
	if out.hi < leastJudged || math.Abs(out.last-out.first) < turnedPast || g.account.gapped(out) {
		return false
	}
	for _, was := range g.account.low {
		if math.Abs(was.hi-out.hi) <= max(alikeBy*out.hi, repeatCounts*float64(g.steps.Step())) {
			g.fault(NotCounted, stamp(was.from), "the reading went by %v here and by as much again later, which does not count because it went higher elsewhere: if that is the valve's lift, somebody lifted the spindle or knocked against it where it went higher. Leave that out, or turn again", length(was.hi))
			return true
		}
	}
	g.account.low = append(g.account.low, out)
	return false
}

// alikeBy is the share by which the lifts of one valve differ at the most; a hand that
// turns back to the heel does not come so near to where it did before.
const alikeBy = 0.005

// judgeOtherUnit looks for excursions that are as high as the openings in the other
// unit, on one side of all of them.
func (g *Segmenter) judgeOtherUnit(parts []stretch, o outside) (told bool) {
	if !o.first && !o.last {
		return false
	}
	small := o.lift / unitRatio
	if small < 8*float64(g.steps.Step()) || len(parts) == 0 {
		return false
	}
	// The smaller excursions may have another zero: it is where the valve stood lowest,
	// or mostly, for it is shut for longer than open.
	lows := make([]float64, len(parts))
	for i, s := range parts {
		lows[i] = s.lo
	}
	slices.Sort(lows)
	return g.smallOnes(parts, o, small, lows[0]) || g.smallOnes(parts, o, small, lows[len(lows)/2])
}

// smallOnes looks for excursions above a base that are as high as the openings in the
// other unit.
func (g *Segmenter) smallOnes(parts []stretch, o outside, small, base float64) (told bool) {
	from, top, at := math.NaN(), 0.0, 0.0
	for _, s := range parts {
		hi := s.hi - base
		switch {
		case hi <= fromHeel*small:
			if !math.IsNaN(from) && math.Abs(top-small) < otherUnitBy*small && at-from > o.long/4 {
				g.fault(UnitChange, stamp(from), "from here on the valve seems to open by %v only, which is the openings' lift in the other unit: the indicator was switched between inch and millimetre. Switch it back, or say the unit in its address, and turn this part again", length(top))
				return true
			}
			from, top = s.from, 0
		case top < hi:
			top = hi
		}
		at = s.to
	}
	return false
}
