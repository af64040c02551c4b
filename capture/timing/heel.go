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
	out := c.mapHeel(dst, zone)
	c.uRunOut = out
	c.uHeel = combined(component{u: count(c.options.Resolution.Millimetres())},
		component{u: rectangular(c.options.Limit.Millimetres())}, component{u: scatter}, component{u: out})
	return nil
}

// HeelPoint is how far the heel stands above its level over ten crank degrees.
type HeelPoint struct {
	Angle measure.Angle  `json:"atdc_deg"`
	Off   measure.Length `json:"off_mm"`
}

const (
	heelSlot = 10.0 // crank degrees
	ramp     = 3    // slots next to the opening that may hold a ramp
)

// mapHeel goes over the heel slot by slot, keeps the map and the run-out, and
// returns the standard uncertainty that a base circle which runs out leaves of
// every lift: what it does under the lobe cannot be seen, and is taken to be as
// much as it does elsewhere.
func (c *Curve) mapHeel(bins []placed, zone float64) float64 {
	period := c.options.Period.Degrees()
	n := int(math.Round(period / heelSlot))
	type slot struct {
		n, mean, squares float64
		lifted           bool
	}
	slots := make([]slot, n)
	for _, p := range bins {
		s := &slots[min(n-1, int(math.Mod(math.Mod(p.x, period)+period, period)/heelSlot))]
		if p.y > zone {
			s.lifted = true
			continue
		}
		s.n++
		d := p.y - s.mean
		s.mean += d / s.n
		s.squares += d * (p.y - s.mean)
	}
	flat := func(i int) bool {
		for k := -ramp; k <= ramp; k++ {
			if slots[((i+k)%n+n)%n].lifted {
				return false
			}
		}
		return slots[i].n >= 3
	}
	var seen, sum, chance, low, high float64
	for i, s := range slots {
		if !flat(i) {
			continue
		}
		off := s.mean
		if seen == 0 {
			low, high = off, off
		}
		seen++
		low, high = min(low, off), max(high, off)
		sum += off * off
		chance += s.squares / max(s.n-1, 1) / s.n
		c.made.HeelMap = append(c.made.HeelMap, HeelPoint{degrees(heelSlot * (float64(i) + 0.5)), millimetres(off)})
	}
	if seen < 9 { // a quarter of a turn of the crank: too little to say
		c.made.HeelMap = nil
		return 0
	}
	// What the indicator's own steps and noise make of a slot is no run-out.
	out := math.Sqrt(max(0, sum/seen-chance/seen-sq(count(c.options.Resolution.Millimetres()))/4))
	if out > 0 {
		c.made.RunOut = new(millimetres((high - low) / 2))
	} else {
		c.made.RunOut = new(measure.Length(0))
	}
	return 1.2 * out
}

// densest returns the level at which sorted values lie thickest, and the
// scatter there: the half-sample mode (Robertson and Cryer, JASA 69 (1974),
// from memory), then the mean of what lies about it. A mean or median of all
// would be dragged up by the ramps.
func densest(sorted []float64, resolution float64) (level, scatter float64) {
	v := sorted
	for len(v) > 3 {
		half := (len(v) + 1) / 2
		// Of halves equally narrow, and an instrument that counts makes many, the
		// middle one: the first would lie low.
		best, last := 0, 0
		for i := 1; i+half <= len(v); i++ {
			switch d := (v[i+half-1] - v[i]) - (v[best+half-1] - v[best]); {
			case d < -1e-9:
				best, last = i, i
			case d <= 1e-9:
				last = i
			}
		}
		best = (best + last) / 2
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
