// Package lobe says what readings along one axis, time or the crank angle, tell of the
// lobe that was turned through: where its nose is and how high ([Curve.Nose]), and where
// a flank passes half lift ([Crossing]). Each comes with its standard uncertainty.
//
// It knows readings only as numbers: lift in nanometres over the heel, times in
// microseconds, angles in degrees. Which readings count, which of them are one passage
// and where the heel is was decided before.
package lobe
