// Package smooth makes an even, smooth curve of uneven, noisy points, and its
// derivatives, and says how much of the noise is left in what it made.
//
// Everything here is a linear operation on the values it is given: each result
// is a weighted sum of them. A [Row] holds the weights, so that the noise of
// the values can be carried through any number of steps exactly, also where
// neighbouring results share the same readings and are therefore correlated:
//
//	u²(result) = Σ weight² · u²(value)
//
// What is in it:
//
//   - [Kernel]: Savitzky-Golay coefficients for any window, order, derivative
//     and place in the window (least squares of a polynomial on even points;
//     Savitzky and Golay, Analytical Chemistry 36 (1964), 1627-1639).
//   - [Local]: local polynomial regression with the tricube weight and
//     bisquare robustness on uneven points (Cleveland, Journal of the American
//     Statistical Association 74 (1979), 829-836; from memory).
//   - [Line]: a curve through points, natural cubic spline or straight pieces,
//     with its crossings of a level, its highest point and the area under it.
//     The spline itself is gonum's.
//
// Bare float64 throughout: this is mathematics, the caller owns the units.
// Input slices are never altered.
package smooth
