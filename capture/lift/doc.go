// Package lift turns a signal of lift, and of crank angle where there is an
// encoder, into findings: the openings, their max lift and half lift with
// uncertainty, and what is wrong with the set-up.
//
// [Segmenter] follows the signal reading by reading in bounded memory and cuts
// it into openings; [Analyse] feeds it a finished trace, the live follower of
// package capture what comes in. So both find the same. Neither has a clock, a
// goroutine or I/O, and neither changes its input.
//
// An opening is settled when the valve has come home; its nose is the highest
// point since it left. Turning points, rests and back-turns on a flank are no
// nose. Half lift without an encoder is passed at the last upward crossing
// before the nose and at the first downward one after it, interpolated in time.
// With an encoder its angle comes from a parabola of angle against lift through
// all readings of that flank near half lift, whichever way the engine turned.
// Angles are as the encoder counts them: how its zero lies to its edges, half a
// count, is in them and is not known. Where lift comes later than the angle, or
// earlier, the half-lift angles are mended for it: see package drive.
//
// Before all of it package sift takes out the readings that do not count; within
// an opening single readings off the line of their neighbours are left out too.
//
// Max lift is the nose less the mean of the heels before and after; a rest at
// the foot of a flank is no heel where a lower one shows on both sides. Its
// uncertainty follows JCGM 100:2008 (GUM): U = k u, k = 2 (6.2.1), with
//
//	u² = u_fit² + u_shape² + (u_before² + u_after²)/4 + (after-before)²/12 + u_round²
//	     + u_average² + u_runout² + u_stick² + u_sink² + u_travel² + u_bend²
//
// u_fit is the Type A standard uncertainty of the fitted nose (4.2), the mean
// over noses that end as the second, third and fourth power of the distance,
// weighted by how well they fit; u_shape what these disagree by, or what the gap
// between sparse readings can hide; u_before and u_after
// those of the heels' means. u_round is step/√12 (4.3.7, F.2.2.1), less what
// noise has dithered away; it counts for the heel, and again for the nose where
// that is the highest reading alone. The mean over openings has the first parts
// divided by √n; what all openings share, u_round, stays.
//
// The second line is what the user did not tell and the signal does not settle
// (definitional uncertainty, JCGM 200:2012, 2.27): what a gauge that averages over
// up to 0.12 s, or as much as lift comes late with an encoder, takes off a nose passed
// at that speed; 0.015 of 100 of the lift for a stand that bends and the indicator's own
// error; the heel's run-out, also where noise hides most of it; what the heel did not
// come home by, with 2.7 counts where it moved by a count or no trace began on it; what a lifter that may bleed down sinks
// until the nose; what a spindle takes off that may have stopped under the nose or hung
// free on the heel. Where the indicator was proved ([Options.Proof]) its stops, lag and
// stickiness take their place. What is in the uncertainty without being told as a
// fault is in [Findings.Held]. Openings of one valve that disagree by more than
// their uncertainties have them widened to hold the difference.
//
// With an encoder all openings of a finished trace are laid over each other: see
// package drive. By how much lift comes late, whether the drive slipped or counts are
// wrong, and how fast a lifter sinks comes out of one fit.
//
// Whether the spindle stopped under the nose, or hung free on the heel, is told
// by how soft both ends of each flank are against its middle, and by how much seems
// to be missing there: see package evidence. A spindle that stopped a little under the
// nose shows at the edges of the stop alone: what these say for each size stands in the
// uncertainty, see package stops.
//
// What is fitted is fitted elsewhere: to a curve of readings in package lobe (a nose, a
// crossing), drive, stops, sinking and evidence. They answer in numbers; what is a passage,
// which of the answers is told, in which words, and what goes into a ± is decided here.
//
// A direction that nobody forces is found by following both: what is turned
// through without a rest is a nose. Assumed: a valve train of 1 to 40 mm; a
// trace that does not begin or end within 0.12 mm of the heel on a flank;
// without an encoder, no rest on every nose longer than the heel lasts.
package lift
