package prove

import (
	"math"

	"lobescribe/device/measure"
)

// fall is one snap as the gauge showed it: from shortly before the spindle was
// let go until it stood still, as parts of the height it fell from.
type fall struct {
	height float64       // nanometres
	took   measure.Stamp // from three quarters to a tenth
	t      []float64
	f      []float64 // 1 before, 0 at rest
	sigma  []float64
	drop   int     // the first reading that is below
	gap    float64 // seconds between the readings there
}

// lag is what the falls say together.
type lag struct {
	mean, u float64 // seconds; u expanded
	ok      bool
}

// A spindle falls as x = 1 - (t/T)², T = √(2 height / a), until it strikes. What
// drives it is not known: its weight and the friction against it at the least, a
// strong spring on a light spindle at the most. In metres a second squared.
var accelerations = [...]float64{6, 10, 16, 25, 40, 63, 100, 200}

const (
	leastLag, mostLag, lagRatio = 0.002, 0.9, 1.12
	fewestStarts, mostStarts    = 24, 160
	finest                      = 0.001 // seconds between instants that are tried
	mostMoving, mostResting     = 44, 8
	// shapeError is by how much a gauge's own law differs from both that are
	// fitted, stampError how far a stamp is off, in seconds.
	shapeError, stampError = 0.012, 0.0015
	// worst is where a misfit stops to count more: a misread digit.
	worst = 25
)

// fitLag fits the mean time L over which the gauge averages to the falls, to all
// one acceleration, one L, and one of two laws,
//
//	L y' + y = x                  (each reading mixed with the last)
//	y(t) = ∫ x over [t-2L, t] /2L (a mean of the last readings)
//
// For either, a spindle that moves steadily is shown L late. The instant of each
// fall is not known and is summed over, every one being as likely: or else a
// gauge without lag would be believed to have been read in mid-air each time. The
// ± is the range of L whose likelihood, at its best law and acceleration, is
// within exp(-2) of the most likely one's: k = 2.
func fitLag(falls []fall) lag {
	if len(falls) == 0 {
		return lag{}
	}
	lags := []float64{0}
	for l := leastLag; l < mostLag; l *= lagRatio {
		lags = append(lags, l)
	}
	cost, squares := make([]float64, len(lags)), make([]float64, len(lags))
	best, points := 0, 0
	for _, f := range falls {
		points += len(f.t)
	}
	try := func(i int) {
		cost[i], squares[i] = allFalls(falls, lags[i])
		if cost[i] < cost[best] {
			best = i
		}
	}
	const coarse = 4
	for i := range cost {
		cost[i] = math.Inf(1)
		if i%coarse == 0 {
			try(i)
		}
	}
	for i := range cost { // and closer where it may be
		if near := cost[best] + 80; i%coarse != 0 && min(cost[i-i%coarse], cost[min(i-i%coarse+coarse, len(cost)-1)]) < near {
			try(i)
		}
	}
	free := max(1, float64(points-len(falls)-2))
	level := cost[best] + 4*max(1, squares[best]/free)
	low, high := best, best
	for i := range lags {
		if cost[i] <= level {
			low, high = min(low, i), max(high, i)
		}
	}
	edge := func(in, out int) float64 {
		if out < 0 || out >= len(lags) || math.IsInf(cost[out], 1) {
			return lags[in]
		}
		return lags[in] + (lags[out]-lags[in])*(level-cost[in])/(cost[out]-cost[in])
	}
	from, to := edge(low, low-1), edge(high, high+1)
	mean := vertex(lags, cost, best)
	return lag{mean: mean, u: max(mean-from, to-mean), ok: to < mostLag}
}

// allFalls returns the least cost at a lag over all laws and accelerations, and
// the sum of squares there.
func allFalls(falls []fall, l float64) (cost, squares float64) {
	cost = math.Inf(1)
	for _, box := range []bool{false, true} {
		for _, a := range accelerations {
			sum, misfit := 0.0, 0.0
			for _, f := range falls {
				c, s := f.cost(l, a, box)
				sum += c
				misfit += s
			}
			if sum < cost {
				cost, squares = sum, misfit
			}
		}
	}
	return cost, squares
}

// vertex returns the place of the least cost between the neighbours of the best.
func vertex(x, cost []float64, i int) float64 {
	if i == 0 || i == len(x)-1 || math.IsInf(cost[i-1]+cost[i+1], 1) {
		return x[i]
	}
	// A parabola through three points that are not evenly apart.
	l, r := x[i]-x[i-1], x[i+1]-x[i]
	dl, dr := cost[i-1]-cost[i], cost[i+1]-cost[i]
	if d := dl*r + dr*l; d > 0 {
		return x[i] + (dl*r*r-dr*l*l)/(2*d)
	}
	return x[i]
}

// cost returns minus twice the logarithm of the likelihood, summed over the
// instants at which the spindle may have been let go, and the least sum of
// squares among these.
func (f fall) cost(l, a float64, box bool) (cost, least float64) {
	flight := math.Sqrt(2 * f.height * 1e-9 / a)
	last := f.t[f.drop]
	span := f.gap + flight + 0.8*l
	n := min(max(int(span/finest), fewestStarts), mostStarts)
	step := span / float64(n-1)
	least = math.Inf(1)
	sum := 0.0
	for i := range n {
		c := f.squares(last-float64(i)*step, l, flight, box, least+30)
		if c < least {
			if !math.IsInf(least, 1) {
				sum *= math.Exp((c - least) / 2)
			}
			least = c
		}
		sum += math.Exp((least - c) / 2)
	}
	return least - 2*math.Log(sum*step), least
}

func (f fall) squares(start, l, flight float64, box bool, enough float64) float64 {
	sum := 0.0
	for i, t := range f.t {
		y := 0.0
		if box {
			y = boxed(t-start, l, flight)
		} else {
			y = mixed(t-start, l, flight)
		}
		d := (f.f[i] - y) / f.sigma[i]
		sum += min(d*d, worst)
		if sum >= enough {
			return sum
		}
	}
	return sum
}

// falling is the spindle itself, u seconds after it was let go.
func falling(u, flight float64) float64 {
	switch {
	case u <= 0:
		return 1
	case u >= flight:
		return 0
	}
	return 1 - u*u/flight/flight
}

// mixed is what a gauge shows whose figure follows as L y' + y = x.
func mixed(u, l, flight float64) float64 {
	if l == 0 || u <= 0 {
		return falling(u, flight)
	}
	w, k := min(u, flight), 2*l*l/flight/flight
	y := 1 - (w*w-2*l*w)/flight/flight - k + k*math.Exp(-w/l)
	if u > flight {
		y *= math.Exp(-(u - flight) / l)
	}
	return y
}

// boxed is what a gauge shows that means over the last 2L.
func boxed(u, l, flight float64) float64 {
	if l == 0 {
		return falling(u, flight)
	}
	return (fallen(u, flight) - fallen(u-2*l, flight)) / (2 * l)
}

// fallen is the integral of falling from 0 to u.
func fallen(u, flight float64) float64 {
	switch {
	case u <= 0:
		return u
	case u >= flight:
		return 2 * flight / 3
	}
	return u - u*u*u/(3*flight*flight)
}

// newFall makes a fall of the readings of a snap, from the one at which the
// spindle was let go to its rest. ok is false where it was no fall.
func newFall(of []sample, from int, rest, step float64, period measure.Stamp, stale bool) (f fall, ok bool) {
	top := of[from].lift - rest
	f.height = math.Abs(top)
	if f.height == 0 || from == len(of)-1 {
		return f, false
	}
	part := func(s sample) float64 { return (s.lift - rest) / top }
	for stale && from > 0 && of[from-1].lift == of[from].lift {
		from-- // to where that figure was new
	}
	picked := pick(of[max(0, from-1):], of[from].at, part)
	stampU := stampError
	if stale {
		stampU = period.Seconds() / math.Sqrt(12) // it changed some time since the reading before
	}
	f.drop = -1
	for _, s := range picked {
		y := part(s)
		sigma := math.Hypot(shapeError, 0.5*step/f.height)
		if s.at <= of[from].at {
			sigma = math.Hypot(sigma, 0.02) // a hand held it
		} else if f.drop < 0 && y < 0.97 {
			f.drop = len(f.t)
			f.gap = (s.at - of[from].at).Seconds() - f.t[len(f.t)-1]
		}
		f.t = append(f.t, (s.at - of[from].at).Seconds())
		f.f = append(f.f, y)
		f.sigma = append(f.sigma, sigma)
	}
	if f.drop <= 0 {
		return f, false
	}
	for i := range f.t { // what a stamp that is off does to a steep reading
		a, b := max(0, i-1), min(len(f.t)-1, i+1)
		if d := f.t[b] - f.t[a]; d > 0 {
			f.sigma[i] = math.Hypot(f.sigma[i], (f.f[a]-f.f[b])/d*stampU)
		}
	}
	return f, true
}

// pick thins the readings of a fall: evenly while the figure falls, without those
// at which it stood still on the way, and a few of the rest.
func pick(of []sample, from measure.Stamp, part func(sample) float64) []sample {
	var moving, resting []sample
	end := 0
	for i, s := range of {
		if part(s) > 0.03 {
			end = i
		}
	}
	for i, s := range of {
		switch {
		case i > end:
			resting = append(resting, s)
		case i == 0 || s.at <= from || s.lift != of[i-1].lift:
			moving = append(moving, s)
		}
	}
	return append(thinned(moving, mostMoving), thinned(resting, mostResting)...)
}

// thinned returns at most n of them, evenly.
func thinned(of []sample, n int) []sample {
	stride := (len(of) + n - 1) / n
	if stride <= 1 {
		return of
	}
	var out []sample
	for i := 0; i < len(of); i += stride {
		out = append(out, of[i])
	}
	return out
}
