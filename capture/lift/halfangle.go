package lift

import (
	"math"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/lobe"
	"lobescribe/device/measure"
)

// The crank angle at half lift, and what its uncertainty is made of.

// crossed is what the uncertainty of a half-lift angle is made of.
type crossed struct {
	u     float64 // of the crossing itself, degrees
	speed float64 // of the crank there, degrees a second
	steep float64 // of the lift there, nanometres a degree
	off   float64 // taken off for lift that comes late, degrees
	late  float64 // standard uncertainty of that
}

// near half lift, in max lifts: whose readings say what the crank did there.
const nearHalf = 0.15

// speed returns how fast the crank went by half lift on a flank, degrees a
// second.
func (o *passed) speed(side int) float64 {
	var sum, n float64
	for _, r := range o.flanks {
		if r.side == side && math.Abs(r.y) < nearHalf {
			sum, n = sum+math.Abs(r.w), n+1
		}
	}
	return sum / max(n, 1)
}

// steepness returns by how much lift changes there with each degree, in max
// lifts; 0 where too few readings say.
func (o *passed) steepness(side int) float64 {
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

// late returns by how much the angles at half lift are too great where lift
// comes lag seconds later.
func (o *passed) late(side int, lag float64) float64 {
	var sum, n float64
	for _, r := range o.flanks {
		if w := 1 - math.Abs(r.y)/nearHalf; r.side == side && w > 0 {
			sum, n = sum+w*r.w*lag, n+w
		}
	}
	if n == 0 {
		return lag * o.speed(side)
	}
	return sum / n
}

// crosses returns the crank angle at which a flank passes a lift, and its standard
// uncertainty: side is -1 for angles below the nose's and +1 for those above.
func (v *view) crosses(side, lift float64) (at, u float64) {
	var a, y []float64
	for i, p := range v.p {
		if (p.a-v.noseA)*side > 0 {
			a, y = append(a, p.a), append(y, v.y[i]-lift)
		}
	}
	return lobe.Crossing(a, y, v.height)
}

// mostAngleU is the widest that an angle's uncertainty is stated, degrees: nothing is known.
const mostAngleU = 90

// state states a half-lift angle for lift that comes later than the angle by lag
// seconds, known to u.
func (m *measured) state(side int, lag, u float64) {
	c, x := m.half(side), &m.crossing[side]
	if c.Angle == nil {
		return
	}
	off := 0.0
	if lag != 0 {
		off = m.passed.late(side, lag)
	}
	*c.Angle -= measure.FromDegrees(m.way * (off - x.off))
	x.off, x.late = off, u*x.speed
	// Half lift is known to half of what max lift is.
	height := 0.0
	if x.steep > 0 {
		height = gum.Root(m.own, m.common) / 2 / x.steep
	}
	c.AngleU = angle(min(2*gum.Root(x.u, x.late, height), mostAngleU))
}
