package lift

import (
	"math"
	"slices"

	"lobescribe/capture/sift"
	"lobescribe/device/measure"
)

// Doubted is a reading that does not count, for whoever draws the trace.
type Doubted struct {
	At      measure.Stamp  `json:"t_s"`
	Reading measure.Length `json:"reading_mm"` // what the indicator showed
	Reason  sift.Reason    `json:"reason"`
}

// doubts is what the sift has taken out.
type doubts struct {
	counts map[sift.Reason]int
	shown  []Doubted
	frozen []sift.Frozen // the newest, in order of time
	leaps  []sift.Leap   // not judged yet
	leapt  int           // told
	told   map[sift.Reason]bool
}

const (
	mostShown  = 500 // doubted readings are listed, all are counted
	mostFrozen = 64
)

// beyond follows a signal that is where no valve is: lower than its heel, or far
// higher than it has ever opened, and back before a re-zero or a slip would be.
type beyond struct {
	since point
	is    bool
}

const (
	// A heel moves by no more than this without something having slipped.
	leastBeyond = 800 * um
	mostBeyond  = 3 * s
)

// judgeBeyond tells of a stretch of readings that was too long, or too well
// shaped, for the sift, and that no valve can have made.
func (g *Segmenter) judgeBeyond(p *point) {
	if g.sign == 0 || !g.published {
		return
	}
	b, k := &g.beyond, &g.tracks[trackOf(g.sign)]
	if !k.sure {
		return
	}
	v := p.y*float64(g.sign) - k.heel
	out := v < -leastBeyond || v > 1.15*k.largest+leastBeyond
	switch {
	case out && !b.is:
		b.is, b.since = true, *p
	case !out && b.is:
		b.is = false
		if p.t-b.since.t < mostBeyond && g.doubts.first(sift.Misread) {
			g.fault(Misread, stamp(b.since.t), "the reading went where this valve has never been and came back: it was misread, or the stand was knocked. Turn the opening around it again; check cable and plug")
		}
	}
}

// again lets the reading go on elsewhere without that being a jump.
func (g *Segmenter) again() {
	g.sound = g.sift.Again(g.sound[:0])
	g.doubted()
	g.countAll()
}

// doubted files what the sift has taken out, and tells each kind of trouble
// once.
func (g *Segmenter) doubted() {
	d := &g.doubts
	for _, x := range g.sift.Doubts() {
		d.see(x.Reading, x.Reason, 1)
		if d.first(x.Reason) {
			g.tellDoubt(x)
		}
	}
	for _, f := range g.sift.Frozen() {
		d.see(measure.Reading{At: f.From}, sift.Repeated, f.Readings)
		if len(d.frozen) == mostFrozen {
			d.frozen = slices.Delete(d.frozen, 0, 1)
		}
		d.frozen = append(d.frozen, f)
		if d.first(sift.Repeated) {
			g.fault(Frozen, f.From, "the indicator said the same for %v and then jumped by %v: it, or its cable, froze while the valve moved. These readings do not count; turn the openings they fell into again, and if it comes back change battery or cable",
				(f.Until - f.From).Duration().Round(10e6), length(abs(float64(f.Jump))))
		}
	}
	for _, l := range g.sift.Leaps() {
		if float64(l.By)*float64(g.sign) > 0 {
			g.tellLeap(l) // no spring opens a valve
		} else {
			d.leaps = append(d.leaps, l)
		}
	}
}

// judgeLeaps tells of the jumps before and in an opening. One that came down to the heel
// from which the valve had gone up was the cam's, which a spring threw past its nose.
func (g *Segmenter) judgeLeaps(m *measured) {
	d := &g.doubts
	for len(d.leaps) > 0 && d.leaps[0].Since <= m.Close {
		l := d.leaps[0]
		d.leaps = d.leaps[1:]
		if thrown := l.Since >= m.Nose && float64(l.By)*float64(g.sign) < 0 && !m.slipped; !thrown {
			g.tellLeap(l)
		}
	}
}

func (g *Segmenter) tellLeap(l sift.Leap) {
	if g.doubts.leapt++; g.doubts.leapt <= mostLeaps {
		g.fault(ZeroShift, l.At, "the reading jumped by %v within %v, faster than a hand or a spring moves a valve, and stayed there: the base, the tip or the indicator's own scale slipped. Set it up again, and turn this opening again",
			length(abs(float64(l.By))), (l.At - l.Since).Duration().Round(1e6))
	}
}

// mostLeaps are told.
const mostLeaps = 8

func (d *doubts) see(r measure.Reading, why sift.Reason, n int) {
	if d.counts == nil {
		d.counts = map[sift.Reason]int{}
	}
	d.counts[why] += n
	if len(d.shown) < mostShown && why != sift.Repeated {
		d.shown = append(d.shown, Doubted{r.At, r.Lift, why})
	}
}

// within says whether readings came between two moments and do not count.
func (d *doubts) within(from, until measure.Stamp) bool {
	return slices.ContainsFunc(d.shown, func(x Doubted) bool { return x.At > from && x.At < until })
}

// first says whether a kind of doubt has not been told.
func (d *doubts) first(why sift.Reason) bool {
	if d.told[why] {
		return false
	}
	if d.told == nil {
		d.told = map[sift.Reason]bool{}
	}
	d.told[why] = true
	return true
}

func (g *Segmenter) tellDoubt(x sift.Doubt) {
	switch x.Reason {
	case sift.Implausible:
		g.fault(Misread, x.Reading.At, "the indicator showed %v, where no valve can be: such readings do not count. Check that it is the right device, its unit and its cable", length(float64(x.Reading.Lift)))
	case sift.WrongAngle:
		g.fault(Misread, x.Reading.At, "the crank angle jumped by %.1f degrees and came back, as no crank turns: such readings do not count. If it happens often, check the encoder's cable and plug", math.Abs(x.Angle.Degrees()))
	default:
		g.fault(Misread, x.Reading.At, "a reading lay %v off the line and the next ones did not: it was misread and does not count. If it happens often, check cable and plug and turn again", length(abs(float64(x.Off))))
	}
}

func abs(x float64) float64 { return max(x, -x) }

// folds follows readings that come down to zero and go up again as fast, as no valve turns:
// the sign of those behind zero is not sent, or not read.
type folds struct {
	last  [3]measure.Reading
	n     int
	below bool // a reading has had a sign
	seen  int
}

const (
	// So many are no chance, of a reading that moves by so many steps.
	foldsTold, foldSteps = 2, 6
	// Before and behind zero it moves alike, to such a share.
	foldAlike = 0.35
	// Sparse readings leave such a share of the heel's above zero.
	dipsTo = 0.45
)

// judgeFolds looks at the next reading.
func (g *Segmenter) judgeFolds(r *measure.Reading) {
	f := &g.folds
	if f.below = f.below || r.Lift < 0; f.below {
		return
	}
	if a, b, c := &f.last[0], &f.last[1], &f.last[2]; f.n == 3 && max(b.Lift, c.Lift) < min(a.Lift, r.Lift) {
		every := g.stream.typical // a port may hand over several at once
		down, up := paceOf(a, b, every), paceOf(r, c, every)
		way := (down + up) / 2 * max(float64(c.At-b.At), every)
		alike := math.Abs(down-up) < foldAlike*(down+up)/2
		through := math.Abs(float64(b.Lift+c.Lift)-way) < foldAlike*way
		if way > foldSteps*float64(g.steps.Step()) && alike && through {
			if f.seen++; f.seen == foldsTold {
				g.tellFold(c.At)
			}
		}
	}
	f.last[0], f.last[1], f.last[2] = f.last[1], f.last[2], *r
	f.n = min(f.n+1, 3)
}

func (g *Segmenter) tellFold(at measure.Stamp) {
	g.fault(Misread, at, "the reading comes down to zero here and goes up again as fast, as no valve turns: the minus sign of what lies behind zero is not sent, not read, or not shown. Set zero on the heel or where the reading never passes it, or look at the format; no figure of this trace holds")
}

// judgeDips tells of a heel whose sign is lost: without a reading below zero the reading
// falls from it to zero before each flank and behind it, however slowly.
func (g *Segmenter) judgeDips(all []measured) {
	q := &g.stream
	if g.folds.below || g.folds.seen >= foldsTold || g.sign < 0 || q.jumped || q.scale != 1 {
		return
	}
	since, dips, step := math.Inf(-1), 0, float64(g.steps.Step())
	for i, m := range all {
		heel := max(m.before.y, m.after.y)
		if heel < max(leastShift, 1.6*step+3*m.noise) {
			return
		}
		until := math.Inf(1)
		if i+1 < len(all) {
			until = float64(all[i+1].Nose)
		}
		for _, side := range [2][2]float64{{since, float64(m.Nose)}, {float64(m.Nose), until}} {
			if slices.ContainsFunc(g.account.within(side[0], side[1]), func(s stretch) bool { return s.lo < max(dipsTo*heel, 1.1*step) }) {
				dips++
			}
		}
		since = float64(m.Nose)
	}
	if dips > 1 && dips >= len(all) { // half of them: between sparse readings some pass unseen
		g.tellFold(all[0].Open)
	}
}

// paceOf returns how fast the reading moved between two, nanometres a microsecond, that are
// no less than so long apart.
func paceOf(from, to *measure.Reading, every float64) float64 {
	return float64((to.Lift - from.Lift).Abs()) / max(math.Abs(float64(to.At-from.At)), every)
}
