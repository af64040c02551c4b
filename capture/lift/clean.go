package lift

import (
	"math"
)

// thawed returns p without the readings in which the indicator repeated itself
// while the valve moved.
func (e surroundings) thawed(p []point) []point {
	if !e.thaws(p) {
		return p
	}
	kept := make([]point, 0, len(p))
	for _, q := range p {
		if !e.repeats(q.t) {
			kept = append(kept, q)
		}
	}
	return kept
}

// thaws says whether some readings of p were such repeats.
func (e surroundings) thaws(p []point) bool {
	if len(p) == 0 {
		return false
	}
	for _, f := range e.frozen {
		if float64(f.Until) >= p[0].t && float64(f.From) < p[len(p)-1].t {
			return true
		}
	}
	return false
}

func (e surroundings) repeats(t float64) bool {
	for _, f := range e.frozen {
		if t > float64(f.From) && t <= float64(f.Until) {
			return true
		}
	}
	return false
}

const (
	// A reading is off the line of its neighbours where it lies off it by so
	// many times what these lines differ by among themselves.
	offTimes = 3.0
	// and by so many counts and standard deviations of the noise.
	offCounts, offNoise = 4.0, 7.0
	// The play in an encoder's drive, degrees, and how far the hand may have gone
	// back and on between two readings where there is none: see package sift.
	drivePlay    = 0.5
	unevenStamps = 0.4              // of the usual interval: such readings come in bunches
	turnsBack    = 700e6 / 1e12 / 8 // nm a microsecond squared, times T²
)

// cleaned returns p without single readings that lie off the line of the
// readings around them, and those. The sift has seen the great ones as they
// came; here the readings behind are known, and the lobe: near the nose, where
// no hand moves the valve by much, small ones show too.
func (e surroundings) cleaned(p []point) (kept, off []point) {
	if len(p) < 9 {
		return p, nil
	}
	top := supported(p)
	foot := math.Min(p[0].y, p[len(p)-1].y)
	least := offCounts*max(e.step, 100) + offNoise*e.noise
	var drop []int
	for i := 2; i < len(p)-2; i++ {
		// Most readings lie near their neighbours, or between them.
		to, from := p[i].y-p[i-1].y, p[i+1].y-p[i].y
		if math.Abs(to) < least || math.Abs(from) < least || to*from >= 0 {
			continue
		}
		if len(drop) > 0 && i-drop[len(drop)-1] <= 2 || p[i].w > 1 {
			continue
		}
		if e.isOff(p[i-2:i+3], top, top-foot, least) {
			drop = append(drop, i)
		}
	}
	if len(drop) == 0 {
		return p, nil
	}
	kept = make([]point, 0, len(p))
	for i, q := range p {
		if len(drop) > 0 && drop[0] == i {
			drop, off = drop[1:], append(off, q)
			continue
		}
		kept = append(kept, q)
	}
	return kept, off
}

// supported returns the height that a second reading beside it bears out.
func supported(p []point) float64 {
	top := math.Inf(-1)
	for i := 1; i < len(p); i++ {
		if p[i].y > top && p[i-1].y > top {
			top = min(p[i-1].y, p[i].y)
		}
	}
	return top
}

// isOff judges the middle of five readings by the lines through the others.
func (e surroundings) isOff(p []point, top, height, least float64) bool {
	x := func(i int) float64 { return p[i].t }
	angles := true
	way := p[4].a - p[0].a
	for i := 1; i < 5; i++ {
		if !((p[i].a-p[i-1].a)*way > 0) { // or there is none
			angles = false
		}
	}
	if angles {
		x = func(i int) float64 { return p[i].a }
	}
	line := func(i, j int) float64 {
		return p[i].y + (p[j].y-p[i].y)*(x(2)-x(i))/(x(j)-x(i))
	}
	for i := 1; i < 5; i++ {
		if x(i) == x(i-1) {
			return false
		}
	}
	lines := [4]float64{line(1, 3), line(0, 4), line(0, 3), line(1, 4)}
	lo, hi := lines[0], lines[0]
	for _, v := range lines[1:] {
		lo, hi = min(lo, v), max(hi, v)
	}
	off := max(p[2].y-hi, lo-p[2].y)
	allowed := offTimes*(hi-lo) + least
	if angles {
		allowed += drivePlay * math.Abs((p[4].y-p[0].y)/way)
	} else if q := e.stream; q.uneven > unevenStamps*q.typical {
		return false // when each was taken nobody knows
	} else if T := p[3].t - p[1].t; height > 0 {
		// The crank moves the valve by less the nearer it is to the nose, where the
		// lift falls with the square of the angle: as the root of the depth.
		depth := min(max(top-lines[0], 0)/height, 1)
		allowed += turnsBack * T * T * min(2*math.Sqrt(depth), 1)
	}
	return off > allowed
}

const (
	// A port may hold what comes for longer than this, microseconds, and then hand it
	// over in one go.
	heldBack = 60 * ms
	inOneGo  = 0.3 // of the usual interval
	// and the crank hardly turns meanwhile, of what it did before.
	inOneAngle = 0.1
)

// onTime returns a view without the readings that a port has handed over in one
// go: when they were taken nobody knows. Together: only where their lifts are older
// than their angles.
func (e surroundings) onTime(v *view, together bool) *view {
	usual := e.stream.typical
	late := func(i int) bool { return v.p[i].t-v.p[i-1].t > max(heldBack, 3*usual) }
	bunch := func(i int) bool { return v.p[i].t-v.p[i-1].t < inOneGo*usual }
	var drop []bool
	for i := 1; i < len(v.p)-1; i++ {
		if !late(i) || !bunch(i+1) {
			continue
		}
		end := i + 1
		for end < len(v.p) && bunch(end) {
			end++
		}
		if m := max((i+end-1)/2, i+1); together && (math.Abs(v.p[m].a-v.p[i].a) > inOneAngle*math.Abs(v.p[i].a-v.p[i-1].a) ||
			math.Abs(v.p[m].y-v.p[i].y) < math.Abs(v.p[i].y-v.p[i-1].y)) {
			continue // the angles were held as well, or the crank stood
		}
		if drop == nil {
			drop = make([]bool, len(v.p))
		}
		for k := i; k < end; k++ {
			drop[k] = true
		}
	}
	if drop == nil {
		return v
	}
	kept := *v
	kept.p, kept.y = nil, nil
	for i, out := range drop {
		if !out {
			kept.p, kept.y = append(kept.p, v.p[i]), append(kept.y, v.y[i])
		}
	}
	return &kept
}

// A figure that stays for so many readings on a flank, while the crank goes on by
// what moves the valve so many times as far, is an old one.
const (
	staysFor, staysTimes = 3, 4.0
	flankLow, flankHigh  = 0.2, 0.8 // of the lift
)

// moving returns a view without the readings on its flanks in which the indicator
// repeated itself while the crank went on.
// It has repeated itself where it stays within near.
func (v *view) moving(near float64) *view {
	turned := math.Abs(v.p[len(v.p)-1].a - v.p[0].a)
	if turned == 0 {
		return v
	}
	slope := v.height / turned // a flank is steeper by far
	var kept *view
	for i := 0; i < len(v.p); {
		k := i + 1
		for k < len(v.p) && math.Abs(v.p[k].y-v.p[i].y) <= near {
			k++
		}
		old := k-i >= staysFor && v.y[i] > flankLow*v.height && v.y[i] < flankHigh*v.height &&
			math.Abs(v.p[k-1].a-v.p[i].a)*slope > staysTimes*near
		if old && kept == nil {
			w := *v
			w.p, w.y = append([]point(nil), v.p[:i]...), append([]float64(nil), v.y[:i]...)
			kept = &w
		}
		if old {
			kept.p, kept.y = append(kept.p, v.p[i]), append(kept.y, v.y[i])
		} else if kept != nil {
			kept.p, kept.y = append(kept.p, v.p[i:k]...), append(kept.y, v.y[i:k]...)
		}
		i = k
	}
	if kept != nil {
		return kept
	}
	return v
}
