package lobe

import "math"

// Foot is how a flank meets the heel, against the crank angle: on a ramp, or at a pace.
// A spindle that hangs free is met by the valve on its way, and so is a lobe whose ramp
// is less than the lash.
type Foot struct {
	Slope float64 // nanometres a degree where it meets the heel
	// Free is how far the valve had gone by then, nanometres, if it speeds up from rest as
	// it does behind: a parabola reaches the slope v at v²/2a (derived here). Infinite
	// where it does not speed up.
	Free float64
}

const (
	// The foot is that below such a share of the lift, over so many degrees and readings.
	footShare, footDegrees, footReadings = 0.12, 2.0, 5
)

// FootOf fits a parabola to the foot of a flank, where edge is what tells a lift from its
// heel: a is the angle, degrees, and y the lift over the heel, from the heel to the nose.
// Where a hand went back only what it had not passed counts. False where too few do.
func FootOf(a, y []float64, edge, height float64) (f Foot, ok bool) {
	var s [5]float64
	var r [3]float64
	from, far := math.NaN(), -1.0
	for i, y := range y {
		if y < edge { // it was still on the heel
			s, r, far = [5]float64{}, [3]float64{}, -1
			continue
		}
		if y > footShare*height {
			break
		}
		if far < 0 {
			from = a[i]
		}
		x := math.Abs(a[i] - from)
		if x < far {
			continue
		}
		far = x
		for j, p := 0, 1.0; j < len(s); j, p = j+1, p*x {
			s[j] += p
			if j < len(r) {
				r[j] += p * y
			}
		}
	}
	inv, ok := invert3([3][3]float64{{s[0], s[1], s[2]}, {s[1], s[2], s[3]}, {s[2], s[3], s[4]}})
	if !ok || s[0] < footReadings || far < footDegrees {
		return f, false
	}
	var c [3]float64 // y = c0 + c1 x + c2 x²
	for i := range c {
		c[i] = inv[i][0]*r[0] + inv[i][1]*r[1] + inv[i][2]*r[2]
	}
	if c[2] <= 0 {
		return Foot{Slope: max(c[1], 0), Free: math.Inf(1)}, true
	}
	square := max(c[1]*c[1]-4*c[0]*c[2], 0) // of the slope where y is 0; it is never below
	return Foot{Slope: math.Sqrt(square), Free: square / (4 * c[2])}, true
}
