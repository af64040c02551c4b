package delay

import "math"

// Slack opens a loop of the same width however fast the engine is turned, and lag one
// that grows with the speed: so both are fitted together wherever slack is seen.

// Until so much was turned since the last change of direction, slack may be in the
// midst of being taken up, degrees.
const takenUp = 1.0

// settled returns the flank without the readings at which slack may not have been
// taken up yet.
func (f *flank) settled(lag float64) *flank {
	since := f.way.sinceTurned()
	g := *f
	g.t, g.y = nil, nil
	for i, t := range f.t {
		if since.at(t-lag) >= takenUp && math.Abs(f.way.speed(t-lag)) >= slowest {
			g.t, g.y = append(g.t, t), append(g.y, f.y[i])
		}
	}
	g.angle = make([]float64, len(g.t))
	return &g
}

// sinceTurned returns how far the crank was turned since it last changed direction,
// over time.
func (w *way) sinceTurned() *way {
	s := &way{t: w.t, a: make([]float64, len(w.t)), span: w.span}
	turning, extreme := 1.0, w.a[0] // the furthest point of this direction
	from := w.a[0]                  // where it began
	for i, a := range w.a {
		switch {
		case (a-extreme)*turning > 0:
			extreme = a
		case (extreme-a)*turning > leastTurn:
			turning, from, extreme = -turning, extreme, a
		}
		s.a[i] = math.Abs(a - from)
	}
	return s
}

// leastTurn is a change of direction that is more than an encoder's own trembling
// between two counts, degrees.
const leastTurn = 0.3

// apart fits lag and slack together, from a lag near the best. It is not ok where too
// few readings are left, or no slack is seen.
//
// The two are nearly the same to a hand that turns evenly, and what is not in the
// model (steps of the encoder, how slack is taken up) tips the balance. So what slack
// does to the lag is in the uncertainty, twice over, as far as slack leaves
// unexplained what a lag alone leaves.
func (f *flank) apart(lag float64) (fit, bool) {
	if len(f.t) < atLeast {
		return fit{}, false
	}
	alone, both := f.refine(lag, false), f.refine(lag, true)
	if !(math.Abs(both.slack) > max(leastSlack, both.slackU)) {
		return fit{}, false
	}
	unexplained := math.Min(both.squares/math.Max(alone.squares, math.SmallestNonzeroFloat64), 1)
	both.u = math.Hypot(both.u, 2*unexplained*(both.lag-alone.lag))
	return both, true
}
