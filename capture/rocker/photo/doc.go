// Package photo takes a rocker's angle from marks on photographs: how far its
// valve arm stands from square to the stem, and by how much that asks the stand
// to be raised. No file is read here: marks are pixels, the page makes them.
//
// # Frame and words
//
// As in package rocker: theta is the valve arm below its right angle to the
// stem, gamma the bend, a and b the arms. v is the lift at the picture, v0 the
// lift at which the arm is square, L the full lift:
//
//	theta = asin((v - v0)/a)        the arm's angle at any lift
//	raise = v0 - L'/2               L' the full lift once raised
//
// L' differs from L where the rocker is bent, since the lobe stays and is met
// elsewhere: package rocker's SquareRaise. So a photograph needs to be
// taken at a known lift, not at half lift. One photograph gives v0 with an arm
// that was told, measured in the picture or taken as usual; several at different
// lifts are fitted together with least squares for v0 and a.
//
// # The camera
//
// A pinhole (Hartley and Zisserman, Multiple View Geometry, 2nd ed., section 6.1,
// from memory): what stands at (X, Y, Z) in front of it shows at f X/Z, f Y/Z from
// the picture's centre. With the rocker's plane tilted by alpha about the
// picture's level line and by beta about its upright, D away, a point (X, Y) of the
// plane shows, to second order in the tilts, at
//
//	x = f/D [X (1 - beta^2/2) + X (X beta - Y alpha)/D + ...]
//	y = f/D [Y (1 - alpha^2/2) + Y (X beta - Y alpha)/D + alpha beta X + ...]
//
// (signs as the tilts are counted). First order: an upright line at X leans by
// alpha X/D and a level one at Y by beta Y/D, so that a stem and an arm that run
// through the picture's centre are not touched: the tip belongs there. Second
// order: the right angle between stem and arm closes by alpha beta, wherever they
// are. A pivot marked d nearer to the camera than the tip moves by d alpha across
// the arm, which turns it by d alpha/a: the largest of the three when the marks
// are on different faces. Radial distortion r (1 + k r^2/R^2), R half the diagonal,
// turns no line through the centre either.
//
// None of that is expanded in the code: each mark is taken back through the
// pinhole to the plane, once straight and once with each of those moved, and the
// ± is the sum of what the answer moved by, first and second order (JCGM 100:2008,
// 5.1.2 with the note).
//
// # What is assumed
//
// Stem, arm and marks lie in one plane along which the camera looks squarely but
// for the tilts; the picture was scaled, not cropped, so that its centre is the
// camera's axis. What is in the ±: the scatter of marks, tilts, distance, depth,
// distortion, the lift at the picture, the full lift, the arm, the bend, the
// pushrod's lean.
package photo
