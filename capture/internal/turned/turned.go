// Package turned is for tests only: plain readings of a valve that opens and shuts.
package turned

import (
	"math"

	"lobescribe/device/measure"
)

// Lift is a reading of an indicator.
func Lift(at measure.Stamp, l measure.Length) measure.Reading {
	return measure.Reading{At: at, Lift: l, Has: measure.HasLift}
}

// Cycles is a plain trace of n openings of 10 mm, 4 s each with 4 s of heel
// before and after, at 100 readings a second: a simple-harmonic lift.
func Cycles(n int) measure.Trace {
	var t measure.Trace
	for i := range (n*8 + 4) * 100 {
		at := measure.Stamp(i) * 10 * measure.Millisecond
		lift := 0.0
		if s := math.Mod(at.Seconds(), 8); s > 4 {
			lift = 5 * (1 - math.Cos(2*math.Pi*(s-4)/4))
		}
		t.Readings = append(t.Readings, Lift(at, measure.FromMillimetres(math.Round(lift*1000)/1000)))
	}
	t.Resolution = measure.Micrometre
	return t
}

// Angle is a reading of an encoder.
func Angle(at measure.Stamp, a measure.Angle) measure.Reading {
	return measure.Reading{At: at, Angle: a, Has: measure.HasAngle}
}
