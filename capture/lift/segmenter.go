package lift

import (
	"math"
	"slices"

	"lobescribe/capture/prove"
	"lobescribe/capture/sift"
	"lobescribe/capture/step"
	"lobescribe/device/measure"
)

// Options says what is known beforehand; the zero value is "nothing", and is
// the default.
type Options struct {
	// Sign is +1 where the reading grows as the valve opens, -1 where it falls
	// (a spindle that runs out); 0: found from the signal.
	Sign int
	// Resolution is the least step of the indicator; 0: found from the readings.
	Resolution measure.Length
	// Told is what was said of that step when the trace began; an [Analysis] takes
	// it where the readings change too little to show their own.
	Told measure.Length
	// LeastLift is the least max lift that is taken for an opening; 1 mm.
	LeastLift measure.Length
	// Proof is what is known of the indicator; zero: it was never proved, and
	// what it may do stands in the uncertainties.
	Proof prove.Proof
	// LeaveOut are openings that count for nothing in [Analyse].
	LeaveOut []LeftOut
}

// Bounds outside of which a reading is no measurement: ten metres, thirty
// years, a billion degrees.
const (
	mostLift  = 10_000_000_000
	mostStamp = 1_000_000_000_000_000
	mostAngle = 1_000_000_000_000_000
)

// Segmenter follows the signal reading by reading and cuts it into openings, in
// memory that does not grow. It is what the live follower and [Analyse] share,
// so that both find the same openings.
//
// Which way the reading runs as the valve opens is found by following both
// ways at once until one is refuted: what is turned through without a stop is
// a nose, for a heel takes longer than both flanks.
type Segmenter struct {
	o         Options
	sift      sift.Sift
	sound     []measure.Reading // that count, of the last Step
	newest    measure.Stamp     // of all that came
	any       bool
	doubts    doubts
	beyond    beyond
	holds     []Held // in the uncertainties, and not told
	noLift    bool   // an opening higher than any valve lifts was told
	drive     *Drive // what a finished trace tells of it
	steps     step.Finder
	noise     noiseMeter
	tracks    [2]track      // the reading grows, the reading falls
	sign      int           // 0 while not known
	held      [2][]measured // not published yet
	waits     [2][]waiting  // of a finished trace, whose heels differ
	skipped   [2]bool       // a passage could not be measured
	published bool
	news      []News
	n         int64
	last      point // of the continuous signal
	stream    stream
	folds     folds
	backTurn  backTurn
	verdict   verdicts
	all       []measured // published, of a finished trace
	leading   leading    // and what came before
	account   account    // the whole of it, in outline
	lo, hi    float64    // the lowest and highest so far, while nothing is published
	quiet     []quiet    // of a finished trace, when no readings came
	patient   bool       // keep everything for the end
	room      *room
}

// News is something that the signal has come to.
type News struct {
	Opening *Opening
	Fault   *Fault
}

// NewSegmenter returns one that has seen nothing.
func NewSegmenter(o Options) *Segmenter {
	g := &Segmenter{o: o, tracks: [2]track{newTrack(), newTrack()}, sign: o.Sign, stream: newStream()}
	g.steps.Fixed = int64(o.Resolution)
	g.relimit()
	return g
}

// Prove says what is known of the indicator from now on.
func (g *Segmenter) Prove(p prove.Proof) { g.o.Proof = p }

func (g *Segmenter) relimit() {
	least := float64(g.o.LeastLift)
	if least <= 0 {
		least = mm
	}
	l := limitsFor(float64(g.steps.Step()), g.noise.sd(), least)
	g.tracks[0].lim, g.tracks[1].lim = l, l
	g.sift.Count, g.sift.Noise = float64(g.steps.Step()), g.noise.sd()
}

func signOf(i int) int { return 1 - 2*i }

// feed takes a reading of the mended stream.
func (g *Segmenter) feed(r *measure.Reading) {
	g.stream.passed(r)
	g.judgeFolds(r)
	if g.steps.See(int64(r.Lift)) {
		g.relimit()
	}
	p := point{t: float64(r.At), y: g.stream.continuous(r), a: math.NaN(), w: 1}
	if r.Has&measure.HasAngle != 0 && r.Angle < mostAngle && r.Angle > -mostAngle {
		p.a = r.Angle.Degrees()
		if g.backTurn.see(p.a, r.At) {
			g.tellBack(g.backTurn.since, "")
		}
	}
	g.follow(p)
}

// follow takes the next point of the continuous signal.
func (g *Segmenter) follow(p point) {
	if g.patient && len(g.all) == 0 {
		g.leading.add(p)
	}
	if g.patient {
		g.account.add(&p)
	}
	if g.n++; g.n == 1 {
		g.lo, g.hi = p.y, p.y
	}
	if p.y < g.lo {
		g.lo = p.y
	} else if p.y > g.hi {
		g.hi = p.y
	}
	g.last = p
	g.judgeBeyond(&p)
	for i := range g.tracks {
		if g.sign != 0 && g.sign != signOf(i) {
			continue
		}
		q := p
		q.y *= float64(signOf(i))
		switch g.tracks[i].step(q) {
		case homecoming:
			g.settled(i)
		case departure:
			g.depart(i)
		case refutation:
			g.refute(i)
		case misreading:
			if g.sign != 0 && g.doubts.first(sift.Misread) {
				g.fault(Misread, stamp(p.t), "some readings together lay below the heel, and the next ones did not: they were misread. Check cable and plug, and turn the opening beside it again")
			}
		}
	}
	if !g.patient && len(g.held[0])+len(g.held[1]) > 0 {
		g.waited()
	}
	if k := &g.tracks[0]; g.sign == -1 {
		k = &g.tracks[1]
		g.see(k, p.y)
	} else {
		g.see(k, p.y)
	}
}

// waited decides on the direction when the valve has rested at home for long
// after the only opening there can be.
func (g *Segmenter) waited() {
	for i := range g.tracks {
		k := &g.tracks[i]
		if len(g.held[i]) > 0 && len(g.held[1-i]) == 0 && k.at == home && k.run.span() > longRest {
			g.sign = signOf(i)
			g.release()
			return
		}
	}
}

// see takes the noise of a reading that stands at one level.
func (g *Segmenter) see(k *track, y float64) {
	if k.run.n <= 5 || k.run.hasOdd {
		g.noise.have = 0
		return
	}
	if g.noise.see(y) {
		g.relimit()
	}
}

// settled ends the opening of a track that has come home.
func (g *Segmenter) settled(i int) {
	k := &g.tracks[i]
	// In a finished trace without an encoder it may be a part of one, and is looked at.
	whole := k.settle() || g.patient && math.IsNaN(k.low.a0)
	again := k.run.t0 > k.low.t1 && k.run.level-k.heel > k.lim.leave // the next one is under way
	switch {
	case !whole:
		k.pending = false
	case !g.patient:
		g.conclude(i, math.Inf(1))
	}
	if again {
		// The rest was the heel only in hindsight.
		g.reopen(i)
	}
}

// reopen begins the opening that was taken for a part of the last one.
func (g *Segmenter) reopen(i int) {
	k := &g.tracks[i]
	tail := k.pts.between(k.low.t1, math.Inf(1))
	for _, p := range tail {
		v := p.y - k.heel
		if k.at != away && v > k.lim.leave {
			k.leaveHeel(p.t, v)
		}
		if k.at == away && v > k.top {
			k.top, k.topAt = v, p.t
		}
	}
}

// depart measures for good the opening whose heel after it is now complete.
func (g *Segmenter) depart(i int) {
	k := &g.tracks[i]
	if k.pending && g.patient {
		g.conclude(i, k.out)
	}
	k.depart()
}

// refute takes back the last opening of a track where it has not been told.
func (g *Segmenter) refute(i int) {
	from := stamp(g.tracks[i].bounds.out)
	g.held[i] = slices.DeleteFunc(g.held[i], func(h measured) bool { return h.Close >= from })
	g.waits[i] = slices.DeleteFunc(g.waits[i], func(w waiting) bool { return w.ok && w.m.Close >= from })
	g.keep(i)
}

// conclude measures the last opening of a track, with the heel after it up to a moment.
func (g *Segmenter) conclude(i int, until float64) {
	k := &g.tracks[i]
	k.pending = !g.patient
	m, ok := g.measure(k, i, k.bounds, until)
	if g.patient {
		g.wait(i, until, waiting{m, k.bounds, ok})
		return
	}
	g.file(i, m, ok)
}

// file publishes an opening, or holds it back until the direction is known.
func (g *Segmenter) file(i int, m measured, ok bool) {
	if !ok {
		g.skipped[i] = true
		return
	}
	m.skipped, g.skipped[i] = g.skipped[i], false
	switch {
	case g.sign != 0:
	case m.round && m.MaxLift >= doubtful && g.plain(i, m):
		g.sign = signOf(i)
	case m.heel:
		// What looked like a nose is a heel: the reading runs the other way.
		g.sign = signOf(1 - i)
		g.release()
		return
	}
	// Half as high as the next is no opening: the hand turned back half way.
	g.held[i] = slices.DeleteFunc(g.held[i], func(h measured) bool { return float64(h.MaxLift) < newShare*float64(m.MaxLift) })
	if g.sign == 0 {
		if len(g.held[i]) < mostHeld {
			g.held[i] = append(g.held[i], m)
		}
		return
	}
	if i != trackOf(g.sign) {
		g.release()
		return
	}
	if m.MaxLift < doubtful && !g.published && len(g.held[i]) == 0 {
		g.held[i] = append(g.held[i], m)
		return
	}
	g.release()
	g.publish(m)
}

// plain says whether a nose that was turned through settles the direction. Without an
// encoder it must be most of what the reading went through, or one of several: a hand
// that went back over a nose has turned through a valley between the two. Of a finished
// trace the levels of all its passages must bear it out, too: a rest at half lift between
// two passages of a nose looks like one from below.
func (g *Segmenter) plain(i int, m measured) bool {
	switch {
	case m.NoseAngle != nil || len(g.held[i]) == mostHeld:
		return true
	case g.patient:
		return len(g.held[i]) >= enoughHeld && g.direction(false) == signOf(i)
	}
	return len(g.held[i]) > 1 || float64(m.MaxLift) > mostOfAll*(g.hi-g.lo)
}

// enoughHeld openings and one more tell the direction of a trace before its end.
const enoughHeld = 3

// mostOfAll is the share of all that the reading went through which a nose takes.
const mostOfAll = 0.85

// release publishes what was held back until the direction was known.
func (g *Segmenter) release() {
	for _, h := range g.held[trackOf(g.sign)] {
		g.publish(h)
	}
	g.held = [2][]measured{}
}

// likelier returns the direction that the openings held back speak for. A heel
// lasts longer than a nose, but for a hand that rests; and people begin and end
// on the heel.
func (g *Segmenter) likelier() int {
	var score [2]float64
	for i := range g.tracks {
		pairs := 0.0
		for n, m := range g.held[i] {
			// A heel at the start or the end is longer than the trace shows.
			k := &g.tracks[i]
			if n > 0 || !k.began {
				score[i] += speaks(m.rested[0], m.rested[1])
				pairs++
			}
			if n < len(g.held[i])-1 || k.at == away && k.certain {
				score[i] += speaks(m.rested[2], m.rested[1])
				pairs++
			}
		}
		score[i] /= max(pairs, 1)
		if len(g.held[i]) == 0 {
			score[i] = -100
		}
		if g.tracks[i].began {
			score[i] += begins
		}
		if k := &g.tracks[i]; k.at == home && k.rests(leastRest) {
			score[i] += ends
		}
	}
	if score[1] > score[0] {
		return -1
	}
	return 1
}

const (
	mostHeld = 8
	// How much it speaks for a direction that its heel comes first or last,
	// against the logarithm of how much longer than the nose it lasts.
	begins, ends = 1.5, 2
	// A first opening lower than this may be a turn of the hand on a steep
	// flank and is held back until there is another to compare it with.
	doubtful = 2.5 * mm
)

// speaks compares the lengths of two rests.
func speaks(heel, nose float64) float64 {
	return min(max(math.Log((heel+ms)/(nose+ms)), -1.5), 1.5)
}

func trackOf(sign int) int { return (1 - sign) / 2 }

// anyLifts is more than any valve lifts, nanometres (common practice, no source).
const anyLifts = 45 * mm

func (g *Segmenter) publish(m measured) {
	o := m.Opening
	if float64(o.MaxLift) > anyLifts {
		if g.noLift {
			return
		}
		g.noLift = true
		g.fault(UnitChange, o.Open, "a lift of %v is none that a valve makes: the indicator shows another unit than it is read in, or its scale is wrong. Set unit= or scale= of its address, or choose the column's unit, and turn again", length(float64(o.MaxLift)))
		return
	}
	g.published = true
	most := max(mostStick*float64(g.steps.Step()), leastShift)
	v := &g.verdict
	m.slipped = math.Abs(m.after.y-m.before.y) > most || v.hasLast && math.Abs(m.before.y-v.last.y) > most
	g.judgeLeaps(&m)
	for _, p := range m.doubted { // no figure rests on them: they are counted too
		shown := measure.Length(math.Round(g.stream.shown(float64(g.sign)*p.y, p.t)))
		g.doubts.see(measure.Reading{At: stamp(p.t), Lift: shown}, sift.Misread, 1)
	}
	g.judge(m)
	if g.patient {
		g.all = append(g.all, m)
	} else {
		m.RepeatsU = m.MaxLiftU
		one := []measured{m}
		g.widen(one)
		o = one[0].Opening
	}
	g.news = append(g.news, News{Opening: &o})
}

func (g *Segmenter) measure(k *track, i int, b bounds, until float64) (measured, bool) {
	e := surroundings{
		sign: float64(signOf(i)), frozen: g.doubts.frozen, proof: &g.o.Proof, stream: &g.stream, keep: g.patient, room: g.room, step: float64(g.steps.Step()), noise: g.noise.sd(), lim: k.lim,
		judgesStops: max(len(g.all), g.verdict.stops.N) < mostStops,
	}
	return e.opening(k.pts.between(b.section, b.out), k.pts.between(b.out, b.landed), k.pts.between(b.landed, until))
}

// Take appends the news since the last time to dst.
func (g *Segmenter) Take(dst []News) []News {
	dst = append(dst, g.news...)
	g.news = g.news[:0]
	return dst
}

// Finish says that nothing follows: an opening that is home but has not rested
// there settles, and of two directions that are both possible the likelier is
// taken.
func (g *Segmenter) Finish() {
	g.sound = g.sift.Finish(g.sound[:0])
	g.countAll()
	g.doubted()
	if g.stream.held {
		g.stream.held = false
		g.feed(&g.stream.suspect)
	}
	for i := range g.tracks {
		if g.sign != 0 && g.sign != signOf(i) {
			continue
		}
		k := &g.tracks[i]
		if k.pending && g.patient && (k.at != away || !k.certain) {
			g.conclude(i, math.Inf(1))
		}
		if k.at != away || k.top < max(k.lim.least, newShare*k.largest) {
			continue
		}
		if !k.hasLow {
			k.low, k.hasLow = k.run, true
		}
		if k.low.level-k.heel > lowShare*k.top {
			continue
		}
		if k.low.level-k.heel > k.lim.leave && !k.endsHome() {
			continue // the end came on the flank
		}
		g.settled(i)
		if k.pending && g.patient {
			g.conclude(i, math.Inf(1))
		}
	}
	for i := range g.tracks {
		g.fileWaiting(i)
	}
	if g.sign == 0 && g.patient {
		if d := g.direction(true); d != 0 && len(g.held[trackOf(d)]) > 0 {
			g.sign = d
		}
	}
	if g.sign == 0 {
		g.sign = g.likelier()
	}
	g.release()
	for _, l := range g.doubts.leaps {
		g.tellLeap(l)
	}
	g.doubts.leaps = nil
	if g.patient {
		g.judgeQuiet()
		g.judgeTravel()
	}
}

// noiseMeter estimates the noise of a reading where the signal stands still,
// from second differences: neither a drift nor a slow turn counts. Their
// variance is six times that of a reading.
type noiseMeter struct {
	y      [2]float64
	have   int
	sum, n float64
	told   float64
	seen   uint8
}

func (m *noiseMeter) see(y float64) (changed bool) {
	if m.have == 2 {
		d := y - 2*m.y[1] + m.y[0]
		m.sum += d * d
		m.n++
		if m.n > 4096 {
			m.sum, m.n = m.sum/2, m.n/2
		}
	} else {
		m.have++
	}
	m.y[0], m.y[1] = m.y[1], y
	if m.seen++; m.seen%8 != 0 {
		return false
	}
	// The standard deviation is more than 1.25 times what was told, or less than 0.8.
	if two := 6 * m.n * m.told * m.told; m.n >= fewest && (m.sum > 1.5625*two || m.sum < 0.64*two) {
		m.told = m.sd()
		return true
	}
	return false
}

// fewest differences tell the noise.
const fewest = 8

// sd returns the standard deviation of a reading, rounding included.
func (m *noiseMeter) sd() float64 {
	if m.n < fewest {
		return 0
	}
	return math.Sqrt(m.sum / m.n / 6)
}
