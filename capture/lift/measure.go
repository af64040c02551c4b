package lift

import (
	"cmp"
	"math"
	"slices"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/drive"
	"lobescribe/capture/lift/evidence"
	"lobescribe/capture/lift/lobe"
	"lobescribe/capture/lift/sinking"
	"lobescribe/capture/lift/stops"
	"lobescribe/capture/prove"
	"lobescribe/capture/sift"
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
	nose            lobe.Peak
	shape           evidence.Shape
	bend            [2]lobe.Bend
	kink            [2]lobe.Kink
	feet            [2]lobe.Foot // how its flanks meet the heel, with an encoder
	back            float64      // the largest back-turn seen on a flank, without an encoder
	backAt          measure.Stamp
	contrary        contraries
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
	own             float64    // standard uncertainty that other openings do not share
	common          float64    // and that they do
	alike           float64    // and that all have the same way, each by its own amount
	noseReading     float64    // what the indicator shows on the nose
	runOut          [2]float64 // by how much the heels before and after go up and down, noise taken off
	wander          float64    // and may go, for the uncertainty
	doubted         []point    // lay off the line of their neighbours
	passed          *drive.Passage
	pauses          []sinking.Pause
	crept           float64 // what an arm that creeps back may have taken off the nose
	skipped         bool    // a passage before it could not be measured, or readings were lost
	slipped         bool    // the heel came back elsewhere
	crossing        [2]crossed
	stops           stops.Says // of a spindle that stopped under the nose
	way             float64    // that the angle counts as the engine turns
}

// surroundings is what measuring an opening needs besides its readings.
type surroundings struct {
	sign   float64
	proof  *prove.Proof
	frozen []sift.Frozen // when the indicator repeated itself
	step   float64       // of the indicator
	noise  float64       // standard deviation of a reading before rounding
	lim    limits
	stream *stream
	keep   bool       // what is needed to measure again
	nose   *lobe.Peak // known from elsewhere
	room   *room

	judgesStops bool // openings enough have been looked at, or not
}

// room is what measuring one opening after the other needs for a while, the same each
// time: asked for anew it would be cleared before it is filled, and to be tidied up. There
// is none where openings are few and far between.
type room struct {
	all  []float64
	used int
}

// floats returns so many, whatever they are; they are good until the next opening is measured.
func (r *room) floats(n int) []float64 {
	if r == nil {
		return make([]float64, n)
	}
	if len(r.all)-r.used < n { // what was given out before stays where it is
		r.all, r.used = make([]float64, 2*len(r.all)+n), 0
	}
	r.used += n
	return r.all[r.used-n : r.used : r.used]
}

const (
	// Few readings in so short a time are no opening: they were misread together.
	fewPassage, leastPassage = 12, 600 * ms
	// An opening turns the crank by more degrees than this.
	leastTurned = 40
	// On no nose does the lift stay level for so many degrees of crank; a heel is
	// longer.
	heelAtLeast = 200
)

// heelOf returns the level at which most of the readings of a heel lie; what a
// ramp or a rest at its foot adds is left out.
func heelOf(p []point, wide float64) level {
	l, _ := levelOf(p, wide, func(i, _ int) float64 { return p[i].w })
	return l
}

// turnedOn returns the level on which the crank was turned the farthest.
func turnedOn(p []point, wide float64) level {
	l, turned := levelOf(p, wide, func(i, stride int) float64 { return math.Abs(p[i].a - p[max(i-stride, 0)].a) })
	if turned >= surelyTurned {
		return l
	}
	return level{}
}

// surelyTurned is so many degrees that no ramp is so level over them.
const surelyTurned = 2 * heelTurned

// levelOf returns the level about which the weights of readings are most, and how much they
// are. Of a long heel every few points are enough to find where that is.
func levelOf(p []point, wide float64, weight func(i, stride int) float64) (l level, most float64) {
	if len(p) == 0 {
		return level{}, 0
	}
	stride := 1 + len(p)/1024
	type weighted struct{ y, w float64 }
	s := make([]weighted, 0, len(p)/stride+1)
	for i := 0; i < len(p); i += stride {
		s = append(s, weighted{p[i].y, weight(i, stride)})
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
	return l, most
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

// belowRamps takes for the heels what lies lower than where the hand waited the longest, on
// the ramps: with an encoder where the crank was turned, and without one where the reading
// stood, if it stood alike on both sides.
func (e surroundings) belowRamps(m *measured, before, after []point, wide float64) {
	if floorOf(before) >= m.before.y-e.lim.same && floorOf(after) >= m.after.y-e.lim.same {
		return
	}
	a, b := lowestRest(before, wide), lowestRest(after, wide)
	alike := min(a.n, b.n) > 0 && math.Abs(a.y-b.y) <= wide
	for _, side := range [2]struct {
		p     []point
		heel  *level
		stood level
	}{{before, &m.before, a}, {after, &m.after, b}} {
		low := turnedOn(side.p, wide)
		if alike {
			low = side.stood
		}
		if low.n > 0 && low.y < side.heel.y-e.lim.same {
			*side.heel = low
		}
	}
}

// floorOf returns the lowest lift that readings enough for a rest lie under.
func floorOf(p []point) float64 {
	low := [leastReadings]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
	for k := range p {
		y := p[k].y
		for i := leastReadings - 1; i >= 0 && y < low[i]; i-- {
			if i < leastReadings-1 {
				low[i+1] = low[i]
			}
			low[i] = y
		}
	}
	return low[leastReadings-1]
}

// lowestRest returns the lowest level at which the readings of a heel stand; none with an
// encoder.
func lowestRest(p []point, wide float64) level {
	if len(p) < leastReadings || !math.IsNaN(p[0].a) {
		return level{}
	}
	floor := floorOf(p)
	var low []point
	for _, q := range p {
		if q.y <= floor+wide {
			low = append(low, q)
		}
	}
	if span(low) < stoodHome {
		return level{}
	}
	return heelOf(low, wide)
}

// opening measures the opening between two heels; false where there are too
// few readings to tell anything.
func (e surroundings) opening(before, passage, after []point) (measured, bool) {
	if e.room != nil {
		e.room.used = 0
	}
	m := measured{noise: math.Sqrt(max(e.noise*e.noise-e.step*e.step/12, 0))}
	before, passage, after = e.thawed(before), e.thawed(passage), e.thawed(after)
	if len(passage) < 3 || len(before)+len(after) == 0 || len(passage) < fewPassage && span(passage) < leastPassage {
		return measured{}, false
	}
	scatter := max(e.noise, gum.Rectangular(e.step), 100) // nothing is known to better than 0.1 um
	passage, ok := e.heels(&m, before, passage, after, scatter)
	if !ok {
		return measured{}, false
	}
	passage = e.flanked(before, passage, after, (m.before.y+m.after.y)/2)
	passage, m.doubted = e.cleaned(passage)
	if len(passage) < 3 {
		return measured{}, false
	}
	v := viewOf(passage, (m.before.y+m.after.y)/2, e.room)
	if v.angles && math.Abs(passage[len(passage)-1].a-passage[0].a) < leastTurned {
		return measured{}, false // up a flank and down the same one
	}
	e.findNose(&m, &v, scatter)
	if e.keep && v.fine && !m.nose.Dense {
		m.parts = &parts{e: e, before: slices.Clone(before), passage: slices.Clone(passage), after: slices.Clone(after), heel: v.heel}
	}
	e.turnedThrough(&m, &v, before, after)
	m.shape = e.shape(before, &v, m.nose.Y, scatter)
	if e.judgesStops {
		m.stops = e.stops(&v, m.nose.Y, scatter)
	}
	m.short = max(m.nose.Gap, 2*m.nose.Short)
	if !v.angles {
		m.back, m.backAt = backOnFlank(passage, v.y, v.top, max(0.03*v.height, 8*scatter, 4*e.step))
	}
	if e.missing(&v) {
		return measured{}, false
	}
	if v.angles {
		m.contrary = e.contrary(&v, scatter)
	}
	e.crossings(&m, &v)
	m.feet, m.bend, m.kink = e.flankFits(before, &v, m.nose.Y, scatter)
	m.pauses = e.pauses(&v)
	m.crept = e.creeps(&v, after, m.after, scatter)
	e.uncertain(&m, &v)
	return m, true
}

// way is +1 or -1: which way the angle counts as the engine turns.
func (v *view) way() float64 {
	if v.p[len(v.p)-1].a < v.p[0].a {
		return -1
	}
	return 1
}

// flanks returns both flanks, the opening one first, each from the heel to the nose: x is
// the crank angle or else the time.
func (v *view) flanks() (x, y [2][]float64) {
	n := len(v.y) - v.top
	x, y = [2][]float64{v.x[:v.top+1], v.room.floats(n)}, [2][]float64{v.y[:v.top+1], v.room.floats(n)}
	for i := range n {
		x[1][i], y[1][i] = v.x[len(v.x)-1-i], v.y[len(v.y)-1-i]
	}
	return x, y
}

// flanked returns a passage with the heel's reading beside it, where a flank went by between
// two readings: a spring throws the cam past the nose as fast.
func (e surroundings) flanked(before, passage, after []point, heel float64) []point {
	half := (passage[highest(passage)].y - heel) / 2
	if n := len(before); n > 0 && passage[0].y-heel >= half && !e.stream.lost(before[n-1], passage[0]) {
		passage = slices.Concat(before[n-1:], passage)
	}
	if last := passage[len(passage)-1]; len(after) > 0 && last.y-heel >= half && !e.stream.lost(last, after[0]) {
		passage = slices.Concat(passage, after[:1])
	}
	return passage
}

// view is a passage over its heel.
type view struct {
	p       []point
	heel    float64
	t, y, w []float64 // since the first, above the heel, weights
	a, x    []float64 // angles, NaN without an encoder; and what it goes along: the angles, or else t
	top     int       // the highest
	height  float64   // of it
	angles  bool      // each point has one
	count   float64   // and the encoder this count, degrees
	fine    bool      // and they tell more of the lobe's shape than time does
	noseAt  float64   // when, found
	noseA   float64   // at which angle, found
	room    *room
}

func viewOf(passage []point, heel float64, room *room) view {
	n := len(passage)
	t, y, w, a := room.floats(n), room.floats(n), room.floats(n), room.floats(n)
	counted, top := 0, 0
	for i := range passage {
		p := &passage[i]
		t[i], y[i], w[i], a[i] = p.t-passage[0].t, p.y-heel, p.w, p.a
		if !math.IsNaN(p.a) {
			counted++
		}
		if y[i] > y[top] {
			top = i
		}
	}
	v := view{p: passage, heel: heel, t: t, y: y, w: w, a: a, x: t, top: top, height: y[top], angles: counted == n, room: room}
	if v.angles {
		v.count = lobe.Count(a)
	}
	if v.fine = v.angles && v.count <= coarsest; v.fine {
		v.x = a
	}
	return v
}

// coarsest is the count in which a nose moves by so little that its shape shows, degrees.
const coarsest = 2.5

// heels finds the level on either side, and takes from the passage a rest on a
// heel that had moved before the valve opened.
func (e surroundings) heels(m *measured, before, passage, after []point, scatter float64) ([]point, bool) {
	wide := max(1.05*e.step, 6*scatter)
	if e.noise < gum.Rectangular(e.step) {
		wide = 1.05 * e.step
	}
	m.before, m.after = heelOf(before, wide), heelOf(after, wide)
	e.belowRamps(m, before, after, wide)
	m.before, m.after = lowerHeel(before, m.before, m.after, wide), lowerHeel(after, m.after, m.before, wide)
	var wander float64
	for i, side := range [2]struct {
		p    []point
		heel level
	}{{before, m.before}, {after, m.after}} {
		m.runOut[i], wander = e.runOut(side.p, side.heel, wide)
		m.wander = max(m.wander, wander)
	}
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
			return nil, false
		}
	}
	if m.after.n == 0 {
		m.after = m.before
	}
	if m.before.n == 0 {
		m.before = m.after
	}
	return passage, m.before.n+m.after.n > 0
}

// findNose finds the nose along time and, with an encoder, along the crank
// angle.
func (e surroundings) findNose(m *measured, v *view, scatter float64) {
	m.nose = lobe.Curve{X: v.t, Y: v.y, W: v.w, Top: v.top, Height: v.height, Scatter: scatter}.Nose()
	v.noseAt = m.nose.X + v.p[0].t
	if !v.angles {
		return
	}
	n := v.byAngle(scatter).Nose()
	if v.noseA = n.X; !v.fine {
		return
	}
	m.nose = n
	m.height, m.scatter = v.height, scatter
	if e.nose != nil {
		m.nose.Y, m.nose.Noise, m.nose.Short, m.nose.Fit = e.nose.Y, e.nose.Noise, e.nose.Short, e.nose.Fit
	}
}

// turnedThrough finds how long the valve stayed at its highest, against its
// heels and flanks, and whether that can have been a heel.
func (e surroundings) turnedThrough(m *measured, v *view, before, after []point) {
	sum, level := 0.0, v.height-2*e.lim.near
	for i := 1; i < len(v.y); i++ {
		if v.y[i] > level && v.y[i-1] > level {
			sum += v.t[i] - v.t[i-1]
		}
	}
	m.flank = flankTime(v.p, v.heel, v.height)
	m.round = sum < m.flank
	m.rested = [3]float64{span(before), sum, span(after)}
	if !v.angles {
		return
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range v.y {
		if v.y[i] > v.height-e.lim.near {
			lo, hi = min(lo, v.p[i].a), max(hi, v.p[i].a)
		}
	}
	m.round = hi-lo < 200
	m.heel = !m.round && flatTurned(v.p, v.y, v.top, 2*e.lim.near) > heelAtLeast
}

// missing says whether there is no measuring the passage: the nose lies where
// readings are missing, or it began or ended on the lobe.
func (e surroundings) missing(v *view) bool {
	p, y, top, n := v.p, v.y, v.top, len(v.p)
	if top > 0 && e.stream.lost(p[top-1], p[top]) && y[top]-y[top-1] > mostLost*v.height ||
		top < n-1 && e.stream.lost(p[top], p[top+1]) && y[top]-y[top+1] > mostLost*v.height {
		return true
	}
	return y[0] >= v.height/2 || y[n-1] >= v.height/2
}

// crossings sets what an opening says of where and when.
func (e surroundings) crossings(m *measured, v *view) {
	lift := m.nose.Y
	half := lift / 2
	p, n := v.p, len(v.p)
	out := &m.Opening
	out.Open, out.Close = stamp(p[0].t), stamp(p[n-1].t)
	out.Heel = measure.Length(math.Round(e.stream.shown(e.sign*v.heel, v.noseAt)))
	out.MaxLift = measure.Length(math.Round(lift))
	out.HalfLift = measure.Length(math.Round(half))
	m.noseReading = e.stream.shown(e.sign*(v.heel+lift), v.noseAt)
	i := v.top
	for i > 0 && v.y[i] >= half {
		i--
	}
	out.OpeningHalf.At = stamp(p[0].t + lobe.Between(v.t, v.y, i, half))
	i = v.top
	for i < n-1 && v.y[i] >= half {
		i++
	}
	out.ClosingHalf.At = stamp(p[0].t + lobe.Between(v.t, v.y, max(i-1, 0), half))
	// The fit may put the nose of a rest at its other end.
	out.Nose = min(max(stamp(v.noseAt), out.OpeningHalf.At), out.ClosingHalf.At)
	for _, c := range [2]*Crossing{&out.OpeningHalf, &out.ClosingHalf} {
		c.Reading = measure.Length(math.Round(e.stream.shown(e.sign*(v.heel+half), float64(c.At))))
	}
	if !v.angles {
		return
	}
	out.NoseAngle = angle(v.noseA)
	way := v.way()
	m.way = way
	near := 1.05*e.step + 4*m.noise
	alone := e.onTime(v, false)
	paired := alone.moving(near)
	m.passed = paired.passes(lift, way)
	if alone != v { // of readings that came in one go some may still be told by
		paired = e.onTime(v, true).moving(near)
	}
	for i, c := range [2]*Crossing{&out.OpeningHalf, &out.ClosingHalf} {
		side := way * float64(2*i-1)
		a, u := paired.crosses(side, half)
		c.Angle = angle(a)
		m.crossing[i] = crossed{u: gum.Root(u, v.between(float64(c.At), e.stream)), steep: lift * m.passed.Steepness(i)}
		if x := &m.crossing[i]; x.steep == 0 {
			x.steep = lift / max(math.Abs(v.p[n-1].a-v.p[0].a), leastTurned) // no flank is so flat
		}
		m.state(i, 0, drive.UnknownLag)
	}
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
	// On a flank that goes through there slowly it does not stand.
	third := (last - first + 2) / 3
	if middleY(p[last+1-third:last+1])-middleY(p[first:first+third]) > wide/2 {
		return 0
	}
	return last + 1
}

// middleY is the mean lift of points.
func middleY(p []point) float64 {
	sum := 0.0
	for i := range p {
		sum += p[i].y
	}
	return sum / float64(len(p))
}

func highest(p []point) int {
	top, most := 0, p[0].y
	for i := range p {
		if p[i].y > most {
			top, most = i, p[i].y
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
