package lift

import (
	"math"

	"lobescribe/capture/lift/drive"
)

// Where a trace begins or ends on the lobe there is a flank without an opening to
// be measured. With an encoder it tells all the same whether the crank went by
// 720 degrees until the next one.

// leading keeps the points before the first opening, of a finished trace.
type leading struct{ p []point }

const mostLeading = 1 << 16

func (l *leading) add(p point) {
	if len(l.p) < mostLeading {
		l.p = append(l.p, p)
	}
}

const (
	// A part of a flank goes from here to there, in max lifts.
	partLow, partHigh = 0.5 - drive.FlankShare, 0.5 + drive.FlankShare
)

// partBefore returns the closing flank that ends before the first opening; nil
// where there is none.
func (g *Segmenter) partBefore(m measured) *drive.Passage {
	p := g.signed(g.leading.p, m.before.y)
	n := len(p)
	for n > 0 && p[n-1].t >= float64(m.Open) {
		n--
	}
	last := n - 1
	for last >= 0 && p[last].y < float64(m.HalfLift) {
		last--
	}
	if last < 0 {
		return nil
	}
	from, to := last, last
	for from > 0 && p[from-1].y < partHigh*float64(m.MaxLift) && p[from-1].y > partLow*float64(m.MaxLift) {
		from--
	}
	for to < n && p[to].y > partLow*float64(m.MaxLift) {
		to++
	}
	return flankOnly(p[from:to], m, 1)
}

// partAfter returns the opening flank that begins after the last opening; nil
// where there is none.
func (g *Segmenter) partAfter(m measured) *drive.Passage {
	if g.sign == 0 {
		return nil
	}
	k := &g.tracks[trackOf(g.sign)]
	p := append([]point(nil), k.pts.between(float64(m.Close), math.Inf(1))...)
	for i := range p {
		p[i].y -= m.after.y
	}
	first := 0
	for first < len(p) && p[first].y < float64(m.HalfLift) {
		first++
	}
	if first == len(p) {
		return nil
	}
	from, to := first, first
	for from > 0 && p[from-1].y > partLow*float64(m.MaxLift) {
		from--
	}
	for to < len(p) && p[to].y < partHigh*float64(m.MaxLift) && p[to].y > partLow*float64(m.MaxLift) {
		to++
	}
	return flankOnly(p[from:to], m, 0)
}

// onHeel says whether the trace is known to have begun on the heel before its first
// opening: what was not remembered may have been anything.
func (g *Segmenter) onHeel(m measured) bool {
	if p := g.leading.p; len(p) == mostLeading && p[len(p)-1].t < float64(m.Open) {
		return false
	}
	for _, p := range g.leading.p {
		if p.t >= float64(m.Open) {
			break
		}
		if math.Abs(p.y*float64(g.sign)-m.before.y) > 2*g.tracks[0].lim.leave {
			return false
		}
	}
	return true
}

// signed returns points over a heel, as the valve opens.
func (g *Segmenter) signed(p []point, heel float64) []point {
	q := append([]point(nil), p...)
	for i := range q {
		q[i].y = q[i].y*float64(g.sign) - heel
	}
	return q
}

// flankOnly makes one of points over the heel.
func flankOnly(p []point, m measured, side int) *drive.Passage {
	if len(p) < drive.LeastOnFlank || m.way == 0 {
		return nil
	}
	least, most := p[0].a, p[0].a
	for _, q := range p {
		least, most = min(least, q.a), max(most, q.a)
	}
	if on := (p[len(p)-1].a - p[0].a) * m.way; !(on > (most-least)/2) {
		return nil // the hand went back down the flank that it had come up
	}
	if steeper(p, float64(m.MaxLift)) {
		return nil // somebody lifted the spindle
	}
	v := view{p: p, y: make([]float64, len(p)), noseAt: p[0].t}
	for i, q := range p {
		v.y[i] = q.y
		if math.IsNaN(q.a) {
			return nil
		}
	}
	v.noseA = m.way * math.Inf(1-2*side)
	o := v.passes(float64(m.MaxLift), m.way)
	o.Part = true
	if !o.Tells() {
		return nil
	}
	return o
}

// steeper says whether the signal moved farther than any lobe of that lift moves a valve,
// for what the crank turned meanwhile.
func steeper(p []point, lift float64) bool {
	from := 0
	for i := range p {
		for math.Abs(p[i].a-p[from].a) > fewDegrees {
			from++
		}
		if math.Abs(p[i].y-p[from].y) > (lobeShare+lobeSlope*fewDegrees)*lift {
			return true
		}
	}
	return false
}

const fewDegrees = 4.0
