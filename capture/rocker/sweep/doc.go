// Package sweep takes the lift at which a rocker is square to its stem from a
// gauge that reads across the stem, against the tip's roller or round end, while
// the engine is turned.
//
// # Frame and words
//
// As in package rocker: v the valve's lift, v0 the lift at which the arm is square,
// a the valve's arm. The tip's centre stands sqrt(a^2 - (v0 - v)^2) out from the
// pivot and v below where it stood closed. A gauge with a flat tip, t off square to
// the stem, reads the tip's round at
//
//	s = s0 + k [cos(t) sqrt(a^2 - (v0 - v)^2) - v sin(t)]
//
// k = 1 where it grows as the tip goes out, -1 where it shrinks; the curve's bend
// tells which. The stand is to be raised by v0 less half lift. No height, ratio or
// bend is needed.
//
// # What can be told from it
//
// Near square s is s0 + a - (v0 - v)^2/2a - t v - (v0 - v)^4/8a^3: the gauge's
// stand t moves v0 by a t, 0.66 mm a degree at 38 mm, and only the last term, some
// thousandths of a millimetre, knows the two apart. So t is told by a reference pass:
// the same gauge, not moved on its stand, against something that travels along the
// stem's axis alone (the stem, a lash cap, the retainer's side): there s = s0 - k v
// sin(t). What that side does besides is a t of its own: a taper or a stem that tips
// in its guide by so many degrees; a run-out r (total) whose part turns by w over the
// opening moves the reading by up to r/2 w, a slope of that over the lift. The
// roller's own run-out does the same to the sweep, by the rocker's swing L/a.
//
// Both passes are fitted with least squares (Gauss-Newton) for s0, v0, a, t and a
// drift in time, with what is known of a and t beforehand as further observations.
// Readings are many and their errors are not independent: a gauge that is wrong by
// its linearity is wrong alike for its neighbours. In the fit, whatever their number,
// they count as no more than three of a gauge's own uncertainty; what that does to the
// answer is worked out from the places that the gauge stood at ([scaleError]).
//
// # What is assumed
//
// Both gauges read in one plane with stem and rocker; the tip touches the stem
// (readings within 2 % of full lift of the heel are left out, where the lash is
// open); drift is even in time.
package sweep
