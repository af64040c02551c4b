// Package shims says which stack of shims to put under the rocker stand next,
// from one trial or from many.
//
// # The rule
//
// A trial is a stack and by how much the adjuster's end of the rocker sat below
// the valve's end at half lift, e. Where a straight rocker has arms a and b, R =
// a/b, that rocker's end heights are a sin theta and b sin theta either side of
// the pivot, so e = (a+b) sin theta, and the pivot is short of square by
// a sin theta:
//
//	p = e / (1 + 1/R)            exactly, without small angles
//	wanted = stack + p
//
// For a bent rocker with known arms p comes from its trigonometry (package
// rocker). Derived here from plane geometry.
//
// # More trials than one
//
// Every trial says how far its stack was short, p_i. Geometry says that the
// next shim shortens that by its own thickness; trials say what they say:
//
//	p_i = kappa (wanted - stack_i) + offset + error,     kappa = 1 +- 0.015
//
// kappa's standard deviation is what a ratio stamped on the rocker, a bend that
// was not measured and a stand not quite in line with the valve come to (package
// coverage draws them), with longer tails. wanted has no prior. The noise of a trial is not known
// either: it is taken anywhere from 0.002 mm to 0.5 mm with equal odds an octave,
// unless the question says how well it was measured. And a trial may be plain
// wrong (1 in 20, off by about 3 mm). Each case is a straight-line fit with a
// normal prior in closed form; the cases are weighed by how well they foretold
// the trials (Bayesian model averaging), and a trial that is more likely wrong
// than right is named.
//
// What comes of it: trials that lie on a line are followed, as a straight line
// through them would; where their scatter would turn a short line about, the
// geometry holds it; and one bad reading among good ones does not count.
//
// # What no number of trials tells
//
// The offset is in every trial alike: the bend of the rocker, whose adjuster's
// ball stands b sin(bend) above the line through tip and pivot, and heights taken
// off the centres of tip and ball. It moves wanted by offset / (1 + 1/R), stands
// in its U, and goes away only by telling the bend or by looking at the stem: where
// the tip touched it, closed and open, shows square by itself (marks.go).
//
// # Square or not
//
// The verdict is that of package verdict on what is still to add, with its U,
// against the builder's tolerance either way.
//
// # The stack on hand
//
// Thicknesses are whole nanometres and the choice is exact: of all stacks that
// can be put together, the nearest to wanted, of those the one with fewest
// pieces.
package shims
