package lift

import (
	"math"
	"slices"

	"lobescribe/capture/lift/lobe"
)

// What an opening tells of the drive: readings on its flanks, and the way of the crank.

// driven is a reading on a flank as the fit of the drive takes it.
type driven struct {
	side    int     // 0 the opening flank, 1 the closing one
	y, a, w float64 // lift over half lift in max lifts; degrees forward; degrees a second
	t       float64 // seconds
}

// passed is an opening as that fit takes it: readings on its flanks, and the way
// the crank went, by time.
type passed struct {
	flanks []driven
	backs  [][]driven // readings on its flanks where the crank went back, by stroke
	t, a   []float64  // seconds, degrees forward: see crank
	count  float64    // the least step of the readings' angles, degrees
	every  float64    // from one reading to the next, seconds
	lift   float64    // max lift, nanometres
	nose   float64    // seconds from when the valve opened to the nose
	part   bool       // it is one flank, or a part of one
	stood  float64    // when the crank stood while the valve moved, seconds; 0 for never
}

// at returns the angle at a time, between the readings on a straight line.
func (o *passed) at(t float64) float64 {
	i, _ := slices.BinarySearch(o.t, t)
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

// passes samples the flanks of an opening where the crank goes forward into what
// it has not passed, and the way of the crank.
func (v *view) passes(lift, way float64) *passed {
	o := &passed{lift: lift, nose: (v.noseAt - v.p[0].t) / s}
	o.count, o.every = v.count(), (v.p[len(v.p)-1].t-v.p[0].t)/float64(len(v.p)-1)/s
	o.t, o.a = v.crank(way, o.count)
	far := math.Inf(-1)
	half := lift / 2
	resumed, turned, since, farAt := far, far, far, far
	for i := 1; i < len(v.p)-1; i++ {
		a := v.p[i].a * way
		if a < far-1e-9 {
			resumed, since = far+leastForward, math.Inf(1)
		}
		if a > far { // a stroke back begins below
			far, turned, farAt = a, a, v.p[i].t/s
		}
		y := (v.y[i] - half) / lift
		r := driven{y: y, a: a, t: v.p[i].t / s}
		if a > v.noseA*way {
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
		if since = min(since, r.t); r.t < since+speedOver/2 || math.Abs(y) > drivenShare {
			continue // the lift may still be of before
		}
		o.flanks = append(o.flanks, r)
	}
	o.stood = v.stood(lift)
	o.backs = slices.DeleteFunc(o.backs, func(b []driven) bool { return len(b) < leastBackward })
	if stride := 1 + len(o.flanks)/(2*mostDriven); stride > 1 {
		kept := o.flanks[:0]
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
func (v *view) crank(way, count float64) (t, a []float64) {
	n := len(v.p)
	t, a = make([]float64, 0, n), make([]float64, 0, n)
	rest := max(restsAfter*s, 4*(v.p[n-1].t-v.p[0].t)/float64(n-1))
	add := func(at, angle float64) { t, a = append(t, at/s), append(a, angle*way) }
	add(v.p[0].t, v.p[0].a)
	since := v.p[0].t
	for i := 1; i < n; i++ {
		p, q := v.p[i-1], v.p[i]
		at := (p.t + q.t) / 2
		switch d := math.Abs(q.a - p.a); {
		case d == 0:
		case d > fewCounts*count:
			if at-since > rest {
				add(since+rest/4, p.a)
			}
			if p.t > since {
				add(p.t, p.a)
			}
			add(q.t, q.a)
			since = q.t
		default:
			if at-since > rest {
				add(since+rest/4, p.a)
				add(at-rest/4, p.a)
			}
			add(at, (p.a+q.a)/2)
			since = at
		}
	}
	add(v.p[n-1].t, v.p[n-1].a)
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

// count returns the least step of the angles, degrees.
func (v *view) count() float64 {
	a := make([]float64, len(v.p))
	for i, p := range v.p {
		a[i] = p.a
	}
	return lobe.Count(a)
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
)

// stood returns when the crank began to stand while the valve moved on, seconds; 0
// where it never did.
func (v *view) stood(lift float64) float64 {
	from, after := 0, -1 // where the crank stopped; and the first reading long enough after
	leap := 0.0
	for i := range v.p {
		if math.Abs(v.p[i].a-v.p[from].a) > stillDegrees {
			from, after = i, -1
			continue
		}
		if after < 0 {
			if v.p[i].t-v.p[from].t > stoodAfter*s {
				after, leap = i, 0
			}
			continue
		}
		leap = max(leap, math.Abs(v.y[i]-v.y[i-1]))
		if moved := math.Abs(v.y[i] - v.y[after]); i-after >= stoodReadings && moved > stoodMoved*lift && leap < stoodLeap*moved {
			return v.p[from].t / s
		}
	}
	return 0
}

// before returns the readings up to a time: what the hand does right after them has
// no part in their speed.
func before(flank []driven, t float64) []driven {
	n := len(flank)
	for n > 0 && flank[n-1].t > t {
		n--
	}
	return flank[:n]
}

// turnedAt returns when the valve turned back, of a flank whose crank did so after a
// time: with play between crank and encoder, or an encoder whose port is late, the
// valve does before the encoder.
func turnedAt(flank []driven, after float64) float64 {
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
func (o *passed) speedAt(t float64) float64 {
	from, to := max(t-speedOver, o.t[0]), min(t+speedOver, o.t[len(o.t)-1])
	return (o.at(to) - o.at(from)) / max(to-from, 1e-3)
}
