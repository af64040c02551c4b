package timing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"lobescribe/capture/timing/smooth"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// FromPoints makes a curve of typed lifts above the heel: every 5 degrees from
// a degree wheel, a published table, the lobe's design. Order does not matter,
// and points may lie anywhere in their cycle: they are turned so that the nose
// is in the middle.
func FromPoints(points []Point, opt Options) (*Curve, error) {
	opt = opt.withDefaults()
	if err := opt.check(); err != nil {
		return nil, err
	}
	if err := checkPoints(points); err != nil {
		return nil, err
	}
	xs, ys, ns, err := aroundNose(points, opt)
	if err != nil {
		return nil, err
	}
	if len(xs) < 8 {
		return nil, worksheet.Wrongf("angle_deg", "only %d different angles, at least 8 are needed", len(xs))
	}
	c := &Curve{options: opt, made: Made{Readings: len(points), Openings: 1, Resolution: opt.Resolution, AngleStep: opt.AngleStep}}
	if opt.Method == "" {
		opt.Method = Spline
		if len(xs) > 2000 {
			opt.Method = Regression
		}
		c.options.Method = opt.Method
	}
	c.made.Method = opt.Method
	c.uTDC = opt.uTDC()
	c.uHeel = math.Hypot(count(opt.Resolution.Millimetres()), rectangular(opt.Limit.Millimetres()))
	if opt.Method == Regression {
		xs, ys, ns = thinned(xs, ys, ns)
		if len(xs) < 12 {
			return nil, worksheet.Wrongf("angle_deg", "the points stand at %d places only, at least 12 are needed for a regression", len(xs))
		}
		return c, c.regress(xs, ys, ns, nil)
	}
	shape := smooth.Natural
	if opt.Method == Linear {
		shape = smooth.Straight
	}
	line, err := smooth.NewLine(xs, ys, shape)
	if err != nil {
		return nil, fmt.Errorf("curve through the points: %w", err)
	}
	c.line, c.x, c.y = line, xs, ys
	c.sigma = slices.Repeat([]float64{count(opt.Resolution.Millimetres())}, len(xs))
	c.noise = c.sigma
	if c.coarse, err = throughEveryOther(xs, ys, shape); err != nil {
		return nil, err
	}
	x, y := c.line.Highest(xs[0], xs[len(xs)-1])
	c.top = crown{x: x, y: y, ux: c.flatness(x, y), uy: c.uLift(x)}
	if s := scatterOfTyped(xs, ys, y); opt.Method != Linear && s > 1.3*count(opt.Resolution.Millimetres()) && s > leastScatter {
		// They scatter by more than they were rounded: the highest of them is where that
		// was kindest, and the nose is fitted, as that of a trace is.
		c.sigma = slices.Repeat([]float64{s}, len(xs))
		c.noise = c.sigma
		c.top = c.noseOf(xs, ys, slices.Repeat([]float64{1}, len(xs)), s)
	}
	c.warnOfEnds()
	return c, nil
}

// checkPoints finds what is no point of a valve's curve.
func checkPoints(points []Point) error {
	if len(points) < 8 {
		return worksheet.Wrongf("lift_mm", "%d points are too few for a curve, at least 8 are needed", len(points))
	}
	if len(points) > most {
		return worksheet.Wrongf("lift_mm", "%d points are more than the %d that are taken: thin them out", len(points), most)
	}
	for i, p := range points {
		if p.Lift.Abs() > 100*measure.Millimetre {
			return worksheet.Wrongf(fmt.Sprintf("lift_mm[%d]", i), "%v is no valve's lift (at most 100 mm)", p.Lift)
		}
		if p.Angle < -100*measure.Turn || p.Angle > 100*measure.Turn {
			return worksheet.Wrongf(fmt.Sprintf("angle_deg[%d]", i), "%v is over a hundred turns", p.Angle)
		}
	}
	return nil
}

// aroundNose lays typed points in crank degrees with the nose in the middle, in order.
// Points at one angle become their mean: ns is how many there were.
func aroundNose(points []Point, opt Options) (xs, ys, ns []float64, err error) {
	period := opt.Period.Degrees()
	top := slices.MaxFunc(points, func(a, b Point) int { return int(min(max(a.Lift-b.Lift, -1), 1)) })
	if top.Lift < 20*measure.Micrometre {
		return nil, nil, nil, worksheet.Wrongf("lift_mm", "the highest lift is %v, so no valve opens in it", top.Lift)
	}
	nose := opt.crank(top.Angle)
	frame := opt.frame(nose)
	type sample struct{ x, y float64 }
	all := make([]sample, len(points))
	for i, p := range points {
		// Within half a period either side of the nose.
		d := math.Mod(opt.crank(p.Angle)-nose, period)
		if d < -period/2 {
			d += period
		} else if d >= period/2 {
			d -= period
		}
		all[i] = sample{frame + d, p.Lift.Millimetres()}
	}
	slices.SortStableFunc(all, func(a, b sample) int { return cmp.Compare(a.x, b.x) })
	// Points at one angle (within a microdegree) become their mean.
	for _, s := range all {
		if k := len(xs) - 1; k >= 0 && s.x-xs[k] < 1e-6 {
			ys[k] += (s.y - ys[k]) / (ns[k] + 1)
			ns[k]++
			continue
		}
		xs, ys, ns = append(xs, s.x), append(ys, s.y), append(ns, 1)
	}
	return xs, ys, ns, nil
}

// throughEveryOther returns the curves through the even and the odd points, which tell
// how much the shape between two points is worth.
func throughEveryOther(xs, ys []float64, shape smooth.Shape) (lines []*smooth.Line, err error) {
	for odd := range 2 {
		var cx, cy []float64
		for i := range xs {
			if i%2 == odd || i == 0 || i == len(xs)-1 {
				cx, cy = append(cx, xs[i]), append(cy, ys[i])
			}
		}
		l, err := smooth.NewLine(cx, cy, shape)
		if err != nil {
			return nil, fmt.Errorf("curve through every other point: %w", err)
		}
		lines = append(lines, l)
	}
	return lines, nil
}
