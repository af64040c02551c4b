package lift

import (
	"cmp"
	"math"
	"slices"

	"lobescribe/device/measure"
)

// level is a heel: where it lies and how well that is known.
type level struct {
	y, u float64 // nanometres; u is the Type A standard uncertainty of the mean
	n    float64 // readings
}

// measured is an opening with what was worked out on the way.
type measured struct {
	Opening
	before, after   level
	nose            peak
	shape           shape
	back            float64 // the largest back-turn seen on a flank, without an encoder
	backAt          measure.Stamp
	height, scatter float64
	parts           *parts     // to measure it again, where the nose is not certain
	reZeroed        bool       // zero was pressed on the way
	short           float64    // so far above the highest reading the nose may lie
	round           bool       // the nose was turned through: this cannot be a heel
	heel            bool       // the crank was turned so far on the level: this is no nose
	moved           float64    // the heel had moved so far before it opened
	rested          [3]float64 // time on the heel before, at the nose, on the heel after
	flank           float64
	noise           float64
	own             float64 // standard uncertainty that other openings do not share
	common          float64 // and that they do
}

// surroundings is what measuring an opening needs besides its readings.
type surroundings struct {
	sign   float64
	step   float64 // of the indicator
	noise  float64 // standard deviation of a reading before rounding
	lim    limits
	stream *stream
	keep   bool  // what is needed to measure again
	nose   *peak // known from elsewhere
}

const (
	// An opening turns the crank by more degrees than this.
	leastTurned = 40
	// On no nose does the lift stay level for so many degrees of crank; a heel is
	// longer.
	heelAtLeast = 200
)

// heelOf returns the level at which most of the readings of a heel lie; what a
// ramp or a rest at its foot adds is left out. Of a long heel every few points
// are enough to find where that is.
func heelOf(p []point, wide float64) level {
	if len(p) == 0 {
		return level{}
	}
	stride := 1 + len(p)/1024
	type weighted struct{ y, w float64 }
	s := make([]weighted, 0, len(p)/stride+1)
	for i := 0; i < len(p); i += stride {
		s = append(s, weighted{p[i].y, p[i].w})
	}
	slices.SortFunc(s, func(a, b weighted) int { return cmp.Compare(a.y, b.y) })
	most, low := -1.0, 0.0
	w, j := 0.0, 0
	for i := range s {
		for j < len(s) && s[j].y-s[i].y <= wide {
			w += s[j].w
			j++
		}
		if w > most {
			most, low = w, s[i].y
		}
		w -= s[i].w
	}
	var l level
	var v, k float64
	for _, q := range p {
		if d := q.y - low; d >= 0 && d <= wide {
			l.n += q.w
			l.y += q.w * d
			v += q.w * d * d
			k++
		}
	}
	l.y /= l.n
	if k > 1 {
		l.u = math.Sqrt(max(v/l.n-l.y*l.y, 0) / (k - 1))
	}
	l.y += low
	return l
}

// lowerHeel returns the level of a heel, where own is that at which most of its
// readings lie: if the heel on the other side of the opening is lower, and the
// valve has rested there on this side too, most lie on a rest at the foot of
// the flank.
func lowerHeel(p []point, own, other level, wide float64) level {
	if own.n == 0 || other.n == 0 || other.y >= own.y-wide {
		return own
	}
	var low []point
	for _, q := range p {
		if math.Abs(q.y-other.y) <= wide {
			low = append(low, q)
		}
	}
	if l := heelOf(low, wide); l.n >= leastReadings && span(low) >= leastRest {
		return l
	}
	return own
}

// opening measures the opening between two heels; false where there are too
// few readings to tell anything.
func (e surroundings) opening(before, passage, after []point) (measured, bool) {
	if len(passage) < 3 || len(before)+len(after) == 0 {
		return measured{}, false
	}
	m := measured{noise: math.Sqrt(max(e.noise*e.noise-e.step*e.step/12, 0))}
	scatter := max(e.noise, rectangular(e.step), 100) // nothing is known to better than 0.1 um
	wide := max(1.05*e.step, 6*scatter)
	if e.noise < rectangular(e.step) {
		wide = 1.05 * e.step
	}
	m.before, m.after = heelOf(before, wide), heelOf(after, wide)
	m.before, m.after = lowerHeel(before, m.before, m.after, wide), lowerHeel(after, m.after, m.before, wide)
	if q := e.stream; q.jumped && float64(q.jumpAt) >= start(before, passage) {
		// Zero was pressed: only the heel on the nose's side of it counts.
		m.reZeroed = true
		if at := float64(q.jumpAt); at > passage[0].t && at < passage[len(passage)-1].t {
			if at > passage[highest(passage)].t {
				m.after = m.before
			} else {
				m.before = m.after
			}
		}
	}
	if wait := rest(passage, m.after, wide); m.after.n > 0 && m.before.n > 0 && wait > 0 &&
		math.Abs(m.after.y-m.before.y) > e.lim.same {
		// The heel had moved before the valve opened.
		m.moved = m.after.y - m.before.y
		m.before = heelOf(passage[:wait], wide)
		m.before.y = m.after.y
		passage = passage[wait:]
		if len(passage) < 3 {
			return measured{}, false
		}
	}
	if m.after.n == 0 {
		m.after = m.before
	}
	if m.before.n == 0 {
		m.before = m.after
	}
	heel := (m.before.y + m.after.y) / 2

	// The nose, along time and, with an encoder, along the crank angle.
	n := len(passage)
	top := 0
	t, y, w := make([]float64, n), make([]float64, n), make([]float64, n)
	counted := 0
	for i, p := range passage {
		t[i], y[i], w[i] = p.t-passage[0].t, p.y-heel, p.w
		if !math.IsNaN(p.a) {
			counted++
		}
		if y[i] > y[top] {
			top = i
		}
	}
	height := y[top]
	inTime := findPeak(t, y, w, top, height, scatter, ofTime)
	m.nose = inTime
	noseAt := inTime.x + passage[0].t
	var noseAngle float64
	hasAngle := counted == n
	if hasAngle && math.Abs(passage[n-1].a-passage[0].a) < leastTurned {
		return measured{}, false // up a flank and down the same one
	}
	if hasAngle {
		m.nose, noseAngle = noseByAngle(passage, heel, height, scatter)
		m.height, m.scatter = height, scatter
		if e.keep && !m.nose.dense {
			m.parts = &parts{e: e, before: slices.Clone(before), passage: slices.Clone(passage), after: slices.Clone(after), heel: heel}
		}
		if e.nose != nil {
			m.nose.y, m.nose.noise, m.nose.short, m.nose.fit = e.nose.y, e.nose.noise, e.nose.short, e.nose.fit
		}
	}
	lift := m.nose.y
	half := lift / 2

	var sum float64
	for i := 1; i < n; i++ {
		if y[i] > height-2*e.lim.near && y[i-1] > height-2*e.lim.near {
			sum += t[i] - t[i-1]
		}
	}
	m.flank = flankTime(passage, heel, height)
	m.round = sum < m.flank
	m.rested = [3]float64{span(before), sum, span(after)}
	if hasAngle {
		lo, hi := math.Inf(1), math.Inf(-1)
		for i := range y {
			if y[i] > height-e.lim.near {
				lo, hi = min(lo, passage[i].a), max(hi, passage[i].a)
			}
		}
		m.round = hi-lo < 200
		m.heel = !m.round && flatTurned(passage, y, top, 2*e.lim.near) > heelAtLeast
	}

	m.shape = e.shape(before, passage, heel, lift, scatter, hasAngle)
	m.short = max(m.nose.gap, 2*m.nose.short)
	if !hasAngle {
		m.back, m.backAt = backOnFlank(passage, y, top, max(0.03*height, 8*scatter, 4*e.step))
	}

	out := &m.Opening
	out.Open, out.Close = stamp(passage[0].t), stamp(passage[n-1].t)
	if top > 0 && e.stream.lost(passage[top-1], passage[top]) && y[top]-y[top-1] > mostLost*height ||
		top < n-1 && e.stream.lost(passage[top], passage[top+1]) && y[top]-y[top+1] > mostLost*height {
		return measured{}, false // the nose lies where readings are missing
	}
	if y[0] >= half || y[n-1] >= half {
		return measured{}, false // it began or ended on the lobe
	}
	out.Heel = measure.Length(math.Round(e.stream.shown(e.sign*heel, noseAt)))
	out.MaxLift = measure.Length(math.Round(lift))
	out.HalfLift = measure.Length(math.Round(half))
	i := top
	for i > 0 && y[i] >= half {
		i--
	}
	out.OpeningHalf.At = stamp(passage[0].t + between(t, y, i, half))
	i = top
	for i < n-1 && y[i] >= half {
		i++
	}
	out.ClosingHalf.At = stamp(passage[0].t + between(t, y, max(i-1, 0), half))
	// The fit may put the nose of a rest at its other end.
	out.Nose = min(max(stamp(noseAt), out.OpeningHalf.At), out.ClosingHalf.At)
	for _, c := range [2]*Crossing{&out.OpeningHalf, &out.ClosingHalf} {
		c.Reading = measure.Length(math.Round(e.stream.shown(e.sign*(heel+half), float64(c.At))))
	}
	if hasAngle {
		out.NoseAngle = angle(noseAngle)
		way := 1.0
		if passage[n-1].a < passage[0].a {
			way = -1
		}
		out.OpeningHalf.Angle = angle(flankAngle(passage, noseAngle, -way, heel, half, height))
		out.ClosingHalf.Angle = angle(flankAngle(passage, noseAngle, way, heel, half, height))
	}

	m.own = hypot(m.nose.noise, m.nose.short, m.before.u/2, m.after.u/2)
	repeat := (m.after.y - m.before.y) / 2 / math.Sqrt(3)
	m.own = hypot(m.own, repeat)
	q := rounded(e.step, m.noise)
	m.common = q
	if !m.nose.fit {
		m.common = hypot(q, q)
	}
	out.MaxLiftU = measure.Length(math.Ceil(2 * hypot(m.own, m.common)))
	return m, true
}

// flatTurned returns how far the crank was turned in one go while the signal stayed
// within near of its highest.
func flatTurned(p []point, y []float64, top int, near float64) float64 {
	lo, hi := p[top].a, p[top].a
	for _, way := range [2]int{-1, 1} {
		for i := top; i >= 0 && i < len(p) && y[i] > y[top]-near; i += way {
			lo, hi = min(lo, p[i].a), max(hi, p[i].a)
		}
	}
	return hi - lo
}

// rest returns how many of the first points of a passage, before its nose, lie
// on a heel for a rest's time; 0 if none do.
func rest(p []point, heel level, wide float64) int {
	top, last, first := highest(p), 0, -1
	n := 0.0
	for i := range p[:top] {
		if math.Abs(p[i].y-heel.y) <= wide {
			if first < 0 {
				first = i
			}
			last = i
			n += p[i].w
		}
	}
	if first < 0 || n < leastReadings || p[last].t-p[first].t < leastRest {
		return 0
	}
	return last + 1
}

func highest(p []point) int {
	top := 0
	for i := range p {
		if p[i].y > p[top].y {
			top = i
		}
	}
	return top
}

// start returns when the first of two stretches begins.
func start(a, b []point) float64 {
	if len(a) > 0 {
		return a[0].t
	}
	return b[0].t
}

func span(p []point) float64 {
	if len(p) == 0 {
		return 0
	}
	return p[len(p)-1].t - p[0].t
}

// between interpolates where y passes level between points i and i+1.
func between(x, y []float64, i int, level float64) float64 {
	if i+1 >= len(x) || y[i+1] == y[i] {
		return x[i]
	}
	f := (level - y[i]) / (y[i+1] - y[i])
	return x[i] + min(max(f, 0), 1)*(x[i+1]-x[i])
}

func stamp(t float64) measure.Stamp { return measure.Stamp(math.Round(t)) }

func angle(deg float64) *measure.Angle {
	if math.IsNaN(deg) {
		return nil
	}
	a := measure.FromDegrees(deg)
	return &a
}

// backOnFlank returns the largest way that lift went back on a flank, where it
// is certain that the engine was turned back: well between heel and nose, and
// more than enough.
func backOnFlank(p []point, y []float64, top int, enough float64) (back float64, at measure.Stamp) {
	lo, hi := 0.15*y[top], 0.85*y[top]
	extreme, where := math.Inf(-1), 0
	for i := range top {
		if y[i] > extreme {
			extreme, where = y[i], i
		}
		if d := extreme - y[i]; extreme < hi && y[i] > lo && d > enough && d > back {
			back, at = d, stamp(p[where].t)
		}
	}
	extreme = math.Inf(1)
	for i := top; i < len(y); i++ {
		if y[i] < extreme {
			extreme, where = y[i], i
		}
		if d := y[i] - extreme; extreme > lo && y[i] < hi && d > enough && d > back {
			back, at = d, stamp(p[where].t)
		}
	}
	return back, at
}
