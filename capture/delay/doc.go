// Package delay measures by how much the readings of an indicator are later
// than those of an encoder on another port.
//
// # Why
//
// An instrument filters, a converter waits (16 ms is usual), a line takes its
// time: a reading arrives later than it was measured. With one port for both
// that matters little. With two, lift and angle of different moments stand side
// by side: at 60 degrees a second, 16 ms are 0.96 degrees of crank. Turned
// forward, the flank seems to lie later by speed times lag, and turned
// backward, earlier: lift against angle opens into a loop.
//
// # Method
//
// On one flank lift is a function F of crank angle, whichever way the engine
// turns. So the lag is the D that makes
//
//	lift(t) = F(angle(t - D))
//
// hold best over all readings of a stretch that was swept both ways: the least
// sum of squares, with F a cubic spline through all of them (least squares,
// knots 4 degrees apart), looked for on a grid and then refined by Gauss-Newton.
// The angle between two readings of the encoder is interpolated as the joiner of
// package capture does. (Variable projection: Golub and Pereyra 1973, from
// memory.)
//
// The uncertainty (k = 2) is that of the least squares, with the residuals of
// each quarter of a second taken together, since the steps of an indicator are
// not independent of each other (the sandwich estimator of clustered data, from
// memory).
//
// # How delay= is used
//
// delay= of an address says how long before its arrival a reading was measured;
// the source takes it off each stamp. Only the difference between the two
// sources matters. [Measure] takes readings as the sources give them, so with
// their present delays off, and [Result.Delays] says what to write instead. The
// joiner has to wait for the later source: its Hold must exceed the encoder's
// delay by some readings of the encoder.
//
// # Assumptions
//
// Both lags are constant. Slack (a timing drive whose loose side changes, an
// indicator that reads differently going out and coming back) opens a loop too,
// but one that does not depend on the speed. Where it is seen, both are fitted
// together, to the readings after it has been taken up, and the slack is a figure of
// its own. The two look alike to a hand that turns evenly (0.1 degrees of slack are
// 0.8 ms at 60 degrees a second), so what is in doubt between them stands in the
// uncertainty of the lag; the slack itself comes out up to half too small. Slack of
// much more than a degree spoils the measurement; then the uncertainty says so.
package delay
