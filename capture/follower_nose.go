package capture

import (
	"math"

	"lobescribe/capture/internal/backturn"
	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// ascent follows an opening up to its nose and says when that is credible. What
// looks like a nose may be the hand that turns back on a flank, or, while it is
// not known which way the reading runs, the heel that the engine stands on.
//
// A nose is credible
//
//   - where the lift has come to what is expected, and falls;
//   - with an encoder, where the lift falls while the engine goes on the way that
//     it opened the valve, unless it was slight;
//   - where the lift has fallen by more than a back-turn can take off there, unless it
//     had not come near to what is expected: a hand may turn back to the heel, and a
//     lower valve is believed once its opening has come home.
type ascent struct {
	top      float64 // highest so far
	at       measure.Stamp
	angle    float64 // there; NaN without an encoder
	left     float64 // angle at which the valve left the heel
	before   float64 // by how much the reading before the highest lies lower
	after    float64 // and the one after it
	dwell    dwell
	swing    float64 // degrees that the engine may have turned while an angle came late
	need     float64 // fall that no back-turn makes, of needTop
	needTop  float64
	fallen   bool // below the top, since
	fallenAt measure.Stamp
	last     float64 // lift of the reading before
	lastAt   measure.Stamp
	lastA    float64
}

// dwell is how long, and over which angles, the lift stood near its highest.
type dwell struct {
	top, seconds float64
	least, most  float64
}

const (
	// nearTop is the share of the top above which the valve dwells there.
	nearTop = 0.97
	// A nose is turned through; a heel takes several times as long as a flank, and
	// so many degrees.
	heelTimes, heelAngle = 2.5, 90.0
	// How late an angle may come, in seconds, and what slack and count take off it.
	lateAngle, looseAngle = 0.06, 1.5
	// So much of the max lift is neither here nor there: the nose within two
	// degrees or three.
	asGood = 0.002
	// uneven is the share of the lift that a hand which turns unevenly hides.
	uneven = 0.003
	// What rises by less than this share of it is no opening, as in package lift.
	slightShare = 0.5
)

func (a *ascent) begin(v lift.View, at measure.Stamp) {
	*a = ascent{top: v.Lift, at: at, angle: v.Angle, left: v.Angle, last: v.Lift, lastAt: at, lastA: v.Angle}
}

// see takes where the valve stands now; band is what the indicator cannot tell
// apart.
func (a *ascent) see(v lift.View, at measure.Stamp, band float64) {
	dt := (at - a.lastAt).Seconds()
	moved := math.Abs(v.Lift - a.last)
	if turned := math.Abs(v.Angle - a.lastA); dt > 0 && turned == turned {
		a.swing = max(min(turned/dt, 1000)*lateAngle, a.swing/(1+dt/0.3))
	}
	if v.Top > a.top || v.Top < a.top-band { // lower: the heel was found again
		a.top, a.at, a.angle, a.before, a.after, a.fallen = v.Top, at, v.Angle, moved, 0, false
	} else if a.at == a.lastAt {
		a.after = moved
	}
	a.dwell.see(v, dt, a.top)
	switch below := v.Lift < a.top-band; {
	case below && !a.fallen:
		a.fallen, a.fallenAt = true, at
	case !below:
		a.fallen = false
	}
	a.last, a.lastAt, a.lastA = v.Lift, at, v.Angle
}

func (d *dwell) see(v lift.View, dt, top float64) {
	switch {
	case top*nearTop > d.top:
		*d = dwell{top: top, least: v.Angle, most: v.Angle}
	case v.Lift > top*nearTop:
		d.seconds += dt
		d.least, d.most = min(d.least, v.Angle), max(d.most, v.Angle)
	}
}

// turns returns how far the engine stands beyond the highest lift, along the way
// that it opened the valve; ok is false without an encoder, or with one that
// does not say.
func (a *ascent) turns(v lift.View) (beyond float64, ok bool) {
	way := a.angle - a.left
	beyond = v.Angle - a.angle
	if !(math.Abs(way) > 15) || math.Abs(beyond) > 300 { // NaN is no way either
		return 0, false
	}
	return math.Copysign(1, way) * beyond, true
}

// reaches says whether the highest lift is what is expected, within what is not
// known of either.
func (a *ascent) reaches(e expectation, band float64) bool {
	return e.known() && math.Abs(a.top-e.lift) <= e.u+a.blur(band)
}

// blur is how far the highest reading may lie from a nose for all that it tells:
// what the indicator cannot tell apart, what hides between readings, and a share
// that makes no difference at the rocker.
func (a *ascent) blur(band float64) float64 { return band/2 + a.hidden() + asGood*a.top }

// hidden is how far above the highest reading a nose can lie between it and its
// neighbours: twice what it is on a parabola at equal distances, and a little more,
// since no hand turns evenly; but no more than a quarter of the way to them.
func (a *ascent) hidden() float64 {
	d := a.before - a.after
	return min(d*d/(4*(a.before+a.after)+1)+uneven*a.top, max(a.before, a.after)/4)
}

// isTheNose says whether the highest lift is as good as the nose that is expected:
// nothing that would matter can come above it.
func (a *ascent) isTheNose(v lift.View, e expectation) bool {
	missing := e.lift + e.u/2 - (a.top - v.Noise/2)
	return missing <= max(v.Step, 5000)+a.hidden()+asGood*a.top
}

// credible says whether the highest lift was the nose.
func (a *ascent) credible(v lift.View, at measure.Stamp, e expectation, band float64, flank func() float64) bool {
	fall := a.top - v.Lift
	if fall <= 1.2*band {
		return false
	}
	beyond, turning := a.turns(v)
	reached := a.reaches(e, band)
	switch {
	case turning && beyond < -looseAngle-a.swing:
		return false // the engine was turned back
	case reached && turning && beyond <= 0 && fall < 0.5*a.top:
		return false // and that just below it
	case reached && (a.isTheNose(v, e) || fall > backturn.TakesOff(a.top, max(e.lift+e.u, a.top), backturn.Usual)):
	case turning && beyond > looseAngle+a.swing && fall > 0.02*a.top && at-a.fallenAt >= 150*measure.Millisecond && !a.slight(e):
	case e.known() && a.top < e.lift && a.top > e.plausible() && fall > backturn.TakesOff(a.top, e.lift+e.u, backturn.Far):
	case fall > a.atAll() && !(e.known() && a.top < e.plausible()):
	default:
		return false
	}
	return v.Settled || !a.stoodLikeAHeel(turning, flank)
}

// slight says whether the lift is so much lower than is expected that it makes no opening:
// a second bump of the lobe, or a knock while the engine was turned.
func (a *ascent) slight(e expectation) bool {
	return e.known() && a.top < slightShare*(e.lift-e.u)
}

// atAll returns the fall that no back-turn makes, whatever the valve.
func (a *ascent) atAll() float64 {
	if math.Abs(a.top-a.needTop) > 0.005*a.top {
		a.needTop, a.need = a.top, backturn.TakesOffAtAll(a.top)
	}
	return a.need
}

// stoodLikeAHeel says whether the lift stood near its highest for as long as a
// heel lasts, against the flanks. Then the reading may run the other way.
func (a *ascent) stoodLikeAHeel(turning bool, flank func() float64) bool {
	if turning {
		return a.dwell.most-a.dwell.least > heelAngle
	}
	return a.dwell.seconds > heelTimes*flank()/1e6
}
