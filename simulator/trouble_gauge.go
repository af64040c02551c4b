package simulator

import (
	"math"

	"lobescribe/device/measure"
)

// gaugeTroubles are the sizes of what goes wrong between valve and display.
type gaugeTroubles struct {
	over         float64 // seconds averaged over
	counts       float64 // that the spindle sticks by
	jumps        bool    // it lets go all at once
	drift, cools float64 // mm, seconds
	bleed, fill  float64 // mm a second, seconds
	out, phase   float64 // of the base circle: mm, degrees of the cam
	off          float64 // mm that the tip slides off by
	offAt, offTo float64 // seconds: when, and when somebody sets it back
	lifted, held float64 // mm that a finger lifts the spindle by, seconds it holds it
	liftedAt     float64 // seconds; before the session for never
	bumps        []bump
	frozen       []span // seconds
}

// bump is a movement of the stand that comes back: mm, seconds, times a second. A
// knock rings out, a vibration swells and goes.
type bump struct {
	at, by, last, hz float64
	knock            bool
}

func (b bump) after(t float64) float64 {
	u := t - b.at
	switch {
	case u < 0:
		return 0
	case !b.knock:
		if u > b.last {
			return 0
		}
		return b.by * math.Sin(2*math.Pi*b.hz*u) * math.Sin(math.Pi*u/b.last)
	}
	return b.by * math.Exp(-u/b.last) * math.Cos(2*math.Pi*b.hz*u) * min(u/0.01, 1)
}

// gaugeStep is the time between two looks of a spindle with a memory, in seconds.
const gaugeStep = 0.001

// spindle follows the valve through the gauge's troubles, in order of time.
type spindle struct {
	*troubles
	truth  *Truth
	hand   cursor
	step   float64 // mm a count
	t      float64 // of the last look, at most one step after the last reading
	sunk   float64 // of the lifter, mm
	stands float64 // where the spindle is, mm of the display
	mean   float64 // of the display
	past   []float64
	next   int
	shows  float64
	before float64 // what it showed a step earlier
	any    bool
	isOff  bool // the tip has left the valve
	offAs  float64
}

// newSpindle returns none where nothing goes wrong with it.
func (t *troubles) newSpindle(truth *Truth, resolution measure.Length) *spindle {
	for _, name := range []Trouble{Frozen, SlowGauge, Sticking, Knock, Vibration, WarmDrift, Bleeding, HeelRunsOut, TipOff, SpindleLifted} {
		if !t.has[name] {
			continue
		}
		s := &spindle{troubles: t, truth: truth, hand: cursor{p: truth.path}, step: resolution.Millimetres()}
		s.past = make([]float64, max(int(t.gauge.over/gaugeStep), 1))
		s.plan()
		return s
	}
	return nil
}

// plan draws the moments.
func (s *spindle) plan() {
	g, r := &s.gauge, s.when
	between := func(least, most float64) float64 { return least + (most-least)*r.Float64() }
	if s.has[Frozen] {
		for _, at := range s.moments(4+r.IntN(5), s.truth) {
			g.frozen = append(g.frozen, span{at, at + between(0.15, 0.8)})
		}
	}
	if s.has[Knock] {
		for _, at := range s.moments(1+r.IntN(3), s.truth) {
			g.bumps = append(g.bumps, bump{at, between(0.1, 1) * float64(1-2*r.IntN(2)), between(0.04, 0.2), between(3, 12), true})
		}
	}
	if s.has[TipOff] {
		g.offAt, g.offTo = s.moments(1, s.truth)[0], s.truth.End.Seconds()-1
	}
	if s.has[Vibration] {
		for _, at := range s.moments(2+r.IntN(4), s.truth) {
			g.bumps = append(g.bumps, bump{at, between(0.05, 0.5), between(0.1, 0.6), between(10, 40), false})
		}
	}
	g.liftedAt = -1
	if s.has[SpindleLifted] {
		long := g.held + upAndDown
		if at, ok := s.shut(long, s.truth); ok {
			g.liftedAt = at
		}
	}
}

// upAndDown is how long a finger takes to lift the spindle and to let it down, seconds.
const upAndDown = 0.4

// finger returns how far a finger has lifted the spindle at a time, mm.
func (g *gaugeTroubles) finger(t float64) float64 {
	u := t - g.liftedAt
	if g.liftedAt < 0 || u < 0 || u > g.held+upAndDown {
		return 0
	}
	rise := min(u/(upAndDown/2), (g.held+upAndDown-u)/(upAndDown/2), 1)
	return g.lifted * rise * rise * (3 - 2*rise)
}

// at returns what the display would show without steps, in millimetres, at a time
// not before the last one asked.
func (s *spindle) at(t float64) float64 {
	if !s.any {
		s.any, s.t = true, t
		s.stands = s.reach(t)
		s.mean, s.shows, s.before = s.stands, s.stands, s.stands
		for i := range s.past {
			s.past[i] = s.stands
		}
	}
	for s.t < t {
		s.t += gaugeStep
		s.before = s.shows
		s.move(s.reach(s.t))
	}
	return s.shows + (s.t-t)/gaugeStep*(s.before-s.shows)
}

// reach returns where the valve and the stand would have the display at once.
func (s *spindle) reach(t float64) float64 {
	crank := s.hand.at(t)
	lift := s.truth.train.lift(crank)
	g := &s.gauge
	if s.has[Bleeding] {
		if lift > 0 {
			s.sunk += g.bleed * gaugeStep
		} else {
			s.sunk -= s.sunk * gaugeStep / g.fill
		}
		lift = max(lift-s.sunk, 0)
	}
	d := s.truth.show
	x := d.at(t, lift)
	if s.has[HeelRunsOut] {
		x += d.sign * g.out / 2 * math.Cos(radians(crank/2+g.phase))
	}
	for _, b := range g.bumps {
		x += d.sign * b.after(t)
	}
	x += d.sign * g.finger(t)
	if s.has[WarmDrift] {
		x += g.drift * math.Exp(-t/g.cools)
	}
	return x
}

// move lets spindle and display follow, one look further.
func (s *spindle) move(x float64) {
	g := &s.gauge
	if s.has[TipOff] && s.t > g.offAt && s.t < g.offTo {
		if !s.isOff {
			s.isOff, s.offAs = true, s.shows+g.off
		}
		x = s.offAs
	}
	if s.has[Sticking] {
		by := g.counts * s.step
		switch d := x - s.stands; {
		case math.Abs(d) <= by:
			x = s.stands
		case !g.jumps:
			x -= math.Copysign(by, d)
		}
	}
	s.stands = x
	if s.has[SlowGauge] {
		s.mean += (x - s.past[s.next]) / float64(len(s.past))
		s.past[s.next] = x
		s.next = (s.next + 1) % len(s.past)
		x = s.mean
	}
	for _, f := range g.frozen {
		if s.t > f.least && s.t < f.most {
			return
		}
	}
	s.shows = x
}
