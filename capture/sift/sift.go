package sift

import (
	"math"

	"lobescribe/device/measure"
)

// Reason says why a reading is doubted.
type Reason string

// The reasons.
const (
	// Misread: the signal jumped and came back as no valve moves.
	Misread Reason = "misread"
	// Implausible: so far from the readings around it lies no valve.
	Implausible Reason = "implausible"
	// Repeated: the indicator repeated an old figure while the valve moved on.
	Repeated Reason = "repeated"
	// WrongAngle: the crank angle jumped and came back as no crank turns.
	WrongAngle Reason = "wrong-angle"
)

// Doubt is a reading that does not count.
type Doubt struct {
	Reading measure.Reading
	Reason  Reason
	// Off is how far it lies from the line between the readings around it, Angle
	// how far its angle does where that is the reason.
	Off   measure.Length
	Angle measure.Angle
}

// Frozen is a time in which the indicator repeated itself while the valve
// moved: its readings behind From up to Until are false.
type Frozen struct {
	From, Until measure.Stamp
	Readings    int
	// Jump is how far it had fallen behind when it caught up.
	Jump measure.Length
}

// Leap is a jump to a place where the signal stays, faster than a hand or a spring
// moves a valve.
type Leap struct {
	At    measure.Stamp // of the first reading behind it
	By    measure.Length
	Since measure.Stamp // the last before it
}

// Sift is the state; the zero value has seen nothing.
type Sift struct {
	// Count and Noise are the indicator's least step and the standard deviation
	// of a reading as far as they are known, in nanometres.
	Count, Noise float64

	base  measure.Reading // the last that counts
	begun bool            // there is one
	next  bool            // the next begins, wherever it lies
	paces [4]float64      // of the last that count, nanometres a microsecond
	at    int
	usual float64 // interval between readings, microseconds
	taken int     // intervals that is the mean of

	run      int           // readings in a row that say the same as base
	runAt    measure.Stamp // when the first of them came,
	runAngle measure.Angle // and at which angle
	before   float64       // the pace that the signal came to that run with, and which way

	held  [mostHeld]measure.Reading
	n     int
	rests held // what a jump came out of

	wrap  wrap
	crank crank

	doubts []Doubt
	frozen []Frozen
	leaps  []Leap
}

// held is what was known when the first reading was held.
type held struct {
	run    int
	runAt  measure.Stamp
	before float64
	angle  measure.Angle // at runAt
}

const (
	mostTaken = 32 // a power of two
	mostHeld  = 10
	longest   = 300_000 // microseconds
	// So many are held however long that takes, for wrong readings come together by
	// their number: at 10 readings a second half a second.
	leastHeld = 5
	// A silence counts for so much of the usual interval at the most, microseconds: a
	// port that hands over its lines in bursts is silent between them, and a hand's rest
	// is longer.
	burst = 200_000
	// A reading farther than this from the last is at no valve, and one that is
	// held for it longer than this is a new place all the same.
	farthest    = 45e6
	longestAway = 3_000_000

	// handTurns is how fast the lift can be made to turn back, nanometres a
	// microsecond squared: 700 mm/s². A flank of 0.15 mm a degree and a crank
	// that goes from 230 degrees a second one way to the other in a tenth of a
	// second (common practice, no source).
	handTurns = 700e6 / 1e12
	// coarsest is the step of an indicator that has not shown it yet.
	coarsest = 30_000
	// A jump is more than so many times what the signal just did.
	jumpTimes = 4
	// A signal that goes on after a jump keeps its direction, and gets slower by
	// no more than this factor.
	goesOn = 3.0
	// A hand moves no valve faster, nanometres a microsecond: 120 mm/s.
	handPace = 120e6 / 1e6
	fastPace = handPace / 3
	// Readings that a port hands over in one go came within this, microseconds.
	together = 10e3
	// An indicator that repeats itself does so for this long and so often at
	// the least, and falls behind by so many times what it moves otherwise.
	leastFrozen, leastRepeats, frozenTimes = 120_000, 3, 3.0
	leastBehind                            = 200_000
	// A crank that has turned by less, microdegrees, rests.
	crankRests = 500_000
	// and for no longer, where it stands still when it has caught up.
	longestFrozen = 1_000_000
	behindTimes   = 3.0
	// A spring throws a valve no faster off its nose, nanometres a microsecond. A jump
	// that is so many times as fast, and so much longer, was none of the valve's.
	springPace             = 60e6 / 1e6
	leapTimes, leapAtLeast = 1.5, 100_000
)

// reach returns how far from the last reading that counts one may lie that
// comes dt later, for a hand to have moved the valve there.
func (s *Sift) reach(dt float64) float64 {
	dt = max(dt, s.usual)
	pace := max(s.paces[0], s.paces[1], s.paces[2], s.paces[3])
	return jumpTimes*pace*dt + handTurns*dt*dt/2 + s.grain()
}

// apart returns how long it is from a to b, microseconds. Readings that a port
// hands over in one go are farther apart than their stamps.
func (s *Sift) apart(a, b measure.Reading) float64 { return max(float64(b.At-a.At), s.usual, 1) }

// grain is what the indicator cannot tell apart.
func (s *Sift) grain() float64 {
	count := s.Count
	if count == 0 {
		count = coarsest
	}
	return 3*max(count, 1000) + 6*s.Noise
}

// Step takes the next reading. Mostly that one counts, and nothing else is to be
// said: then itself is true, and dst returns as it came. Else the readings that count
// now, if any, are appended to dst. A reading without a lift counts for what it
// carries. Stamps must not go back. A crank angle that starts again after each turn
// is counted on, in r itself.
func (s *Sift) Step(dst []measure.Reading, r *measure.Reading) (sound []measure.Reading, itself bool) {
	if r.Has&measure.HasAngle != 0 {
		s.wrap.on(r)
	}
	if r.Has&measure.HasLift == 0 {
		return dst, true
	}
	if s.crank.goesOn(r) {
		if s.n == 0 && s.begun && s.near(r) {
			s.take(r)
			return dst, true
		}
		return s.step(dst, *r), false
	}
	back := s.crank.see(*r)
	for _, q := range s.crank.passed() {
		dst = s.step(dst, q)
	}
	for _, q := range back {
		s.doubts = append(s.doubts, Doubt{Reading: q, Reason: WrongAngle, Angle: q.Angle - r.Angle})
	}
	return dst, false
}

// step takes the next reading whose angle is none that came back.
func (s *Sift) step(dst []measure.Reading, r measure.Reading) []measure.Reading {
	if s.n > 0 {
		return s.resolve(dst, r)
	}
	if !s.begun {
		return s.begin(dst, r)
	}
	if !s.near(&r) {
		s.hold(r)
		return dst
	}
	s.take(&r)
	return append(dst, r)
}

// near says whether a hand can have moved the valve to r since the last that counts.
func (s *Sift) near(r *measure.Reading) bool {
	d := math.Abs(float64(r.Lift - s.base.Lift))
	// Most readings are within the grain, and reach is never less.
	return d <= s.grain() || d <= s.reach(float64(r.At-s.base.At))
}

// begin looks for the first reading that counts: one whose next lies where a
// hand can have moved the valve.
func (s *Sift) begin(dst []measure.Reading, r measure.Reading) []measure.Reading {
	first := s.base
	if s.next {
		s.next, s.begun = false, true
		s.from(r)
		return append(dst, r)
	}
	if s.run == 0 {
		s.from(r)
		return dst
	}
	if d := math.Abs(float64(r.Lift - first.Lift)); d > handPace/2*max(float64(r.At-first.At), together)+s.grain() {
		s.tell(first, Misread, float64(first.Lift-r.Lift))
		s.from(r)
		return dst
	}
	s.begun = true
	s.take(&r)
	return append(dst, first, r)
}

// from takes r for the first reading.
func (s *Sift) from(r measure.Reading) {
	s.base, s.run, s.runAt, s.runAngle, s.before = r, 1, r.At, r.Angle, 0
	s.paces = [4]float64{}
}

// take counts a reading.
func (s *Sift) take(r *measure.Reading) {
	apart := float64(r.At - s.base.At)
	dt := apart
	if s.taken < mostTaken {
		s.taken++
	}
	if dt > burst && s.taken > 8 {
		dt = min(dt, max(8*s.usual, burst))
	}
	if s.taken == mostTaken {
		s.usual += (dt - s.usual) * (1.0 / mostTaken) // exact, and no division
	} else {
		s.usual += (dt - s.usual) / float64(s.taken)
	}
	way := 0.0 // the pace, and which way
	if by := r.Lift - s.base.Lift; by == 0 {
		s.run++
	} else {
		way = float64(by) / max(apart, s.usual, 1)
		if s.before /= 2; math.Abs(way) > math.Abs(s.before) || way*s.before < 0 {
			s.before = way
		}
		s.run, s.runAt, s.runAngle = 1, r.At, r.Angle
	}
	s.paces[s.at] = math.Abs(way)
	s.at = (s.at + 1) & 3
	s.base = *r
}

func (s *Sift) hold(r measure.Reading) {
	if s.n == 0 {
		s.rests = held{s.run, s.runAt, s.before, s.runAngle}
	}
	s.held[s.n] = r
	s.n++
}

// resolve takes a reading while others are held.
func (s *Sift) resolve(dst []measure.Reading, r measure.Reading) []measure.Reading {
	first := s.held[0]
	away := math.Abs(float64(first.Lift-s.base.Lift)) > farthest
	switch {
	case s.returned(r):
		s.doubtHeld(r)
		return s.step(dst, r)
	case !away && s.goesOn(r):
		dst = s.release(dst)
		return s.step(dst, r)
	case away && float64(r.At-s.base.At) < longestAway && !s.otherUnit(first):
		if s.n == mostHeld {
			s.doubtFirst(Implausible)
		}
		s.hold(r)
		return dst
	case s.n < mostHeld && (s.n < leastHeld || float64(r.At-s.base.At) <= longest):
		s.hold(r)
		return dst
	case s.settled(r):
		if !s.tellFrozen(r) {
			s.tellLeap()
		}
		dst = s.release(dst)
		return s.step(dst, r)
	}
	// Neither back nor anywhere: readings that belong to nothing.
	s.doubtFirst(Misread)
	if s.n == 0 {
		return s.step(dst, r)
	}
	s.hold(r)
	return dst
}

// returned says whether r is where the signal would be had the held readings
// not been.
func (s *Sift) returned(r measure.Reading) bool {
	d := math.Abs(float64(r.Lift - s.base.Lift))
	pace := max(s.paces[0], s.paces[1], s.paces[2], s.paces[3])
	dt := float64(r.At - s.base.At)
	// The way a hand may have gone on meanwhile.
	way := 2*pace*dt + s.grain() + handTurns*dt*dt/8
	if d > way {
		return false
	}
	last := s.held[s.n-1]
	back := math.Abs(float64(r.Lift - last.Lift))
	return back > d && back > s.reach(float64(r.At-last.At))/2
}

// goesOn says whether r goes on from the held readings as a hand moves a
// valve: the same way, at a pace like the jump's own.
func (s *Sift) goesOn(r measure.Reading) bool {
	from := s.base
	if s.n > 1 {
		from = s.held[s.n-2]
	}
	last := s.held[s.n-1]
	a, b := float64(last.Lift-from.Lift), float64(r.Lift-last.Lift)
	da, db := s.apart(from, last), s.apart(last, r)
	pa, pb := a/da, b/db
	if pa*pb <= 0 || math.Abs(pa) > handPace || math.Abs(pb) > handPace {
		return false
	}
	if s.n < 2 && math.Abs(pa) > fastPace {
		return false // so fast a start wants another reading
	}
	// A hand that starts gets faster; what jumped is slower after.
	if math.Abs(pa) > goesOn*math.Abs(pb) {
		return false
	}
	// The jump itself must be a part of that motion, and not what shifted it.
	jump := float64(s.held[0].Lift-s.base.Lift) / s.apart(s.base, s.held[0])
	return jump*pa > 0 && math.Abs(jump) <= goesOn*math.Abs(pa)
}

// settled says whether the newest readings belong together, wherever they are.
func (s *Sift) settled(r measure.Reading) bool {
	next, most := r, handPace/2
	if s.otherUnit(s.held[0]) {
		most *= unitRatio
	}
	for i := s.n - 1; i >= max(s.n-3, 0); i-- {
		d := math.Abs(float64(next.Lift - s.held[i].Lift))
		if dt := s.apart(s.held[i], next); d > most*dt+s.grain() {
			return false
		}
		next = s.held[i]
	}
	return true
}

// unitRatio is how much larger a figure in millimetres is than one in inches.
const unitRatio = 25.4

// otherUnit says whether a reading is the last one in the other unit.
func (s *Sift) otherUnit(r measure.Reading) bool {
	a, b := float64(s.base.Lift), float64(r.Lift)
	near := func(x, y float64) bool { return math.Abs(x-y) <= 0.1*math.Abs(y) && math.Abs(y) > 1e6 }
	return near(unitRatio*a, b) || near(a, unitRatio*b)
}

// release counts what is held.
func (s *Sift) release(dst []measure.Reading) []measure.Reading {
	for i := range s.held[:s.n] {
		s.take(&s.held[i])
	}
	dst = append(dst, s.held[:s.n]...)
	s.n = 0
	return dst
}

// doubtHeld doubts what is held, for the signal has come back to next. A held
// reading that lies on the way there counts for nothing either: it is of the
// same disturbance.
func (s *Sift) doubtHeld(next measure.Reading) {
	for _, r := range s.held[:s.n] {
		s.doubt(r, Misread, next)
	}
	s.n = 0
}

// doubtFirst doubts the oldest of what is held.
func (s *Sift) doubtFirst(why Reason) {
	s.doubt(s.held[0], why, s.base)
	copy(s.held[:], s.held[1:s.n])
	s.n--
}

func (s *Sift) doubt(r measure.Reading, why Reason, next measure.Reading) {
	line := float64(s.base.Lift)
	if next.At > s.base.At {
		line += float64(next.Lift-s.base.Lift) * float64(r.At-s.base.At) / float64(next.At-s.base.At)
	}
	s.tell(r, why, float64(r.Lift)-line)
}

func (s *Sift) tell(r measure.Reading, why Reason, off float64) {
	if math.Abs(off) > farthest {
		why = Implausible
	}
	s.doubts = append(s.doubts, Doubt{Reading: r, Reason: why, Off: measure.Length(math.Round(off))})
}

// tellLeap tells of a jump that no valve makes, to where the signal stays. The reading
// may have been on its way since the first that said the same as the last before.
func (s *Sift) tellLeap() {
	first := s.held[0]
	jump := float64(first.Lift - s.base.Lift)
	took := max(float64(first.At-s.rests.runAt), s.usual)
	if math.Abs(jump) < leapTimes*springPace*took+leapAtLeast+s.grain() || s.otherUnit(first) || math.Abs(float64(first.Lift)) <= s.grain() {
		return // or it was set to zero
	}
	s.leaps = append(s.leaps, Leap{At: first.At, By: first.Lift - s.base.Lift, Since: s.base.At})
}

// tellFrozen tells of an indicator that had repeated itself, where the jump to
// what is held looks like it: it has moved on as far as the valve had gone
// meanwhile at the pace on both sides, or farther than a spring throws a valve.
func (s *Sift) tellFrozen(next measure.Reading) bool {
	h := s.rests
	first := s.held[0]
	usual := max(s.usual, 1)
	span := float64(first.At - h.runAt)
	jump := float64(first.Lift - s.base.Lift)
	if h.run < leastRepeats || span < leastFrozen || math.Abs(jump) < 2*s.grain()+leastBehind {
		return false
	}
	if s.base.Has&measure.HasAngle != 0 && max(s.base.Angle-h.angle, h.angle-s.base.Angle) < crankRests {
		return false // the crank stood as well: a hand waited there
	}
	// The pace after the jump, along it.
	after, last := 0.0, next
	for i := s.n - 1; i >= 0; i-- {
		dt := s.apart(s.held[i], last)
		if v := float64(last.Lift-s.held[i].Lift) / dt; math.Abs(v) > math.Abs(after) {
			after = v
		}
		last = s.held[i]
	}
	moved := max(math.Abs(after), math.Abs(h.before))
	if moved*usual < s.grain()/8 || s.otherUnit(first) {
		return false // it stands still on both sides: something slipped; or it is the same place
	}
	if math.Abs(after)*usual < s.grain()/8 && span > longestFrozen {
		return false // it had come to rest long before: zero was pressed, or something slipped
	}
	behind := math.Abs(jump) / (moved * span) // 1: what the valve did meanwhile at that pace
	sudden := math.Abs(jump) / (moved * usual)
	thrown := math.Abs(jump) < springPace*s.apart(s.base, first)
	sameWay := jump*h.before > 0 && jump*after >= 0
	if sudden < frozenTimes || thrown && (!sameWay || behind < 1/behindTimes || behind > behindTimes) {
		return false
	}
	s.frozen = append(s.frozen, Frozen{From: h.runAt, Until: s.base.At, Readings: h.run - 1, Jump: first.Lift - s.base.Lift})
	return true
}

// Again says that the indicator's figures go on elsewhere, as after its zero
// was pressed or its unit switched: the next reading is no jump. Held readings
// are counted.
func (s *Sift) Again(dst []measure.Reading) []measure.Reading {
	dst = s.angleReleased(dst)
	dst = s.release(dst)
	if !s.begun && s.run > 0 {
		dst = append(dst, s.base)
	}
	s.begun, s.next = false, true
	return dst
}

// angleReleased counts what is held for its angle.
func (s *Sift) angleReleased(dst []measure.Reading) []measure.Reading {
	s.crank.release()
	for _, q := range s.crank.passed() {
		dst = s.step(dst, q)
	}
	return dst
}

// Finish says that nothing follows. What is held still is borne out by nothing
// and does not count; it is told as doubted only where it lies at no valve.
// It appends to dst a reading that was the only one.
func (s *Sift) Finish(dst []measure.Reading) []measure.Reading {
	if !s.begun && s.run > 0 && !s.next { // one reading in all
		s.begun = true
		dst = append(dst, s.base)
	}
	for _, r := range s.held[:s.n] {
		if math.Abs(float64(r.Lift-s.base.Lift)) > farthest {
			s.doubt(r, Implausible, s.base)
		}
	}
	s.n = 0
	return dst
}

// Doubts returns what was doubted since the last call; the slice is good until
// the next Step.
func (s *Sift) Doubts() []Doubt {
	d := s.doubts
	s.doubts = s.doubts[:0]
	return d
}

// Leaps returns the jumps found since the last call; likewise.
func (s *Sift) Leaps() []Leap {
	l := s.leaps
	s.leaps = s.leaps[:0]
	return l
}

// Frozen returns the times of repeats found since the last call; likewise.
func (s *Sift) Frozen() []Frozen {
	f := s.frozen
	s.frozen = s.frozen[:0]
	return f
}
