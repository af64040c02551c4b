// Package pushrod goes from the adjustable checking rod, set to zero lash on
// the engine, to the length at which the tube is cut; and says what the lash
// does when the engine warms up.
//
// # Lengths of one rod
//
//	overall   over both tips
//	centres   between the middles of the two balls: overall less both radii; of a
//	          cup, whose ball stands in it, less its depth and plus that radius
//	gauge     between two gauging rings whose holes, of diameter g, sit on the
//	          balls: overall less r - sqrt(r^2 - (g/2)^2) at either end
//	tube      overall less what the two end pieces add: their length less the
//	          depth they are pressed in
//
// A stack of shims raised by s lifts the adjuster's ball by s (1 + 1/R) along
// the valve axis (straight rocker, R its ratio, valve's end held); a rod of
// length l leaning by psi grows with it to sqrt(l^2 + 2 l rise cos psi + rise^2).
// All this is plane geometry, derived here.
//
// # Warming up
//
// A piece of length l grows by alpha l dT. The parts from the lifter to the
// rocker's pivot open the lash at the pushrod, the pushrod closes it; at the
// valve the difference shows times the rocker's ratio. Coefficients are those
// of handbooks, from 20 to 100 degrees C, each with its source beside it, and
// differ by some 3 % from book to book. The growth of the valve's own stem, and
// of the head between seat and pivot, is left out.
package pushrod
