// Package clearance is what stands between parts that must not meet: valve and
// piston, the coils of a spring, retainer and seal, rocker and stud; and the
// loads of the spring.
//
// # Piston
//
// With crank radius r and rod l the piston is at theta from top dead centre
// below it by
//
//	s = l + r - (r cos theta + sqrt(l^2 - r^2 sin^2 theta))
//
// (Heywood, Internal Combustion Engine Fundamentals, eq. 2.5, from memory; the
// form is seen in public derivations.) One measured clearance ties the piston
// to the valve: the valve pushed open by hand from where the cam holds it at
// that angle, until it touches. From there the clearance elsewhere is what the
// piston has gone less what the valve has. A pocket cut square to the valve
// makes the piston count times the cosine of the valve's lean, a flat crown
// over the cosine.
//
// # Spring
//
// Rate k = G d^4 / (8 D^3 Na), d the wire, D the mean diameter of the coil, Na
// the active coils, G the shear modulus; stress 8 F D KB / (pi d^3) with KB =
// (4C+2)/(4C-3), C = D/d. Active coils and solid height by the kind of ends.
// Shigley, Mechanical Engineering Design, chapter 10 and Table 10-1, from
// memory.
//
// # Limits
//
// They are the user's. The answer says whether a limit is met and by how much;
// it never says that something is safe. The minimums usual in the trade stand
// beside it (common practice, no source), and the maker's figures go before
// both.
package clearance
