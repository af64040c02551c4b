package workshop

import (
	"math"
	"math/rand/v2"
)

const tick = 0.002 // seconds between the points of a path

// hand is somebody with a wrench: a torque with noise on an inertia, against
// friction and the valve's spring, in strokes.
type hand struct {
	speed      float64    // degrees a second that the hand wants
	heel       float64    // times as fast where nothing pushes back
	reach      [2]float64 // least and most degrees of a stroke
	grip       [2]float64 // seconds to take a new grip
	back       float64    // share of the strokes that end with a back-turn
	backBy     [2]float64 // degrees
	lag        float64    // seconds in which the hand gets what it wants
	noise      float64    // of the speed
	up, throw  float64    // spring: of the speed lost on the opening flank, won on the closing one
	jerk       float64    // how much too hard a stroke begins
	tremor     float64    // degrees while resting
	rests      []rest
	smooth     bool    // every stroke is a reach of least jerk
	begin, end float64 // seconds of rest at the ends
}

// rest is a stop on the way.
type rest struct{ at, seconds float64 }

func drawHand(r *rand.Rand) hand {
	h := hand{
		speed: stretched(r, 15, 110), heel: between(r, 1, 1.8),
		lag: between(r, 0.04, 0.2), noise: between(r, 0.02, 0.35),
		up: between(r, 0, 0.75), throw: between(r, 0, 1.2),
		jerk: between(r, 0, 1), begin: between(r, 0.6, 3), end: between(r, 1, 3),
	}
	if r.IntN(2) == 0 {
		h.tremor = between(r, 0, 0.25)
	}
	switch r.IntN(4) {
	case 0: // a long handle, hardly ever taken again
		h.reach, h.grip = [2]float64{150, 400}, [2]float64{0.2, 0.8}
		h.noise /= 2
	case 1: // a breaker bar: far reach, and away it goes past the nose
		h.reach, h.grip = [2]float64{50, 110}, [2]float64{0.3, 1.5}
		h.throw = min(between(r, 1, 3.5), max(200/h.speed-1, 0.3)) // no arm is faster
		h.back, h.backBy = 0.15, [2]float64{1, 6}
	default: // a ratchet
		h.reach, h.grip = [2]float64{14, 60}, [2]float64{0.12, 0.9}
		h.back, h.backBy = 1./3, [2]float64{1, 14}
	}
	return h
}

// reaching makes a hand move from rest to rest, as arms do that nothing hinders.
func (h hand) reaching(r *rand.Rand) hand {
	h.smooth = true
	h.reach = [][2]float64{{5, 30}, {8, 50}, {30, 90}, {50, 150}, {200, 500}}[r.IntN(5)]
	h.speed = stretched(r, 15, 200)
	h.grip = [2]float64{0.02, stretched(r, 0.05, 2)}
	h.throw, h.up = 0, 0
	return h
}

// leastJerk returns the way from one angle to another in reaches of minimum jerk
// (Flash and Hogan, The coordination of arm movements, Journal of Neuroscience 5, 1985,
// equation 3), fast at the most degrees a second: that is 1.875 times the mean.
func leastJerk(from, to, fast float64) []float64 {
	n := max(int(1.875*math.Abs(to-from)/fast/tick), 2)
	way := make([]float64, n)
	for i := range way {
		u := float64(i+1) / float64(n)
		way[i] = from + (to-from)*u*u*u*(10+u*(6*u-15))
	}
	return way
}

// path plays the hand from one angle to another, both along the way of turning
// and the nose of every 720 degrees at l.nose, and returns the angle at each tick.
func (h hand) path(r *rand.Rand, lift func(way float64) float64, most, from, to float64) []float64 {
	slope := func(p float64) float64 { return (lift(p+0.25) - lift(p-0.25)) / 0.5 / (most / 60) }
	var path []float64
	p, v, push := from, 0.0, 0.0
	rests := h.rests
	shake, stopping := 0.0, math.Exp(-tick/0.015)
	hold := func(seconds float64) {
		for range int(seconds / tick) {
			// A hand that lets go does not stop at once, and trembles.
			v *= stopping
			p += v * tick
			if h.tremor > 0 {
				shake += -shake*tick/0.2 + h.tremor*math.Sqrt(2*tick/0.2)*r.NormFloat64()
			}
			path = append(path, p+shake)
		}
	}
	// move goes on until it is there or past it.
	move := func(goal, wanted float64) {
		if h.smooth {
			way := leastJerk(p, goal, math.Abs(wanted))
			for _, at := range way {
				shake -= shake * tick / 0.1
				path = append(path, at+shake)
			}
			p, v = goal, 0
			return
		}
		for started, i := 0.0, 0; (goal-p)*wanted > 0 && i < 60_000; i++ {
			want := wanted
			if started < 0.12 {
				want *= 1 + h.jerk*(1-started/0.12)
			}
			started += tick
			g := slope(p)
			spring := 0.0
			switch {
			case wanted < 0: // hardly a turn at all: the spring is held
			case g > 0:
				spring = -h.up * min(g, 1) * wanted
			case g < 0:
				spring = h.throw * min(-g, 1) * wanted
			default:
				want *= h.heel
			}
			push += -push*tick/0.12 + h.noise*wanted*math.Sqrt(2*tick/0.12)*r.NormFloat64()
			v += (want + spring + push - v) * tick / h.lag
			if v*wanted < 0.05*wanted*wanted {
				v = 0.05 * wanted // friction holds what the hand does not
			}
			p += v * tick
			shake -= shake * tick / 0.1
			path = append(path, p+shake)
		}
	}
	hold(h.begin)
	for p < to {
		goal := p + between(r, h.reach[0], h.reach[1])
		stop := -1
		for i, s := range rests {
			if s.at > p && s.at < goal {
				goal, stop = s.at, i
				break
			}
		}
		move(min(goal, to), h.speed)
		if stop >= 0 {
			hold(rests[stop].seconds)
			rests = rests[stop+1:]
			continue
		}
		if p >= to {
			break
		}
		hold(between(r, h.grip[0], h.grip[1]))
		if r.Float64() < h.back {
			by := between(r, h.backBy[0], h.backBy[1])
			move(p-by, -between(r, 8, 60))
			hold(between(r, 0.05, 0.4))
		}
	}
	hold(h.end)
	return path
}
