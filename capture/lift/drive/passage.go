package drive

import (
	"math"
	"slices"

	"lobescribe/capture/lift/lobe"
)

// reading is a reading on a flank as the fit of the drive takes it.
type reading struct {
	side    int     // 0 the opening flank, 1 the closing one
	y, a, w float64 // lift over half lift in max lifts; degrees forward; degrees a second
	t       float64 // seconds
}

// Passage is an opening, or a flank of one, as the fit takes it: readings on its flanks,
// and the way the crank went, by time.
type Passage struct {
	Lift  float64 // max lift, nanometres
	Part  bool    // it is one flank, or a part of one
	Stood float64 // when the crank stood while the valve moved, seconds; 0 for never

	flanks []reading
	backs  [][]reading // readings on its flanks where the crank went back, by stroke
	t, a   []float64   // seconds, degrees forward: see crank
	count  float64     // the least step of the readings' angles, degrees
	every  float64     // from one reading to the next, seconds
	nose   float64     // seconds from when the valve opened to the nose
}

// Tells says whether readings enough lie on its flanks to say something of the drive.
func (o *Passage) Tells() bool { return len(o.flanks) >= LeastOnFlank }

// Begins returns when it begins, seconds.
func (o *Passage) Begins() float64 { return o.t[0] }

// at returns the angle at a time, between the readings on a straight line.
func (o *Passage) at(t float64) float64 {
	i, end := 0, len(o.t) // the first no earlier; slices.BinarySearch minds NaN, and takes twice as long
	for i < end {
		if mid := (i + end) / 2; o.t[mid] < t {
			i = mid + 1
		} else {
			end = mid
		}
	}
	switch {
	case i == 0:
		return o.a[0]
	case i == len(o.t):
		return o.a[i-1]
	}
	if d := o.t[i] - o.t[i-1]; d > 0 {
		return o.a[i-1] + (o.a[i]-o.a[i-1])*(t-o.t[i-1])/d
	}
	return o.a[i]
}

// mostPath bounds the readings of an opening's way of the crank.
const mostPath = 4000

// speedOver is the time over which the crank's speed is taken, seconds: a
// coarse encoder counts only a few times in less.
const speedOver = 0.06

// Readings is a passage over the lobe, as [Take] samples it.
type Readings struct {
	T, A, Y []float64 // microseconds, degrees, lift over the heel
	Lift    float64   // max lift
	Way     float64   // +1 or -1: which way the angle counts as the engine turns
	NoseAt  float64   // when the nose was passed
	NoseA   float64   // and at which angle
}

// Take samples the flanks of a passage where the crank goes forward into what it has not
// passed, and the way of the crank.
func Take(v *Readings) *Passage {
	lift, way, n := v.Lift, v.Way, len(v.T)
	o := &Passage{Lift: lift, nose: (v.NoseAt - v.T[0]) / s}
	o.count, o.every = lobe.Count(v.A), (v.T[n-1]-v.T[0])/float64(n-1)/s
	o.t, o.a = v.crank(o.count)
	o.flanks = make([]reading, 0, n/3)
	far := math.Inf(-1)
	half := lift / 2
	resumed, turned, since, farAt := far, far, far, far
	for i := 1; i < len(v.T)-1; i++ {
		a := v.A[i] * way
		if a < far-1e-9 {
			resumed, since = far+leastForward, math.Inf(1)
		}
		if a > far { // a stroke back begins below
			far, turned, farAt = a, a, v.T[i]/s
		}
		y := (v.Y[i] - half) / lift
		r := reading{y: y, a: a, t: v.T[i] / s}
		if a > v.NoseA*way {
			r.side = 1
		}
		if a < turned { // still going back
			if turned > far-leastForward && a <= far-leastForward { // more than a hand trembles
				o.backs = append(o.backs, nil)
				o.flanks = before(o.flanks, turnedAt(o.flanks, farAt-portLate)-speedOver)
			}
			turned = a
			if far-a > slackBack && math.Abs(y) < backShare {
				last := len(o.backs) - 1
				o.backs[last] = append(o.backs[last], r)
			}
		}
		if a < resumed {
			continue
		}
		if since = min(since, r.t); r.t < since+speedOver/2 || math.Abs(y) > FlankShare {
			continue // the lift may still be of before
		}
		o.flanks = append(o.flanks, r)
	}
	o.Stood = v.stood(stoodMoved + LobeSlope*o.count)
	o.backs = slices.DeleteFunc(o.backs, func(b []reading) bool { return len(b) < leastBackward })
	if stride := 1 + len(o.flanks)/(2*mostDriven); stride > 1 {
		kept := make([]reading, 0, 2*mostDriven)
		for i := 0; i < len(o.flanks); i += stride {
			kept = append(kept, o.flanks[i])
		}
		o.flanks = kept
	}
	for i := range o.flanks {
		o.flanks[i].w = o.speedAt(o.flanks[i].t)
	}
	return o
}

// crank returns the way of the crank. Where it goes by few counts from one reading to
// the next, these are off by up to a count, and a line between two of them by less: a fit
// would take the delay that smooths them best. There it is known best where it passed
// from one count to the next, in the middle between the two readings, and goes on evenly
// from one such place to the other, but for a rest.
func (v *Readings) crank(count float64) (t, a []float64) {
	n, way := len(v.T), v.Way
	t, a = make([]float64, 0, n), make([]float64, 0, n)
	rest := max(restsAfter*s, 4*(v.T[n-1]-v.T[0])/float64(n-1))
	add := func(at, angle float64) { t, a = append(t, at/s), append(a, angle*way) }
	add(v.T[0], v.A[0])
	since := v.T[0]
	for i := 1; i < n; i++ {
		pt, pa, qt, qa := v.T[i-1], v.A[i-1], v.T[i], v.A[i]
		at := (pt + qt) / 2
		switch d := math.Abs(qa - pa); {
		case d == 0:
		case d > fewCounts*count:
			if at-since > rest {
				add(min(since+rest/4, pt), pa)
			}
			if pt > since {
				add(pt, pa)
			}
			add(qt, qa)
			since = qt
		default:
			if at-since > rest {
				add(since+rest/4, pa)
				add(at-rest/4, pa)
			}
			add(at, (pa+qa)/2)
			since = at
		}
	}
	add(v.T[n-1], v.A[n-1])
	if stride := 1 + len(t)/mostPath; stride > 1 {
		kept := 0
		for i := 0; i < len(t); i += stride {
			t[kept], a[kept] = t[i], a[i]
			kept++
		}
		t, a = t[:kept], a[:kept]
	}
	return t, a
}

// restsAfter is how long a crank shows no other count that rests, seconds; fewCounts from
// one reading to the next are not much more than how far each is off.
const restsAfter, fewCounts = 0.15, 3.5

const (
	// A port that is late, or a gauge that averages, is done by then, seconds.
	stoodAfter = 0.3
	// So much of the max lift no valve moves by with its crank at rest, in so many
	// readings, none of which is a leap.
	stoodMoved, stoodReadings, stoodLeap = 0.08, 5, 0.5
	// LobeSlope is the share of its max lift by which no lobe moves a valve farther in a
	// degree: within a coarse count the crank seems to stand.
	LobeSlope = 0.025
)

// stood returns when the crank began to stand while the valve moved on, seconds; 0
// where it never did by more than such a share of its lift.
func (v *Readings) stood(least float64) float64 {
	from, after := 0, -1 // where the crank stopped; and the first reading long enough after
	leap := 0.0
	for i := range v.T {
		if math.Abs(v.A[i]-v.A[from]) > Still {
			from, after = i, -1
			continue
		}
		if after < 0 {
			if v.T[i]-v.T[from] > stoodAfter*s {
				after, leap = i, 0
			}
			continue
		}
		leap = max(leap, math.Abs(v.Y[i]-v.Y[i-1]))
		if moved := math.Abs(v.Y[i] - v.Y[after]); i-after >= stoodReadings && moved > least*v.Lift && leap < stoodLeap*moved {
			return v.T[from] / s
		}
	}
	return 0
}

// before returns the readings up to a time: what the hand does right after them has
// no part in their speed.
func before(flank []reading, t float64) []reading {
	n := len(flank)
	for n > 0 && flank[n-1].t > t {
		n--
	}
	return flank[:n]
}

// turnedAt returns when the valve turned back, of a flank whose crank did so after a
// time: with play between crank and encoder, or an encoder whose port is late, the
// valve does before the encoder.
func turnedAt(flank []reading, after float64) float64 {
	at, farthest := math.Inf(1), math.Inf(-1)
	for i := len(flank) - 1; i >= 0 && flank[i].t >= after; i-- {
		y := flank[i].y
		if flank[i].side == 1 {
			y = -y
		}
		if y > farthest {
			at, farthest = flank[i].t, y
		}
	}
	return at
}

// speedAt returns how fast the crank went at a time, degrees a second.
func (o *Passage) speedAt(t float64) float64 {
	from, to := max(t-speedOver, o.t[0]), min(t+speedOver, o.t[len(o.t)-1])
	return (o.at(to) - o.at(from)) / max(to-from, 1e-3)
}

// near half lift, in max lifts: whose readings say what the crank did there.
const nearHalf = 0.15

// Speed returns how fast the crank went by half lift on a flank, degrees a
// second.
func (o *Passage) Speed(side int) float64 {
	var sum, n float64
	for _, r := range o.flanks {
		if r.side == side && math.Abs(r.y) < nearHalf {
			sum, n = sum+math.Abs(r.w), n+1
		}
	}
	return sum / max(n, 1)
}

// Steepness returns by how much lift changes there with each degree, in max
// lifts; 0 where too few readings say.
func (o *Passage) Steepness(side int) float64 {
	var n, sa, sy, saa, say float64
	for _, r := range o.flanks {
		if r.side == side && math.Abs(r.y) < nearHalf {
			a := r.a - o.flanks[0].a
			n, sa, sy, saa, say = n+1, sa+a, sy+r.y, saa+a*a, say+a*r.y
		}
	}
	if d := saa - sa*sa/max(n, 1); n >= 3 && d > 0 {
		return math.Abs(say-sa*sy/n) / d
	}
	return 0
}

// Late returns by how much the angle at half lift, passed at a time in seconds, is too
// great where lift comes lag seconds later: how far the crank went in that time.
func (o *Passage) Late(side int, at, lag float64) float64 {
	var sum, n float64
	for _, r := range o.flanks {
		if w := 1 - math.Abs(r.y)/nearHalf; r.side == side && w > 0 {
			sum, n = sum+w*(o.at(r.t)-o.at(r.t-lag)), n+w
		}
	}
	if n == 0 { // a hand that had just started, or a spring that threw the cam on
		return o.at(at) - o.at(at-lag)
	}
	return sum / n
}

// LateU returns the standard uncertainty of that where the lag has one of u: there, and
// by the hand's speed all around.
func (o *Passage) LateU(side int, at, lag, u float64) float64 {
	is := o.at(at - lag)
	return max(math.Abs(o.at(at-lag-u)-is), math.Abs(o.at(at-lag+u)-is), u*o.Speed(side))
}

// LeastOnFlank readings on the flanks of an opening say something of the drive.
const LeastOnFlank = 6

// Still is by how many degrees at most a crank moves that stands still.
const Still = 0.3

// s is a second, in microseconds.
const s = 1e6
