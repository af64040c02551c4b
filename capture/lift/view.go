package lift

import "math"

// View is where the signal stands, for whoever shows it while it comes in.
// Lengths are nanometres.
type View struct {
	// Sign is which way the reading runs as the valve opens, as it is known or
	// looks; 0 while nothing has moved.
	Sign int
	// Heel is what the indicator shows on the heel; Lift and Top are above it:
	// now, and at the highest of the opening under way.
	Heel, Lift, Top float64
	// Open tells that the valve has left the heel and not come home; Since when, in
	// microseconds: one opening has one such moment, also where the hand turns back
	// in the middle of it.
	Open  bool
	Since float64
	// Step is the indicator's least step as far as it is known, else 0, and
	// Noise the standard deviation of a reading.
	Step, Noise float64
	// Settled tells that Sign is known and not only what it looks like. Sure
	// tells that Heel is one: the valve has come home to it, or was turned on it.
	// Lost tells that the reading has left the heel the wrong way, so that Heel
	// was none and the next is still to be found.
	Settled, Sure, Lost bool
	// Angle is the crank angle in degrees; NaN without an encoder.
	Angle float64
}

// View returns where the signal stands.
func (g *Segmenter) View() View {
	v := View{Step: float64(g.steps.Step()), Noise: g.noise.sd(), Angle: math.NaN()}
	k, sign := g.believed()
	if g.n == 0 || k == nil {
		return v
	}
	y := g.last.y * float64(sign)
	v.Sign, v.Heel, v.Lift = sign, g.stream.shown(k.heel*float64(sign), g.last.t), y-k.heel
	// A low rest no higher than slips go is a heel that has slipped.
	v.Open = k.at == away && v.Lift > k.lim.leave && !(k.hasLow && v.Lift <= min(k.low.level-k.heel+k.lim.near, slipMost))
	v.Settled, v.Sure, v.Lost, v.Angle = g.sign != 0, k.sure, k.at == seeking, g.last.a
	if k.at == away {
		v.Top, v.Since = k.top, k.out
	}
	return v
}

// believed returns the track of the known sign, or else of the one whose
// opening is higher.
func (g *Segmenter) believed() (*track, int) {
	switch {
	case g.sign == 1:
		return &g.tracks[0], 1
	case g.sign == -1:
		return &g.tracks[1], -1
	}
	best, sign := (*track)(nil), 0
	for i := range g.tracks {
		k := &g.tracks[i]
		if k.at == away && (best == nil || k.top > best.top) {
			best, sign = k, signOf(i)
		}
	}
	if best == nil {
		for i := range g.tracks {
			if k := &g.tracks[i]; k.at == home && k.largest > 0 && (best == nil || k.largest > best.largest) {
				best, sign = k, signOf(i)
			}
		}
	}
	return best, sign
}

// FlankTime returns how long a flank of the opening under way takes from a tenth
// to nine tenths of the lift, in microseconds, rests not counted: between half
// and all of it while only one flank has passed. It looks at every reading since
// the valve opened.
func (g *Segmenter) FlankTime() float64 {
	k, _ := g.believed()
	if k == nil || k.at != away || k.top <= 0 {
		return 0
	}
	return flankTime(k.pts.between(k.out, math.Inf(1)), k.heel, k.top)
}
