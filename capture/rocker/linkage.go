package rocker

import (
	"errors"
	"fmt"
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// linkage is one set-up in the frame of the package comment; lengths in
// millimetres, angles in radians. The lifter's cup is at (tx, tz) on the heel.
type linkage struct {
	a, b, bend float64
	px, pz     float64 // pivot
	rod        float64 // ball to cup
	tx, tz     float64
	lean       float64 // of the lifter's axis; its lower end towards the pivot
	lash       float64 // at the valve, on the heel
}

// errReach says that the parts cannot be put together.
var errReach = errors.New("the pushrod does not reach from lifter to adjuster: check pushrod_mm and its lean, pushrod_lean_deg")

// ball returns the adjuster's ball at theta.
func (l linkage) ball(theta float64) (x, z float64) {
	s, c := math.Sincos(theta + l.bend)
	return l.px - l.b*c, l.pz + l.b*s
}

// tip returns the tip's centre at theta.
func (l linkage) tip(theta float64) (x, z float64) {
	s, c := math.Sincos(theta)
	return l.px + l.a*c, l.pz - l.a*s
}

// cup returns the lifter's cup at a lobe lift.
func (l linkage) cup(lobe float64) (x, z float64) {
	s, c := math.Sincos(l.lean)
	return l.tx - lobe*s, l.tz + lobe*c
}

// closed returns theta where the tip touches the closed valve: its centre is
// at z = 0 there.
func (l linkage) closed() (float64, error) { return l.atLift(0) }

// heel returns theta with the lifter on the heel: the lash away from the valve.
func (l linkage) heel() (float64, error) { return l.atLift(-l.lash) }

// atLift returns theta at a valve lift.
func (l linkage) atLift(lift float64) (float64, error) {
	s := (l.pz + lift) / l.a
	if math.Abs(s) > 0.98 {
		return 0, fmt.Errorf("an arm of %s cannot swing %s off its right angle: check the arm (valve_arm_mm), the lift (lift_mm) and the height difference (adjuster_below_valve_mm)", inBoth(l.a), inBoth(math.Abs(l.pz+lift)))
	}
	return math.Asin(s), nil
}

// lift returns the valve lift at theta; below zero within the lash.
func (l linkage) lift(theta float64) float64 { return l.a*math.Sin(theta) - l.pz }

// lobe returns the lobe lift at theta: the cup is on the lifter's axis, one
// pushrod below the ball.
func (l linkage) lobe(theta float64) (float64, error) {
	x, z := l.ball(theta)
	s, c := math.Sincos(l.lean)
	wx, wz := x-l.tx, z-l.tz
	along, across := -wx*s+wz*c, wx*c+wz*s
	q := l.rod*l.rod - across*across
	if q <= 0 {
		return 0, errReach
	}
	return along - math.Sqrt(q), nil
}

// theta returns the rocker's angle at a lobe lift: the ball is where the
// circle of the adjuster's arm meets that of the pushrod, on the far side of
// the pivot from the valve.
func (l linkage) theta(lobe float64) (float64, error) {
	x, z := l.cup(lobe)
	dx, dz := x-l.px, z-l.pz
	d := math.Hypot(dx, dz)
	cos := (l.b*l.b + d*d - l.rod*l.rod) / (2 * l.b * d)
	if !(math.Abs(cos) < 1) {
		return 0, errReach
	}
	return math.Atan2(dz, -dx) + math.Acos(cos) - l.bend, nil
}

// ratio returns d(valve lift)/d(lobe lift) at theta.
func (l linkage) ratio(theta float64) (float64, error) {
	lobe, err := l.lobe(theta)
	if err != nil {
		return 0, err
	}
	bx, bz := l.ball(theta)
	tx, tz := l.cup(lobe)
	nx, nz := bx-tx, bz-tz // along the pushrod, upwards
	s, c := math.Sincos(theta + l.bend)
	ball := l.b * (nx*s + nz*c) // d(ball)/d(theta) along the pushrod
	ds, dc := math.Sincos(l.lean)
	cup := -nx*ds + nz*dc // d(cup)/d(lobe) along the pushrod
	if ball <= 0 || cup <= 0 {
		return 0, errors.New("the pushrod pushes past the adjuster's dead point: check its lean (pushrod_lean_deg) and the rocker's bend (bend_deg)")
	}
	return l.a * math.Cos(theta) * cup / ball, nil
}

// sweep returns how far the contact travels over the stem between two angles:
// x = a cos theta turns back where the rocker passes its right angle.
func (l linkage) sweep(from, to float64) float64 {
	first, last := l.a*math.Cos(from), l.a*math.Cos(to)
	far := max(first, last)
	if min(from, to) < 0 && max(from, to) > 0 {
		far = l.a
	}
	return far - min(first, last)
}

// fromBench places the pivot and the lifter from what is measured on the
// bench: theta at half lift, the valve lift, the pushrod's lean there.
func fromBench(b bench, half, lift float64) (linkage, error) {
	l := linkage{a: b.a, b: b.b, bend: b.bend, rod: b.rod, lean: b.lifterLean, lash: b.lash}
	l.pz = b.a*math.Sin(half) - lift/2
	heel, err := l.heel()
	if err != nil {
		return l, err
	}
	x, z := l.ball(half)
	s, c := math.Sincos(b.rodLean)
	l.tx, l.tz = x+b.rod*s, z-b.rod*c
	// The cup is now where it stands at half lift; take it down to the heel.
	lobe, err := l.lobe(heel)
	if err != nil {
		return l, err
	}
	l.tx, l.tz = l.cup(lobe)
	return l, nil
}

// squared returns the same parts with the pivot moved along the stand's axis
// and a pushrod of another length, so that the rocker is square to the valve at
// half lift; lobe is the lobe's full lift, which stays what it is, as does the
// lash. lift is the valve lift that comes of it.
func (l linkage) squared(lobe, standLean float64) (sq linkage, lift float64, err error) {
	sin, cos := math.Sincos(standLean)
	try := func(lift float64) (float64, error) {
		sq = l
		sq.pz = -lift / 2
		sq.px = l.px + (sq.pz-l.pz)*sin/cos
		heel, err := sq.heel()
		if err != nil {
			return 0, err
		}
		x, z := sq.ball(heel)
		sq.rod = math.Hypot(x-l.tx, z-l.tz)
		nose, err := sq.atLift(lift)
		if err != nil {
			return 0, err
		}
		got, err := sq.lobe(nose)
		return got - lobe, err
	}
	lift, err = increasing(try, 0, min(4*lobe*l.a/l.b, 1.9*l.a))
	if err != nil {
		return sq, 0, fmt.Errorf("no pivot height puts this rocker square at half lift: %w", err)
	}
	_, err = try(lift)
	return sq, lift, err
}

// errNoRoot says that an increasing function does not pass zero.
var errNoRoot = errors.New("the lobe's lift is out of the rocker's reach: check lift_mm or lobe_lift_mm, and the arms")

// increasing finds where the increasing function f is zero in [lo, hi], to the
// last bits, by false position with halving (the Illinois rule) kept inside a
// bracket. A place where the parts cannot be put together counts as too far.
func increasing(f func(float64) (float64, error), lo, hi float64) (float64, error) {
	flo, err := f(lo)
	if err != nil {
		return 0, err
	}
	if flo > 0 {
		return 0, errNoRoot
	}
	var fhi float64
	for range 60 {
		if fhi, err = f(hi); err == nil && fhi >= 0 {
			break
		}
		if err == nil {
			return 0, errNoRoot
		}
		mid := (lo + hi) / 2
		if v, err := f(mid); err == nil && v < 0 {
			lo, flo = mid, v
		} else {
			hi = mid
		}
	}
	if err != nil {
		return 0, err
	}
	side, x := 0, hi
	for range 200 {
		x = (lo*fhi - hi*flo) / (fhi - flo)
		if !(x > lo && x < hi) {
			x = (lo + hi) / 2
		}
		v, err := f(x)
		if err != nil {
			return 0, err
		}
		if math.Abs(v) < 1e-13 || x == lo || x == hi { // a ten-thousandth of a picometre
			break
		}
		if v > 0 {
			hi, fhi = x, v
			if side > 0 {
				flo /= 2
			}
			side = 1
		} else {
			lo, flo = x, v
			if side < 0 {
				fhi /= 2
			}
			side = -1
		}
	}
	return x, nil
}

// inBoth prints millimetres in either unit, for an error that does not know which
// one is read.
func inBoth(mm float64) string {
	return worksheet.InBoth(worksheet.Rounded(measure.FromMillimetres(mm)))
}
