// Package simulator is a valve train, a hand that turns it, the instruments
// that measure it and the wires they talk on, with the truth kept on the side.
//
// A [Scenario] says everything and [Scenario.Play] works it out: pure, without
// a clock, and the same for the same seed. [Serve] plays a [Bench] without end
// out of a real pseudo-terminal or socket, for a daemon to read.
//
// Promises. Lift follows from the crank angle by formulas, and the crank angle
// from time by a curve that is monotone between its knots; so each instant and
// angle in [Truth] is a root of a known function, solved to 1e-9 and only then
// rounded to whole nanometres, microdegrees and microseconds. What the
// instruments do wrong never touches the truth.
//
// Textbook: the laws of motion ([Textbook], [EvenPolynomial], [ThreeArc]); the
// cam at half crank speed; the planar linkage of lever and pushrod ([Rocker]);
// the cosine error R = T/cos(lean) of a plunger on a flat face; the four edges
// of a quadrature encoder; ten bits a character on an asynchronous line;
// cubic interpolation that overshoots nowhere (Fritsch & Butland 1984, from
// memory) for the hand's way.
//
// Invented: every size of every engine here; how long strokes, pauses and
// back-turns are ([Style]); the tremor; the opening and closing ramps, which
// are a cycloidal rise laid over the start of the main one; the line formats,
// which resemble what plain instruments send and copy none.
//
// Words: cam angles are the cam's own degrees, crank angles twice that. Lift is
// the valve's, lobe lift the tappet's. The nose is the middle of the dwell at
// the highest lift, or the one highest point where there is no dwell.
//
// The package knows nothing of the code it is there to test: of this module it
// imports the quantities of device/measure and nothing else.
package simulator
