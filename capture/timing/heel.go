package timing

import (
	"fmt"
	"math"
	"slices"

	"lobescribe/device/measure"
)

// levelled turns dst from what the indicator showed into lift above the heel,
// in millimetres, upwards.
//
// The heel is the wide flat: within a twentieth of the whole movement of one
// end the crank turns much farther than within a twentieth of the other. In
// crank angle and not in time, because people rest at half lift.
func (c *Curve) levelled(dst []placed) error {
	ys := make([]float64, len(dst))
	for i, p := range dst {
		ys[i] = p.y
	}
	slices.Sort(ys)
	at := func(q float64) float64 { return ys[int(q*float64(len(ys)-1))] }
	low, high := at(0.005), at(0.995)
	if high-low < max(0.1, 20*c.options.Resolution.Millimetres()) {
		return fmt.Errorf("%w: the indicator moved only %s in all; turn the engine until the valve has opened and closed",
			ErrNoOpening, millimetres(high-low).In(measure.InMillimetres))
	}
	zone := (high - low) / 20
	var atLow, atHigh int
	for _, y := range ys {
		switch {
		case y <= low+zone:
			atLow++
		case y >= high-zone:
			atHigh++
		}
	}
	sign, base := 1.0, low
	if c.options.Opens == Downwards || c.options.Opens == "" && atHigh > atLow {
		sign, base = -1, -high
	}
	for i := range dst {
		dst[i].y = sign*dst[i].y - base
	}
	flat := make([]float64, 0, len(dst))
	for _, p := range dst {
		if p.y <= zone {
			flat = append(flat, p.y)
		}
	}
	slices.Sort(flat)
	heel, scatter := densest(flat, c.options.Resolution.Millimetres())
	for i := range dst {
		dst[i].y -= heel
	}
	c.made.Heel = millimetres(sign * (heel + base))
	c.uHeel = combined(component{u: count(c.options.Resolution.Millimetres())},
		component{u: rectangular(c.options.Limit.Millimetres())}, component{u: scatter})
	return nil
}

// densest returns the level at which sorted values lie thickest, and the
// scatter there: the half-sample mode (Robertson and Cryer, JASA 69 (1974),
// from memory), then the mean of what lies about it. A mean or median of all
// would be dragged up by the ramps.
func densest(sorted []float64, resolution float64) (level, scatter float64) {
	v := sorted
	for len(v) > 3 {
		half := (len(v) + 1) / 2
		best := 0
		for i := 1; i+half <= len(v); i++ {
			if v[i+half-1]-v[i] < v[best+half-1]-v[best] {
				best = i
			}
		}
		v = v[best : best+half]
	}
	mode := v[len(v)/2]
	// The scatter is judged below the mode, where no ramp lies.
	var below []float64
	for _, y := range sorted {
		if y <= mode {
			below = append(below, mode-y)
		}
	}
	s := 1.4826 * median(below)
	reach := max(2.5*s, 0.75*resolution)
	n, sum, squares := 0.0, 0.0, 0.0
	for _, y := range sorted {
		if math.Abs(y-mode) <= reach {
			n++
			d := y - mode
			sum += d
			squares += d * d
		}
	}
	mean := sum / n
	// What varies slowly over the heel (the base circle's run-out) does not
	// average out; one part in ten of the readings is taken as independent.
	return mode + mean, math.Sqrt(max(squares/n-mean*mean, 0) / max(min(n/10, 10), 1))
}
