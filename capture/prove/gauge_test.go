package prove_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"lobescribe/device/measure"
)

// gauge is an indicator of the tests' own: nothing of it comes from package
// simulator or from the code that is tested. A spindle moves on a mass, a finger
// and a spring; what it shows goes through friction, averaging, refreshing,
// rounding and sending, each on a clock of a fifth of a millisecond.
type gauge struct {
	travel  float64 // mm between the stops
	sign    float64 // +1: the reading grows as the spindle goes in
	zero    float64 // what it shows hanging, mm
	step    float64 // mm
	rate    float64 // readings a second
	refresh float64 // seconds between new figures; 0: each reading is new
	lag     float64 // mean of what it averages over, s
	box     bool    // a mean of the last readings; else each mixed with the last
	play    float64 // between the directions, mm
	noise   float64 // mm
	pull    float64 // what drives the spindle out, m/s²

	misread float64 // of 1000 readings
	burst   int     // at most so many wrong ones together
	frozen  float64 // chance a second that it repeats itself for 0.15 to 0.8 s
	jitter  float64 // of the stamps, s
	sparse  bool    // it speaks only when its figure changes
	more    int     // snaps beyond three, where one may be lost to a trouble
}

func (g gauge) String() string {
	return fmt.Sprintf("travel %.2f sign %+.0f zero %.3f step %.5f rate %.0f refresh %.0f ms lag %.0f ms box %v play %.4f noise %.4f pull %.0f misread %.1f burst %d frozen %.2f jitter %.1f ms",
		g.travel, g.sign, g.zero, g.step, g.rate, 1000*g.refresh, 1000*g.lag, g.box, g.play, g.noise, g.pull, g.misread, g.burst, g.frozen, 1000*g.jitter)
}

const tick = 0.0002 // s

// person is what somebody does with the spindle: positions are how far it is in.
type person struct {
	rng *rand.Rand
	at  float64 // of the spindle, mm in
	p   []float64
}

// hold keeps the spindle where it is against a stop or the retainer.
func (h *person) hold(seconds float64) {
	for range int(seconds / tick) {
		h.p = append(h.p, h.at)
	}
}

// push moves it by hand, with the tremor of one.
func (h *person) push(to, seconds float64) {
	n, from := int(seconds/tick), h.at
	phase, shake := h.rng.Float64(), 0.02+0.03*h.rng.Float64()
	for i := range n {
		u := float64(i) / float64(n)
		s := u * u * u * (10 - 15*u + 6*u*u)
		tremor := shake * math.Sin(2*math.Pi*(9*float64(i)*tick+phase)) * math.Sin(math.Pi*u)
		h.p = append(h.p, from+(to-from)*s+tremor*min(1, math.Abs(to-from)))
	}
	h.at = to
}

// carry moves it as a retainer does, which a cam or a spring drives: it comes
// home from below and goes no further.
func (h *person) carry(to, seconds float64) {
	n, from := int(seconds/tick), h.at
	for i := range n {
		u := float64(i) / float64(n)
		h.p = append(h.p, from+(to-from)*u*u*(3-2*u))
	}
	h.at = to
}

// drop lets it go: it falls until it strikes what is at to, and bounces once.
func (h *person) drop(to, pull float64) {
	height := h.at - to
	for t := 0.0; ; t += tick {
		fell := pull * 1000 * t * t / 2
		if fell >= height {
			break
		}
		h.p = append(h.p, h.at-fell)
	}
	h.at = to
}

// proving is the whole of what a careful person does, with rests of about a
// second and a half.
func (g gauge) proving(seed uint64, otherSide bool) []float64 {
	rng := rand.New(rand.NewPCG(seed, 41))
	h := &person{rng: rng}
	rest := 1.9 + 0.4*rng.Float64() + 5*g.lag + 2*g.refresh
	h.hold(rest)
	h.push(g.travel, 0.6+0.6*rng.Float64())
	h.hold(rest)
	retainer := g.travel * (0.25 + 0.3*rng.Float64())
	h.push(retainer, 1)
	h.hold(rest)
	for range 3 + g.more {
		h.push(retainer+1.5+min(4, 0.5*g.travel-1.5)*rng.Float64(), 0.5+0.6*rng.Float64())
		if rng.IntN(2) == 0 {
			h.push(h.at-0.3*rng.Float64(), 0.2+0.3*rng.Float64()) // it wavers before it lets go
		}
		h.drop(retainer, g.pull)
		h.hold(rest)
	}
	if otherSide {
		h.carry(retainer-1.2, 0.7)
		h.carry(retainer, 0.7)
		h.hold(rest)
	}
	h.hold(1)
	return h.p
}

// show returns the readings of the gauge for a spindle that goes that way.
func (g gauge) show(way []float64, seed uint64) []measure.Reading {
	rng := rand.New(rand.NewPCG(seed, 42))
	// The play: what is shown follows once the spindle has gone through it.
	felt := make([]float64, len(way))
	q := way[0]
	for i, p := range way {
		q = min(max(q, p-g.play/2), p+g.play/2)
		felt[i] = q
	}
	averaged := felt
	if g.lag > 0 {
		averaged = make([]float64, len(felt))
		if g.box {
			n := int(2 * g.lag / tick)
			sum := float64(n) * felt[0]
			for i := range felt {
				sum += felt[i] - felt[max(0, i-n)]
				averaged[i] = sum / float64(n)
			}
		} else {
			y, a := felt[0], 1-math.Exp(-tick/g.lag)
			for i := range felt {
				y += a * (felt[i] - y)
				averaged[i] = y
			}
		}
	}
	var out []measure.Reading
	var shown, until, last float64
	spoil, renewed, off := 0, -1.0, 0.0
	renewPhase := rng.Float64() * g.refresh
	for t := rng.Float64() / g.rate; ; t += 1 / g.rate {
		i := int(t / tick)
		if i >= len(averaged) {
			return out
		}
		fresh := g.refresh == 0
		if !fresh {
			if k := math.Floor((t + renewPhase) / g.refresh); k != renewed {
				renewed, fresh = k, true
				i = max(0, int((k*g.refresh-renewPhase)/tick))
			}
		}
		if g.frozen > 0 && t > until && rng.Float64() < g.frozen/g.rate {
			until = t + 0.15 + 0.65*rng.Float64()
		}
		if fresh && t >= until {
			v := g.zero + g.sign*averaged[i] + g.noise*rng.NormFloat64()
			shown = math.Round(v/g.step) * g.step
		}
		v := shown
		if spoil == 0 && rng.Float64() < g.misread/1000 {
			spoil = 1
			if g.burst > 1 {
				spoil += rng.IntN(g.burst)
			}
			off = []float64{0.01, 0.1, 1, 10}[rng.IntN(4)] * float64(1+rng.IntN(8))
		}
		if spoil > 0 {
			spoil--
			v += off
		}
		if g.sparse && v == last && len(out) > 0 {
			continue
		}
		last = v
		at := t + g.jitter*rng.Float64()
		out = append(out, measure.Reading{At: measure.Stamp(at * 1e6), Lift: measure.FromMillimetres(v), Has: measure.HasLift})
	}
}
