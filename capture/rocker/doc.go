// Package rocker is the geometry of one rocker, in its plane, without small
// angles: what lift and ratio it gives, where its tip wipes the stem, and which
// pivot height and pushrod length put it square to the valve at half lift.
//
// # Frame and words
//
// The valve axis is upright and opens downwards. The pivot is the origin of x,
// which grows towards the valve; z grows upwards from where the tip's centre
// stands when it touches the closed valve.
//
//	a, b   arms: pivot to the tip's centre, pivot to the adjuster's ball
//	theta  valve arm below its right angle to the valve axis (so it grows as the
//	       valve opens, and is 0 where the rocker is square)
//	gamma  bend: how far the adjuster's arm stands above the line of the valve arm
//	h      height of the pivot
//
// The tip's centre is the axle of a roller, or the centre of curvature of a
// pad. Either touches a flat stem straight below that centre, so that both have
// one kinematics: x = a cos theta, z = h - a sin theta; the adjuster's ball is
// at x = -b cos(theta+gamma), z = h + b sin(theta+gamma). Valve lift is
// a (sin theta - sin theta_closed). The pushrod ties the ball to the lifter's
// cup, which moves along the lifter's axis: a circle cut with a circle one way,
// a circle cut with a line the other. Both are closed forms.
//
// From these follow, and the tests hold them against numbers worked out apart:
//
//	least sweep       a - sqrt(a^2 - (L/2)^2)     square at half lift L/2
//	raising by p      the ball rises p (1 + 1/R)   straight rocker, R = a/b, exact
//	ratio             R cos theta / cos(theta+gamma)   pushrod along the valve axis
//
// Derivation: plane geometry, done here; the square-at-half-lift rule itself is
// common practice of the trade.
//
// # What is assumed
//
// Everything moves in one plane and nothing bends. Lash is measured at the
// valve. A length that was not measured is taken at a usual value, and the
// answer says so and by how much it depends on it.
//
// Next shim: package shims. Pushrods and cold lash: package pushrod.
package rocker
