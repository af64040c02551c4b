package timing

import (
	"fmt"
	"math"
	"slices"

	"lobescribe/capture/timing/smooth"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Between lobe and valve there is a rocker, and what it does to a lift is either
// measured (a [RatioCurve], or its stations) or taken for one number. A rocker that
// is bent, or is not square at half lift, moves the valve by another ratio near the
// heel than near the nose, so that one number is off by some hundredths of the lift.
const (
	// unknownRatioU is the expanded uncertainty of a constant ratio as a share of
	// it. Of 3000 rockers drawn with bends of 10 degrees, heights off by 2 mm and
	// ratios off by 3 in 100 (all k = 2), 95 of 100 kept within 0.050 of it at a
	// tenth of the lobe's lift and 0.036 at its nose; a bend of 15 degrees, which
	// occurs, is within 0.06 (simulated here).
	unknownRatioU = 0.06
	// feelerU is the expanded uncertainty of a lash that was set with a feeler
	// gauge (common practice, no source).
	feelerU = 25 * measure.Micrometre
)

// transfer takes lifts at the lobe to the valve, the lash not taken off.
type transfer struct {
	// valve returns the valve's lift and its standard uncertainty, in mm, at a lobe
	// lift up to most.
	valve func(lobe float64) (lift, u float64)
	most  float64
	// slopes returns the ratio at a lobe lift and how it changes with the lobe's lift
	// (per mm), with their standard uncertainties.
	slopes func(lobe float64) (ratio, u, change, changeU float64)
	// own says that the lift is that on the very curve the ratio was fitted to: its
	// heel and its lash are in it already.
	own bool
}

// lobe is the inverse of valve, by halving; the lift grows with the lobe.
func (t transfer) lobe(lift float64) (lobe, u float64) {
	low, high := 0.0, t.most
	for range 60 {
		mid := (low + high) / 2
		if v, _ := t.valve(mid); v < lift {
			low = mid
		} else {
			high = mid
		}
	}
	at := (low + high) / 2
	_, uValve := t.valve(at)
	const step = 1e-3
	above, _ := t.valve(at + step)
	below, _ := t.valve(at - step)
	slope := (above - below) / (2 * step)
	return at, uValve / max(slope, 0.1)
}

// byOneNumber is the transfer of a constant ratio. The ratio at one lift lies
// farther off that number than the mean over the lift does, and changes over the
// lobe's lift by some of it: both are taken as a bent rocker's, R cos(theta) /
// cos(theta+bend), of which [unknownRatioU] is made.
func byOneNumber(o Options) *transfer {
	share := o.RatioU / o.Ratio
	return &transfer{most: 100, valve: func(lobe float64) (lift, u float64) {
		return lobe * o.Ratio, lobe * o.Ratio * share / coverage
	}, slopes: func(lobe float64) (ratio, u, change, changeU float64) {
		const over = 7 // mm, a usual lobe's lift, over which the ratio changes by twice its share
		return o.Ratio, 1.5 * o.RatioU / coverage, 0, 2 * o.RatioU / over / coverage
	}}
}

// RatioPoint is the valve's lift at one lobe lift, as a [RatioStation] has it.
type RatioPoint struct {
	Lobe measure.Length `json:"lobe_lift_mm" bound:"curve"`
	// Valve has the lash added: what the rocker moved.
	Valve measure.Length `json:"valve_lift_mm" bound:"curve"`
	// ValveU is expanded; left out, it is 0.02 mm (two counts of 0.01 mm).
	ValveU *measure.Length `json:"valve_lift_u_mm,omitempty" bound:"u"`
}

// byPoints is the transfer of a ratio curve that was measured elsewhere on the same
// rocker at the same set-up.
func byPoints(points []RatioPoint) (*transfer, error) {
	if len(points) < 3 {
		return nil, worksheet.Wrongf("ratio_curve", "holds %d points: at least 3 are needed, from a tenth of the lobe's lift to its nose", len(points))
	}
	if len(points) > 1000 {
		return nil, worksheet.Wrongf("ratio_curve", "holds %d points: at most 1000", len(points))
	}
	sorted := slices.SortedFunc(slices.Values(points), func(a, b RatioPoint) int { return int(min(max(a.Lobe-b.Lobe, -1), 1)) })
	x, y, us := []float64{0}, []float64{0}, []float64{0}
	for i, p := range sorted {
		switch {
		case p.Lobe <= 0 || p.Lobe > 100*measure.Millimetre || p.Valve <= 0 || p.Valve > 100*measure.Millimetre:
			return nil, worksheet.Wrongf("ratio_curve", "%v at the lobe and %v at the valve are no lifts (above 0, at most 100 mm)", p.Lobe, p.Valve)
		case p.Lobe.Millimetres() <= x[i] || p.Valve.Millimetres() <= y[i]:
			return nil, worksheet.Wrongf("ratio_curve", "at a lobe lift of %v the valve's, %v, does not grow with the lobe's: is the lash added, and each lobe lift given once?", p.Lobe, p.Valve)
		case p.ValveU != nil && (*p.ValveU < 0 || *p.ValveU > 5*measure.Millimetre):
			return nil, worksheet.Wrongf("ratio_curve", "%v is no uncertainty of a lift", *p.ValveU)
		}
		u := 0.02
		if p.ValveU != nil {
			u = p.ValveU.Millimetres()
		}
		x, y, us = append(x, p.Lobe.Millimetres()), append(y, p.Valve.Millimetres()), append(us, u/coverage)
	}
	line, err := smooth.NewLine(x, y, smooth.Natural)
	if err != nil {
		return nil, fmt.Errorf("ratio_curve: %w", err)
	}
	last := len(x) - 1
	return &transfer{most: x[last] * 1.2, valve: func(lobe float64) (lift, u float64) {
		i, _ := slices.BinarySearch(x, lobe)
		i = min(max(i, 1), last)
		if lobe > x[last] { // on by the last slope
			return y[last] + (lobe-x[last])*line.Slope(x[last]), us[last] * 2
		}
		return line.At(lobe), max(us[i-1], us[i])
	}, slopes: func(lobe float64) (ratio, u, change, changeU float64) {
		i, _ := slices.BinarySearch(x, lobe)
		i = min(max(i, 1), last)
		lobe = min(max(lobe, x[0]), x[last])
		// Over a fifth of the lift: from point to point the slope follows the errors.
		h := x[last] / 5
		low, high := max(x[0], lobe-h), min(x[last], lobe+h)
		mid, s := (low+high)/2, max(us[i-1], us[i])
		ratio = line.Slope(lobe)
		u = s * math.Sqrt2 / max(x[i]-x[i-1], h/2)
		change = 4 * (line.At(low) - 2*line.At(mid) + line.At(high)) / sq(high-low)
		return ratio, u, change, 4 * s * math.Sqrt(6) / sq(high-low)
	}}, nil
}

// level is a lift on a curve with its standard uncertainty, in mm, apart from what
// the curve's own points leave; heel says whether the curve's heel counts.
type level struct {
	lift measure.Length
	u    float64
	heel bool
}

// Through makes the curve go between lobe and valve by a measured ratio: the one
// that was fitted to this curve and another of the same valve.
func (c *Curve) Through(r RatioCurve) {
	c.transfer = &transfer{valve: r.at, slopes: r.slopes, most: r.top * 1.2, own: true}
	if c.options.MeasuredAt == AtLobe {
		c.transfer.own = false
	}
}

// ThroughPoints does so by the points of a ratio curve of the same rocker.
func (c *Curve) ThroughPoints(points []RatioPoint) error {
	t, err := byPoints(points)
	if err == nil {
		c.transfer = t
	}
	return err
}

// level returns the lift on this curve at which the given lift is reached at the
// given place: by the measured ratio, or else by the constant one of the options.
func (c *Curve) level(lift measure.Length, at Place) (level, error) {
	o := c.options
	at = at.or(o.MeasuredAt)
	if lift <= 0 {
		return level{}, fmt.Errorf("checking lift %v: it must be above the heel", lift)
	}
	if at == o.MeasuredAt {
		return level{lift, 0, true}, nil
	}
	t := c.transfer
	if t == nil {
		t = byOneNumber(o)
	}
	uLash := 0.0
	if o.Lash > 0 {
		uLash = feelerU.Millimetres() / coverage
	}
	if o.MeasuredAt == AtLobe {
		l, u := t.lobe((lift + o.Lash).Millimetres())
		return level{millimetres(l), math.Hypot(u, uLash/o.Ratio), true}, nil
	}
	v, u := t.valve(lift.Millimetres())
	if t.own {
		return level{millimetres(v), u, false}, nil
	}
	l := millimetres(v) - o.Lash
	if l <= 0 {
		return level{}, fmt.Errorf("checking lift %v at the lobe: the lash of %v at the valve hides it from an indicator there", lift, o.Lash)
	}
	return level{l, math.Hypot(u, uLash), true}, nil
}
