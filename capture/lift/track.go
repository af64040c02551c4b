package lift

import "math"

// limits are the lengths that decide, in nanometres. They follow from the
// indicator's step and noise; where those are small, from valve trains.
type limits struct {
	near  float64 // readings nearer than this stand at one level
	same  float64 // levels nearer than this are one heel
	leave float64 // higher than this over the heel the valve is open
	least float64 // an opening is at least so high
}

const (
	um = 1e3
	mm = 1e6
	ms = 1e3
	s  = 1e6
)

func limitsFor(step, noise, least float64) limits {
	if step == 0 {
		step = 10 * um
	}
	noise = min(noise, max(1.5*step, 25*um)) // more is no noise
	return limits{
		near: max(2.2*step, 12*um, 5*noise),
		same: max(3*step, 20*um, 6*noise),
		// Near the 0.006 in (0.15 mm) that the trade calls the valve event.
		leave: max(120*um, 8*step, 10*noise),
		least: least,
	}
}

const (
	// A rest no shorter than this, of no fewer readings, can be the heel.
	leastRest     = 250 * ms
	leastReadings = 3
	// With an encoder the heel is known by turning without lift.
	heelTurned = 20.0
	// No nose, and no hand on a flank, stands still while the crank turns so far.
	surelyHeel = 140.0
	// Below this share of its max lift a valve may be home although the heel
	// is not where it was; back-turns and rests lie anywhere.
	lowShare = 0.25
	// From a low rest, rising by this share of the max lift is a new opening:
	// 20 degrees of back-turn from there climb less.
	newShare = 0.5
	// Without an encoder, a heel nobody has seen the valve come home to may have
	// been a rest at the foot of a flank, and then the heel lies lower; or
	// something has slipped, by no more than this. Long rests speak for the heel.
	slipMost, footMost = 600 * um, 120 * um
	// A rest as long as this in the right place is the heel.
	longRest = 10 * s
)

// bounds are the moments that cut an opening out of the signal, the level that it
// left and the one that it came home to.
type bounds struct {
	section, out, landed float64
	heel, home           float64
	real                 bool // a heel can have moved from the one to the other
}

type where uint8

const (
	seeking where = iota // no heel known
	home
	away
)

// track follows the signal under one assumption of which way the reading runs
// as the valve opens; its lengths grow as the valve opens.
type track struct {
	lim            limits
	pts            points
	keep           float64 // points from then on are needed still; infinite for none
	run            flat
	at             where
	heel           float64
	heelFrom       float64 // when the run that tells the heel began,
	heelSpan       float64 // and how long it was
	started, began bool    // began: nothing lower was seen since the start

	sure bool // the valve has come home to this heel, or was turned on it

	n       int // consecutive readings beyond a limit
	crossed float64
	section float64 // since when the heel before the present opening is watched
	out     float64 // when it left the heel
	top     float64 // highest over the heel in this opening
	topAt   float64
	largest float64 // of the settled openings

	landed  float64 // when the last settled opening came home; 0 before
	pending bool    // it has not been measured for good
	bounds  bounds  // of it
	guessed bool    // nothing but a rest spoke for the heel before it
	certain bool    // the opening under way is high enough for one
	low     flat    // the lowest rest since the nose
	hasLow  bool
	newest  float64 // when the newest run that makes up low began
	transit float64 // of this opening, found when first needed
	fell    fallen
}

// fallen is a heel that the signal has fallen from. Where it is back at once, as no
// valve is that has come home, those readings were misread together.
type fallen struct {
	heel, at float64 // when
	sure     bool
	readings int // since
	back     int // of the last, how many lie at that heel
	depth    float64
}

// Misread readings that go together are at most so many, in such a time.
const (
	mostTogether  = 10
	longestBefore = 1 * s
)

// misread says that the signal has come back to a heel that it had fallen from,
// and that what was between was no rest of a valve.
func (k *track) misread(p point) bool {
	f := &k.fell
	if f.readings++; f.readings > mostTogether+3 || p.t-f.at > longestBefore {
		f.readings = 0
		return false
	}
	f.depth = max(f.depth, f.heel-p.y)
	// A base that slips does not fall so far that the next flank starts from there.
	if d := p.y - f.heel; d < -k.lim.near || d > k.lim.near && f.depth < slipMost {
		f.back = 0
		return false
	}
	f.back++
	return f.back >= 2
}

func newTrack() track { return track{pts: points{most: livePoints}, keep: math.Inf(1)} }

// turn is what a reading has brought about.
type turn uint8

const (
	nothing turn = iota
	// homecoming: the opening has come home; settle ends it.
	homecoming
	// departure: the next opening is one for sure; depart forgets the last.
	departure
	// refutation: the last opening was none, for its heel was a rest on a flank.
	refutation
	// misreading: what looked like a lower heel was misread.
	misreading
)

// step takes the next reading.
func (k *track) step(p point) turn {
	k.run.see(p, k.lim.near)
	if !k.started { // the first reading of all may be the heel
		k.adopt()
		k.started, k.began = true, true
	}
	k.pts.add(p)
	if k.fell.readings > 0 && k.misread(p) {
		k.at, k.heel, k.sure, k.n, k.fell.readings = home, k.fell.heel, k.fell.sure, 0, 0
		if !k.pending {
			k.section = k.run.t0
		}
		return misreading
	}
	v := p.y - k.heel
	switch k.at {
	case seeking:
		if k.rests(leastRest) {
			return k.adopt()
		}
	case home:
		return k.stepHome(p, v)
	case away:
		return k.stepAway(p, v)
	}
	return nothing
}

// rests says whether the run is long enough to be a heel or a rest.
func (k *track) rests(least float64) bool {
	return k.run.n >= leastReadings && k.run.span() >= least || k.run.turned() >= heelTurned && k.run.n >= 2
}

// adopt takes the run as the heel.
func (k *track) adopt() turn {
	k.at, k.n = home, 0
	k.heelIs(&k.run)
	k.sure = k.run.turned() >= heelTurned/2
	what := nothing
	if k.pending && k.guessed && k.bounds.home-k.heel > slipMost {
		// The hand began on one flank and rested as high on the other.
		k.pending, what = false, refutation
	}
	if !k.pending { // else it is still needed
		k.section = k.run.t0
		k.pts.since(min(k.run.t0, k.keep))
	}
	return what
}

// heelIs takes the level of a run for the heel's.
func (k *track) heelIs(run *flat) {
	k.heel, k.heelFrom, k.heelSpan = run.level, run.t0, run.span()
}

// onRamp says whether the run lies higher than the heel and is shorter than the rest
// that told it: a slow hand on the ramp, where a heel that drifts would go on in one run.
func (k *track) onRamp() bool {
	return k.run.t0 != k.heelFrom && k.run.level > k.heel && k.run.span() < k.heelSpan
}

func (k *track) stepHome(p point, v float64) turn {
	switch {
	case v > k.lim.leave:
		if k.n <= 0 {
			k.n, k.crossed = 0, p.t
		}
		if k.n++; k.n >= 2 {
			k.leaveHeel(k.crossed, v)
		}
		return nothing
	case v < -k.lim.leave:
		if k.n--; k.n <= -2 {
			k.fell = fallen{heel: k.heel, at: p.t, sure: k.sure, readings: 2, depth: -v}
			k.at, k.n, k.began = seeking, 0, false
			if k.rests(leastRest) {
				return k.adopt()
			}
		}
		return nothing
	}
	k.n = 0
	if k.rests(leastRest) && k.run.level-k.heel <= k.lim.same && !k.onRamp() {
		// The heel is the lowest rest, and the newest: it drifts. A rest that is
		// higher lies at the foot of a flank.
		k.heelIs(&k.run)
		k.sure = k.sure || k.run.turned() >= heelTurned/2
	}
	return nothing
}

// leaveHeel begins an opening, or a touch, at t.
func (k *track) leaveHeel(t, v float64) {
	k.at, k.n, k.out, k.top, k.topAt = away, 0, t, v, t
	k.hasLow, k.transit, k.certain = false, 0, false
}

func (k *track) stepAway(p point, v float64) turn {
	if v > k.top {
		k.top, k.topAt, k.hasLow, k.transit = v, p.t, false, 0
	}
	if k.top < max(k.lim.least, newShare*k.largest) {
		k.touch(v)
		return nothing
	}
	if !k.certain {
		k.certain = true
		return departure
	}
	if v > lowShare*k.top {
		if k.hasLow && p.y-k.low.level > newShare*k.top && k.wasHome() {
			return homecoming // and this is the next opening
		}
		if k.run.turned() > surelyHeel {
			k.low, k.hasLow, k.newest = k.run, true, k.run.t0
			return homecoming // wherever it lies: something slipped far
		}
		return nothing
	}
	if k.rests(leastRest) && (!k.hasLow || k.run.t0 == k.newest || k.run.level < k.low.level+k.lim.near) {
		since := k.run.t0
		if k.hasLow && math.Abs(k.low.level-k.run.level) <= k.lim.near {
			since = k.low.t0
		}
		k.low, k.hasLow, k.newest = k.run, true, k.run.t0
		k.low.t0 = since
		if k.isHome() {
			return homecoming
		}
	}
	return nothing
}

// depart forgets the opening before the one under way.
func (k *track) depart() {
	if k.landed > k.section {
		k.section = k.landed
	}
	k.pts.since(min(k.section, k.keep))
	k.pending = false
}

// touch ends an excursion that was no opening: a turn of the hand at the foot
// of a flank. One that does not come back, because the heel has moved up or
// the hand rests there, stays a part of the opening that follows.
func (k *track) touch(v float64) {
	if v > k.lim.leave {
		k.n = 0
		return
	}
	if k.n++; k.n >= 2 {
		k.at, k.n = home, 0
	}
}

// isHome says whether the low rest is the heel. Whether it really was is
// certain only when the next opening begins from it.
func (k *track) isHome() bool {
	if k.run.turned() >= heelTurned {
		return true
	}
	shift := k.run.level - k.heel
	if math.Abs(shift) <= k.lim.same {
		if k.sure {
			return true
		}
		return k.run.span() >= max(300*ms, 0.8*k.flankTime())
	}
	return k.run.span() >= longRest && shift < k.lim.leave
}

// wasHome says whether the low rest that the valve has risen from was the
// heel.
func (k *track) wasHome() bool {
	if math.Abs(k.low.level-k.heel) <= k.lim.same {
		return true
	}
	if !math.IsNaN(k.low.a0) {
		return k.low.turned() >= heelTurned/2
	}
	return k.low.span() >= max(s, 2*k.flankTime())
}

// endsHome says whether the low rest that a trace ends on, higher than the heel before,
// can be a heel: the crank was turned on it or, where nobody knows, it lasts. A hand that
// stops on the flank to end the trace leaves the crank where it is.
func (k *track) endsHome() bool {
	if k.run.t0 > k.low.t1 && k.run.level-k.low.level > k.lim.near {
		return false // it was left again
	}
	if !math.IsNaN(k.low.a0) {
		return k.low.turned() >= heelTurned
	}
	return k.low.span() >= max(1.5*s, k.flankTime()) && k.low.level-k.heel <= slipMost
}

// settle files the opening and makes the low rest the heel. It returns false
// where the heel before turns out to have been none.
func (k *track) settle() bool {
	k.pending, k.guessed = true, !k.sure
	shift := k.low.level - k.heel
	real := math.Abs(shift) <= k.lim.same || k.sure && math.Abs(shift) <= k.slipShare()*k.top ||
		math.IsNaN(k.low.a0) && shift <= slipMost && shift >= -k.mostFall()
	k.bounds = bounds{k.section, k.out, k.low.t0, k.heel, k.low.level, real}
	k.heelIs(&k.low)
	k.landed = k.low.t0
	k.sure, k.at, k.n = true, home, 0
	if real {
		k.largest = max(k.largest, k.top)
	}
	return real
}

// slipShare returns by which share of its max lift the heel of a valve that
// was seen at home may have moved. Without an encoder a low rest looks the same.
func (k *track) slipShare() float64 {
	if math.IsNaN(k.low.a0) {
		return lowShare / 2
	}
	return lowShare
}

// mostFall returns how much lower than the heel before the heel after may be.
func (k *track) mostFall() float64 {
	if k.out-k.section >= max(1.5*s, 1.2*k.flankTime()) {
		return slipMost
	}
	return footMost
}

// flankTime returns how long the flanks of this opening take from a tenth to
// nine tenths of the lift, rests not counted.
func (k *track) flankTime() float64 {
	if k.transit == 0 {
		k.transit = flankTime(k.pts.between(k.out, math.Inf(1)), k.heel, k.top)
	}
	return k.transit
}

// flankTime spreads the time between neighbours over sixteen bands of lift,
// eight a flank. A rest fills one band and is left out with the median.
func flankTime(p []point, heel, top float64) float64 {
	var band [8]float64
	last := 0.0
	for i := range p {
		lo, hi := last, (p[i].y-heel)/top
		last = hi
		if i == 0 || max(lo, hi) < 0.1 || min(lo, hi) > 0.9 {
			continue
		}
		if lo > hi {
			lo, hi = hi, lo
		}
		dt := p[i].t - p[i-1].t
		for b := max(int(10*lo)-1, 0); b < len(band); b++ {
			from, to := 0.1+0.1*float64(b), 0.2+0.1*float64(b)
			if lo > to {
				continue
			}
			if hi < from {
				break
			}
			if hi-lo < 1e-9 {
				band[b] += dt
				continue
			}
			band[b] += dt * (min(hi, to) - max(lo, from)) / (hi - lo)
		}
	}
	return 8 * median8(band) / 2
}

func median8(b [8]float64) float64 {
	for i := 1; i < len(b); i++ {
		for j := i; j > 0 && b[j] < b[j-1]; j-- {
			b[j], b[j-1] = b[j-1], b[j]
		}
	}
	return (b[3] + b[4]) / 2
}
