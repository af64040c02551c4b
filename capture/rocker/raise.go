package rocker

import "math"

// SquareRaise is by how much a stand is to be raised (millimetres; below zero:
// lowered) for an arm of a that is square at a lift of v0 to be square at half
// lift. lift is the full lift now, bend that of the rocker and the pushrod's lean together,
// standLean that of the studs (radians). It is not finite where the arm does not
// reach.
//
// The lobe stays, so the ball's rise b [sin(theta1 + bend) - sin(theta0 + bend)]
// stays, from closed (sin(theta0) = -v0/a) to open (sin(theta1) = (lift - v0)/a).
// Square at half lift it is 2 b sin(theta) cos(bend), with full lift L' = 2 a
// sin(theta), so
//
//	L' = lift + tan(bend) a [cos(theta1) - cos(theta0)]      raise = v0 - L'/2
//
// The pushrod is taken as long against what its upper end goes aside. Plane
// geometry, derived here; the whole linkage is in the tests.
func SquareRaise(v0, lift, a, bend, standLean float64) float64 {
	out := func(v float64) float64 { return math.Sqrt(a*a - (v-v0)*(v-v0)) }
	return (v0 - lift/2 - math.Tan(bend)/2*(out(lift)-out(0))) / math.Cos(standLean)
}
