package lift

import (
	"math"
	"slices"
	"time"

	"lobescribe/capture/lift/drive"
	"lobescribe/device/measure"
	"lobescribe/device/silence"
)

// stream makes one continuous signal of readings that somebody has set to zero
// or switched to another unit on the way, and finds holes in their times.
//
// A jump counts only where it is many times what the hand was moving, and ends
// where such a jump must end: at zero, or at 25.4 times or that part of what
// was there. It is looked at twice: the reading behind it must stay there.
type stream struct {
	scale, offset float64 // continuous = scale*reading + offset
	offsetBefore  float64 // before jumpAt
	jumpAt        measure.Stamp
	jumped        bool

	last    measure.Reading
	n       int64
	moves   [6]float64 // how far the last readings moved
	at, run int        // the newest of them, and how many since a hole
	typical float64    // interval, microseconds
	uneven  float64    // how far intervals differ from it on average
	habit   silence.Habit
	between bool // the angles beside most lifts were taken between two of the encoder's

	suspect  measure.Reading
	held     bool
	why      jump
	pressed  bool // a note says that zero was pressed
	gapUntil measure.Stamp
}

type jump uint8

const (
	toZero jump = iota
	toLarger
	toSmaller
)

const (
	unitRatio = 25.4
	// A jump is at least so many times what the readings moved before, and so
	// long.
	jumpTimes = 5
	leastJump = 100 * um
	// A valve does not fall by such a share of its lift within such a time.
	fallShare, fallTime = 0.3, 60 * ms
	// A hand moves the valve by no more than such a share of its lift, and this
	// much of it more a microsecond.
	handShare, handSpeed = 0.25, 2 / float64(s)
	// A lobe moves the valve by no more of its lift a degree of crank (twice the
	// mean slope of a flank of 100 degrees is steep for one), and this much more
	// for an angle that comes a little late.
	lobeShare, lobeSlope = 0.08, drive.LobeSlope
	// A spring throws the cam on from the nose, which is here all above that
	// share of the lift, and moves the valve by no more of it a microsecond.
	noseShare, springSpeed = 0.9, 5 / float64(s)
	// A hole is so many times the usual interval, and so long.
	holeTimes = 6
	leastHole = s
	// Of so many readings nobody knows how often they come.
	heardLittle = 8
	// A port that hands over its lines in bursts is silent for no longer.
	burst = 200 * ms
)

func newStream() stream { return stream{scale: 1} }

// continuous returns the continuous signal.
func (q *stream) continuous(r *measure.Reading) float64 { return q.scale*float64(r.Lift) + q.offset }

// shown returns what the indicator shows at a moment for a level of the
// continuous signal.
func (q *stream) shown(y, t float64) float64 {
	off := q.offset
	if q.jumped && t < float64(q.jumpAt) {
		off = q.offsetBefore
	}
	return (y - off) / q.scale
}

// moved returns the farthest that the last readings have moved, and the
// farthest but one.
func (q *stream) moved() (most, second float64) {
	for _, d := range q.moves[:min(q.run, len(q.moves))] {
		if d > most {
			most, second = d, most
		} else {
			second = max(second, d)
		}
	}
	return most, second
}

// passed notes that a reading has gone on its way.
func (q *stream) passed(r *measure.Reading) {
	if q.n > 0 {
		q.moves[q.at] = math.Abs(float64(r.Lift - q.last.Lift))
		if q.at++; q.at == len(q.moves) {
			q.at = 0
		}
		q.run++
		dt := float64(r.At - q.last.At)
		if q.n == 1 {
			q.typical = dt
		} else {
			k := 1.0 / 64
			if q.n < 64 {
				k = 1 / float64(q.n)
			}
			if dt > burst {
				dt = min(dt, max(holeTimes*q.typical, burst))
			}
			q.uneven += k * (math.Abs(dt-q.typical) - q.uneven)
			q.typical += k * (dt - q.typical)
		}
	}
	q.habit.See(r)
	q.last = *r
	q.n++
}

// hole says whether readings seem to be missing before r.
func (q *stream) hole(r *measure.Reading) bool {
	return r.At-q.last.At > leastHole && q.n > 0 && (q.n <= heardLittle || float64(r.At-q.last.At) > holeTimes*q.typical)
}

// lost says whether readings are missing between two points.
func (q *stream) lost(a, b point) bool { return b.t-a.t > max(leastHole, holeTimes*q.typical) }

// posture is where the valve stands, in the continuous signal.
type posture struct {
	known       bool
	heel, sign  float64
	top, height float64 // above the heel: of the opening under way, of all
}

// thrown says whether a valve on its nose falls from one level to another.
func (p posture) thrown(from, to float64) bool {
	return p.sign*(from-p.heel) > noseShare*p.top && p.sign*(to-from) < 0
}

// leaps says whether a reading lies so far from the last that it may have jumped.
func (q *stream) leaps(r *measure.Reading) bool {
	return math.Abs(float64(r.Lift-q.last.Lift)) > leastJump && q.run >= len(q.moves)
}

// suspicious says whether a reading that leaps has jumped; standing tells where the valve
// stands.
func (q *stream) suspicious(r *measure.Reading, step float64, standing func() posture) bool {
	was, is := float64(q.last.Lift), float64(r.Lift)
	m, second := q.moved()
	counted := r.Has&q.last.Has&measure.HasAngle != 0
	small := math.Abs(is-was) <= jumpTimes*m+6*step+leastJump
	if small && !counted {
		return false
	}
	// A spring's throw past the nose may have begun in the interval before.
	slack := 1.5 * (second + step)
	switch {
	case !small && math.Abs(is-unitRatio*was) <= min(unitRatio*slack, 0.1*math.Abs(is-was)) && math.Abs(was) > 20*step+leastJump:
		q.why = toLarger
	case !small && math.Abs(unitRatio*is-was) <= min(slack+unitRatio*step, 0.15*math.Abs(was)) && math.Abs(was) > unitRatio*3*step:
		q.why = toSmaller
	case math.Abs(is) <= min(slack, 0.2*math.Abs(is-was)):
		q.why = toZero
		dt := float64(r.At - q.last.At)
		p := standing()
		if counted {
			// However far a hand moved between readings, the crank tells it.
			turned := math.Abs((r.Angle - q.last.Angle).Degrees())
			if math.Abs(is-was) > (lobeShare+lobeSlope*turned)*max(p.height, 10*mm) {
				return true
			}
			if small || dt > fallTime {
				return false
			}
		}
		if dt > fallTime {
			// Between readings so far apart a hand can move far and come to rest
			// where the reading happens to be zero.
			return math.Abs(is-was) > (handShare+handSpeed*dt)*max(p.height, 5*mm)
		}
		if p.known && math.Abs(q.continuous(r)-p.heel) <= leastJump+3*step {
			// It may have come home: only where no valve falls so fast.
			return math.Abs(is-was) > fallShare*p.height
		}
		if !p.known || p.thrown(q.continuous(&q.last), q.continuous(r)) {
			return math.Abs(is-was) > springSpeed*dt*max(p.height, 5*mm)
		}
	default:
		return false
	}
	return true
}

// stays says whether the reading after a jump bears it out: it moves no more
// than readings did before.
func (q *stream) stays(next *measure.Reading, step float64) bool {
	m, _ := q.moved()
	still := 3 * (m + step)
	if q.why == toLarger {
		still *= unitRatio
	}
	return math.Abs(float64(next.Lift-q.suspect.Lift)) <= min(still, math.Abs(float64(q.suspect.Lift-q.last.Lift))/3)
}

// mend makes the signal continuous over the jump to r.
func (q *stream) mend(r measure.Reading, why jump) {
	was := q.continuous(&q.last)
	switch why {
	case toLarger:
		q.scale /= unitRatio
	case toSmaller:
		q.scale *= unitRatio
	case toZero:
		q.offsetBefore, q.jumpAt, q.jumped = q.offset, r.At, true
		q.offset = was - q.scale*float64(r.Lift)
	}
	q.run = 0
}

// Step takes the next reading and says whether there is news to take. The sift
// decides whether the reading counts; one that it holds comes with a later one.
func (g *Segmenter) Step(r measure.Reading) bool { return g.step(&r) }

// step is Step; it may count the angle on in r itself.
func (g *Segmenter) step(r *measure.Reading) bool {
	if r.At > mostStamp || r.At < -mostStamp || g.any && r.At < g.newest ||
		r.Has&measure.HasLift != 0 && (r.Lift > mostLift || r.Lift < -mostLift) {
		return false
	}
	if r.Has&measure.HasLift == 0 { // the crank alone: it is still there
		g.sound, _ = g.sift.Step(g.sound[:0], r)
		g.stream.habit.See(r)
		return false
	}
	g.newest, g.any = r.At, true
	sound, itself := g.sift.Step(g.sound[:0], r)
	if itself {
		g.count(r)
		return len(g.news) > 0
	}
	g.sound = sound
	g.doubted()
	g.countAll()
	return len(g.news) > 0
}

// countAll takes the readings that the sift let pass together.
func (g *Segmenter) countAll() {
	for i := range g.sound {
		g.count(&g.sound[i])
	}
}

// count takes a reading that counts.
func (g *Segmenter) count(r *measure.Reading) {
	q := &g.stream
	if q.held {
		q.held = false
		if q.stays(r, float64(g.steps.Step())) {
			g.jumped(q.suspect, q.why)
		}
		g.feed(&q.suspect)
	}
	if q.hole(r) {
		g.hole(r)
	}
	if q.pressed && q.n > 0 {
		q.pressed = false
		q.mend(*r, toZero)
	} else if q.leaps(r) && q.suspicious(r, float64(g.steps.Step()), g.standing) && !(q.why == toSmaller && g.atHeel(r)) {
		q.suspect, q.held = *r, true
		return
	}
	g.feed(r)
}

// atHeel says whether a reading lies just where the valve stood shut: it has come home,
// and that the zero makes it a 25th of the last one is chance.
func (g *Segmenter) atHeel(r *measure.Reading) bool {
	for i := range g.tracks {
		k := &g.tracks[i]
		y, near := g.stream.continuous(r)*float64(signOf(i)), 2*float64(g.steps.Step())
		if k.at == away && math.Abs(y-k.heel) <= near || k.landed > 0 && math.Abs(y-k.bounds.heel) <= near {
			return true
		}
	}
	return false
}

// standing returns where the valve stands.
func (g *Segmenter) standing() posture {
	k, sign := g.believed()
	if k == nil {
		return posture{}
	}
	return posture{known: k.at != seeking, heel: k.heel * float64(sign), sign: float64(sign), top: k.top, height: max(k.top, k.largest)}
}

// jumped mends a jump that has been borne out, and tells it.
func (g *Segmenter) jumped(r measure.Reading, why jump) {
	g.stream.mend(r, why)
	if why == toZero {
		g.fault(ReZero, r.At, "the reading jumped to zero in the middle of things: the indicator was set to zero on the way. Leave the zero alone while the engine is turned")
		return
	}
	g.fault(UnitChange, r.At, "the reading jumped by 25.4: the indicator was switched between inch and millimetre. What follows is taken in the old unit; switch it back, or say the unit in its address")
}

// hole tells a gap that no note has told, where anything can be missing.
func (g *Segmenter) hole(r *measure.Reading) {
	q := &g.stream
	q.run = 0
	if q.gapUntil > q.last.At {
		return
	}
	x := quiet{from: q.last, until: *r, spell: q.habit.Spell(r), level: [2]float64{q.continuous(&q.last), q.continuous(r)}}
	may, passed := q.habit.MayExplain(x.spell), g.patient && x.turnedBy(leastPassed)
	if may && !passed {
		g.stood(r)
	}
	explained := q.habit.Explains(x.spell) || !g.patient && may
	if explained && !passed || q.n <= heardLittle {
		return // an indicator that speaks only when it moves
	}
	still := float64((r.Lift - q.last.Lift).Abs()) <= g.tracks[0].lim.near
	if x.turnedBy(1) {
		still = false
	}
	if still && !q.habit.OnChange() && q.uneven > 0.3*q.typical {
		return // it speaks as it likes
	}
	if !explained {
		g.lost(q.last.At, r.At)
	}
	if g.patient && len(g.quiet) < mostGaps {
		g.quiet = append(g.quiet, x) // how it speaks shows by the end
		return
	}
	g.tellGap(q.last.At, r.At)
}

const (
	// Readings are no nearer together, where nobody knows yet.
	leastApart = 20 * ms
	// So many points show that a valve rests; each stands for the readings that would
	// have come.
	standsFor = leastReadings
)

// stood says that an indicator which speaks only when it moves has stood until just before
// it says r.
func (g *Segmenter) stood(r *measure.Reading) {
	q := &g.stream
	apart := max(q.typical, leastApart)
	from, until := float64(q.last.At), float64(r.At)-apart
	p := point{y: q.continuous(&q.last), a: math.NaN(), w: (until - from) / apart / standsFor}
	if r.Has&q.last.Has&measure.HasAngle != 0 {
		p.a = r.Angle.Degrees()
	}
	for i := range standsFor {
		p.t = from + (until-from)*float64(i+1)/standsFor
		g.follow(p)
	}
}

// quiet is a time without a lift, between two readings and levels of the continuous signal.
type quiet struct {
	from, until measure.Reading
	level       [2]float64
	spell       silence.Spell
}

// leastPassed is how far the crank turns over an opening at the least, degrees.
const leastPassed = 120

// turnedBy says whether the crank was turned farther meanwhile.
func (x *quiet) turnedBy(least float64) bool {
	return x.from.Has&x.until.Has&measure.HasAngle != 0 && math.Abs((x.until.Angle-x.from.Angle).Degrees()) > least
}

// passed says whether the crank went meanwhile from heel to heel past the nose of an opening
// like m.
func (g *Segmenter) passed(x *quiet, m *measured) bool {
	if m.NoseAngle == nil || !x.turnedBy(leastPassed) {
		return false
	}
	for _, y := range x.level {
		if float64(g.sign)*y-m.before.y > float64(m.MaxLift)/2 {
			return false
		}
	}
	a, b := (x.from.Angle - *m.NoseAngle).Degrees(), (x.until.Angle - *m.NoseAngle).Degrees()
	return math.Floor(a/period) != math.Floor(b/period)
}

// judgeQuiet tells of the times without a lift that the indicator's way of speaking does
// not explain, and of those in which an opening was passed.
func (g *Segmenter) judgeQuiet() {
	for i := range g.quiet {
		x := &g.quiet[i]
		if !g.stream.habit.Explains(x.spell) || slices.ContainsFunc(g.all, func(m measured) bool { return g.passed(x, &m) }) {
			g.tellGap(x.from.At, x.until.At)
		}
	}
	g.quiet = nil
}

// lost says that an opening may be missing.
func (g *Segmenter) lost(from, until measure.Stamp) {
	g.skipped = [2]bool{true, true}
	g.account.gap(float64(from), float64(until))
}

func (g *Segmenter) tellGap(from, until measure.Stamp) {
	if g.doubts.within(from, until) {
		g.fault(Misread, from, "no reading counted for %v: what came was misread, or its unit was switched. Check unit, cable and plug, and turn that opening again", (until - from).Duration().Round(100*time.Millisecond))
		return
	}
	g.fault(Gap, from, "no readings came for %v: check cable and plug. What the valve did meanwhile is not in the trace; turn that opening again", (until - from).Duration().Round(100*time.Millisecond))
}

// Note takes what happened to the stream of readings besides a reading.
func (g *Segmenter) Note(n measure.Note) {
	switch n.Kind {
	case measure.NoteGap:
		g.stream.gapUntil = max(g.stream.gapUntil, n.Until)
		g.lost(n.At, n.Until)
		g.tellGap(n.At, n.Until)
	case measure.NoteUnitChange:
		g.again()
		g.steps.Again()
		g.fault(UnitChange, n.At, "the indicator was switched to another unit. The readings stay right, since each carries its unit; leave the unit alone while the engine is turned")
	case measure.NoteReZero:
		g.again()
		g.stream.pressed = true
		g.fault(ReZero, n.At, "the indicator was set to zero on the way. Leave the zero alone while the engine is turned")
	}
}

// backTurn follows the crank angle and finds back-turns.
type backTurn struct {
	way      float64 // +1, -1; 0 while not known
	least    float64 // the lowest and highest angle so far
	most     float64
	deepest  float64 // the largest way back since the last told
	since    measure.Stamp
	started  bool
	toldThis bool // in this opening
}

// leastWay of turning one way tells which way forward is.
const leastWay = 30

// see takes the next angle and returns true when a back-turn becomes worth
// telling.
func (b *backTurn) see(a float64, at measure.Stamp) bool {
	if math.IsNaN(a) {
		return false
	}
	if !b.started {
		b.least, b.most, b.started = a, a, true
	}
	switch {
	case b.way == 0:
		b.least, b.most = min(b.least, a), max(b.most, a)
		if a-b.least > leastWay {
			b.way = 1
		} else if b.most-a > leastWay {
			b.way = -1
		}
		if b.way != 0 {
			b.most = a * b.way
		}
		return false
	case a*b.way >= b.most:
		b.most, b.deepest, b.since = a*b.way, 0, at
		return false
	}
	b.deepest = max(b.deepest, b.most-a*b.way)
	if b.deepest >= leastBack && !b.toldThis {
		b.toldThis = true
		return true
	}
	return false
}
