package simulator

import (
	"fmt"
	"math"

	"lobescribe/device/measure"
)

// Rocker turns lobe lift into the movement of the rocker's tip.
//
// With a ValveArm it is an exact planar linkage. The pivot is the origin, the
// valve stands to the right and moves along the vertical, the pushrod to the
// left. With the lever at theta (above zero: tip below the pivot),
//
//	tip  = ( a cos theta,          -a sin theta)
//	push = (-b cos(theta + gamma),  b sin(theta + gamma)),   b = a / Ratio
//
// and the pushrod is a rod of fixed length between push and the tappet, which
// rises along the vertical by the lobe lift. So theta is where two circles
// meet, in closed form; nothing is taken for small. Without a ValveArm the tip
// moves by Ratio times the lobe lift.
type Rocker struct {
	Ratio    float64        // a/b; 1.6; write 1 for a cam straight on the valve
	ValveArm measure.Length // a, pivot to tip; 0 for a plain ratio

	Bend measure.Angle // gamma, how far the arms are off a straight line

	// ClosedAngle is theta with the valve on its seat; by default the one at
	// which the lever is square to the valve at half of Ratio times the lobe
	// lift. Use Square to force zero.
	ClosedAngle measure.Angle
	Square      bool // theta is zero with the valve closed

	Pushrod measure.Length // length of the rod; 8 in
	// Lean is how far the rod stands off the vertical with the valve closed;
	// above zero the tappet's end is nearer to the pivot.
	Lean measure.Angle
}

func (r Rocker) withDefaults(lobe measure.Length) Rocker {
	r.Ratio = orDefault(r.Ratio, 1.6)
	r.Pushrod = orDefault(r.Pushrod, 8*measure.Inch)
	if r.ValveArm > 0 && r.ClosedAngle == 0 && !r.Square {
		s := r.Ratio * lobe.Millimetres() / 2 / r.ValveArm.Millimetres()
		r.ClosedAngle = fromDeg(-degrees(math.Asin(within(-1, 1, s))))
	}
	return r
}

func (r Rocker) check(lobe measure.Length) error {
	if r.Ratio <= 0 || math.IsNaN(r.Ratio) || math.IsInf(r.Ratio, 0) {
		return fmt.Errorf("rocker ratio %v: it must be above zero", r.Ratio)
	}
	if r.ValveArm == 0 {
		return nil
	}
	if r.ValveArm < 0 || r.Pushrod < 0 {
		return fmt.Errorf("rocker arm %v and pushrod %v: both must be above zero", r.ValveArm, r.Pushrod)
	}
	// The tip must go down all the way while the tappet goes up.
	before := math.Inf(-1)
	l := r.linkage()
	for i := range 101 {
		drop := l.drop(lobe.Millimetres() * float64(i) / 100)
		if math.IsNaN(drop) || drop <= before {
			return fmt.Errorf("rocker with an arm of %v, ratio %v and a bend of %v cannot follow a lobe of %v: it locks at %d %% of it", r.ValveArm, r.Ratio, r.Bend, lobe, i)
		}
		before = drop
	}
	return nil
}

// Tip returns how far the tip has gone down, in millimetres, at so many
// millimetres of lobe lift. For a lever, lobe is that of the highest lift and
// sets the default ClosedAngle.
func (r Rocker) Tip(lift, lobe measure.Length) float64 {
	l := r.withDefaults(lobe).linkage()
	return l.drop(lift.Millimetres())
}

// Raised returns the rocker on a stand that is higher by so much, with a pushrod
// that lets the valve close as before. lobe is the highest lobe lift, as in Tip.
func (r Rocker) Raised(by, lobe measure.Length) Rocker {
	r = r.withDefaults(lobe)
	sin := math.Sin(radians(r.ClosedAngle.Degrees())) + by.Millimetres()/r.ValveArm.Millimetres()
	r.ClosedAngle = fromDeg(degrees(math.Asin(within(-1, 1, sin))))
	r.Square = r.ClosedAngle == 0
	return r
}

// AdjusterBelow returns how much lower the pushrod's end of the lever stands than
// its tip, with the tip so far down from the seat. lobe is as in Tip.
func (r Rocker) AdjusterBelow(down, lobe measure.Length) measure.Length {
	l := r.withDefaults(lobe).linkage()
	theta := math.Asin(within(-1, 1, (down.Millimetres()+l.closedHeight)/l.a))
	_, tip := l.tip(theta)
	_, push := l.push(theta)
	return fromMM(tip - push)
}

// linkage is a Rocker in millimetres and radians.
type linkage struct {
	ratio        float64
	a, b         float64 // arms; a = 0 for a plain ratio
	bend         float64
	closed       float64 // theta on the seat
	tappetX      float64
	tappetZ      float64 // with the lobe on its heel
	rod          float64
	closedHeight float64 // a sin(closed)
}

func (r Rocker) linkage() linkage {
	l := linkage{
		ratio: r.Ratio, a: r.ValveArm.Millimetres(), bend: radians(r.Bend.Degrees()),
		closed: radians(r.ClosedAngle.Degrees()), rod: r.Pushrod.Millimetres(),
	}
	l.b = l.a / l.ratio
	l.closedHeight = l.a * math.Sin(l.closed)
	x, z := l.push(l.closed)
	sin, cos := math.Sincos(radians(r.Lean.Degrees()))
	l.tappetX, l.tappetZ = x+l.rod*sin, z-l.rod*cos
	return l
}

// tip returns the place of the tip with the lever at theta.
func (l *linkage) tip(theta float64) (x, z float64) {
	sin, cos := math.Sincos(theta)
	return l.a * cos, -l.a * sin
}

// push returns the place of the pushrod's upper end with the lever at theta.
func (l *linkage) push(theta float64) (x, z float64) {
	sin, cos := math.Sincos(theta + l.bend)
	return -l.b * cos, l.b * sin
}

// theta returns the lever's angle with the tappet raised by so much. The upper
// end lies b from the pivot and rod from the tappet: with D the distance
// between those two, the triangle's angle at the pivot is acos((b^2 + D^2 -
// rod^2)/(2 b D)), to be laid off from the tappet's direction on the side away
// from the valve. NaN where the circles do not meet.
func (l *linkage) theta(lobe float64) float64 {
	x, z := l.tappetX, l.tappetZ+lobe
	d := math.Hypot(x, z)
	inner := math.Acos((l.b*l.b + d*d - l.rod*l.rod) / (2 * l.b * d))
	// Angles here are counted as push counts them: from -x towards +z.
	toTappet := math.Atan2(z, -x)
	return toTappet + inner - l.bend
}

// drop returns how far the tip has gone down from its place on the seat.
func (l *linkage) drop(lobe float64) float64 {
	if l.a == 0 {
		return l.ratio * lobe
	}
	return l.a*math.Sin(l.theta(lobe)) - l.closedHeight
}
