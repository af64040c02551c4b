package rocker

import (
	"errors"
	"math"
)

// bench is a question's numbers as the formulas want them: millimetres and
// radians, with everything that was not measured filled in. Its fields are
// moved one by one to find out how much the answer depends on each.
type bench struct {
	a, b, bend float64
	byRatio    bool    // b follows from a
	ratio      float64 // then
	square     bool    // square at half lift already; else
	below      float64 // adjuster's end below the valve's end at half lift
	pad        float64 // radius of a pad whose touching point was measured; else 0
	touch      bool    // a is to that point, not to the pad's centre
	lift       float64 // valve lift, or the lobe's when byLobe
	byLobe     bool
	lash       float64
	rod        float64
	rodLean    float64
	lifterLean float64
	standLean  float64
}

// solution is what follows from a bench.
type solution struct {
	now, square        linkage
	lobe               float64 // the lobe's full lift
	lift, squareLift   float64 // valve lifts
	raise, rodLonger   float64
	sweep, squareSweep float64
}

var errHeight = errors.New("the adjuster's end cannot sit that far below the valve's end with these arms: check both and the sign")

// halfAngle returns theta from the height difference of the two ends: with
// both heights taken from the pivot,
//
//	-a sin theta - b sin(theta+gamma) = below
//
// whose left side is one sine, C sin(theta+phi), of C^2 = a^2 + b^2 + 2ab cos
// gamma.
func halfAngle(a, b, bend, below float64) (float64, error) {
	s, c := math.Sincos(bend)
	p, q := a+b*c, b*s
	sine := -below / math.Hypot(p, q)
	if !(math.Abs(sine) <= 0.95) {
		return 0, errHeight
	}
	return math.Asin(sine) - math.Atan2(q, p), nil
}

// centred takes what was measured where a pad touches to its centre of
// curvature, which stands one radius above that point: the height by the radius,
// and the arm d by d^2 = (a cos theta)^2 + (a sin theta + radius)^2 with theta
// that of half lift, where it was measured.
func (b bench) centred() (bench, error) {
	if b.pad <= 0 {
		return b, nil
	}
	c := b
	c.below += b.pad
	c.pad, c.touch = 0, false
	if !b.touch {
		return c, nil
	}
	theta := 0.0
	for range 100 { // theta moves a by a part in a thousand, a theta by less
		cos := b.pad * math.Cos(theta)
		if cos >= b.a {
			return c, errPad
		}
		a := math.Sqrt(b.a*b.a-cos*cos) - b.pad*math.Sin(theta)
		if b.byRatio {
			c.b = a / b.ratio
		}
		c.a = a
		if b.square {
			return c, nil
		}
		next, err := halfAngle(c.a, c.b, c.bend, c.below)
		if err != nil {
			return c, err
		}
		if math.Abs(next-theta) < 1e-15 {
			break
		}
		theta = next
	}
	return c, nil
}

var errPad = errors.New("a pad of that radius does not touch so near to the pivot: check tip_radius_mm and valve_arm_mm")

// solve works a bench out.
func solve(b bench) (solution, error) {
	var s solution
	b, err := b.centred()
	if err != nil {
		return s, err
	}
	half := 0.0
	if !b.square {
		if half, err = halfAngle(b.a, b.b, b.bend, b.below); err != nil {
			return s, err
		}
	}
	s.lift = b.lift
	if b.byLobe {
		// The lift that a lobe gives depends on where the pivot is, and the
		// height difference was measured at half of that lift.
		s.lift, err = increasing(func(lift float64) (float64, error) {
			_, lobe, err := place(b, half, lift)
			return lobe - b.lift, err
		}, 0, min(4*b.lift*b.a/b.b, 1.9*b.a))
		if err != nil {
			return s, err
		}
	}
	if s.now, s.lobe, err = place(b, half, s.lift); err != nil {
		return s, err
	}
	if s.square, s.squareLift, err = s.now.squared(s.lobe, b.standLean); err != nil {
		return s, err
	}
	s.raise = (s.square.pz - s.now.pz) / math.Cos(b.standLean)
	s.rodLonger = s.square.rod - s.now.rod
	if s.sweep, err = s.now.sweepOver(s.lift); err != nil {
		return s, err
	}
	s.squareSweep, err = s.square.sweepOver(s.squareLift)
	return s, err
}

// place is fromBench with the lobe's lift at the nose.
func place(b bench, half, lift float64) (linkage, float64, error) {
	l, err := fromBench(b, half, lift)
	if err != nil {
		return l, 0, err
	}
	nose, err := l.atLift(lift)
	if err != nil {
		return l, 0, err
	}
	lobe, err := l.lobe(nose)
	return l, lobe, err
}

// sweepOver is the sweep from the closed valve to a lift.
func (l linkage) sweepOver(lift float64) (float64, error) {
	closed, err := l.closed()
	if err != nil {
		return 0, err
	}
	nose, err := l.atLift(lift)
	if err != nil {
		return 0, err
	}
	return l.sweep(closed, nose), nil
}
