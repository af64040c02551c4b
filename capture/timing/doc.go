// Package timing works out valve timing from lift against crank angle.
//
// Vocabulary. A [Curve] is the lift of one valve (or lobe) against the crank
// angle, made of a trace by [FromTrace] or of typed points by [FromPoints]. A
// [Passage] is where it passes one checking lift: it opens, closes, and what
// lies between. The nose is where it is highest. [Compute] takes a [Request]
// and does whatever parts of it are given; the command line and the page both
// call it.
//
// Angles are crank degrees after the top dead centre of the overlap, so that an
// intake valve opens near 0 and closes near 180, an exhaust valve opens near
// -180 and closes near 0. An encoder that knows only one of two top dead
// centres is enough: the one is taken that puts an intake nose near 110 after,
// an exhaust nose near 110 before. People read the trade's form ("12 BTDC",
// "44 ABDC"); there a negative figure means the other side.
//
// Formulas (ordinary arithmetic; the definitions are common practice):
//
//	duration     = closes - opens
//	centreline   = (opens + closes) / 2, and apart from it: the nose
//	asymmetry    = centreline - nose
//	separation   = (intake centreline after + exhaust centreline before) / 2, in cam degrees
//	overlap      = exhaust closes - intake opens
//	at the valve = ratio · lift at the lobe - lash
//
// Uncertainties. Those named U are expanded, k = 2 unless a K stands beside
// them (JCGM 100:2008). A lift u becomes an angle u / slope of the flank. What
// two events share (the heel's level, top dead centre) cancels or doubles in
// their difference and mean, and is carried so.
//
// Assumptions, said in the results too: the lift and the angle of a reading
// were measured at the same moment (10 ms apart are 0.6 degrees at 60 degrees a
// second); the indicator stands in line with the motion; the rocker ratio is
// constant unless a ratio curve was measured; the wrist pin is not offset.
package timing
