package timing

import (
	"math"

	"lobescribe/capture/timing/smooth"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// DeriveOptions choose the Savitzky-Golay window. The zero value chooses it
// from the noise.
type DeriveOptions struct {
	// Step is the even spacing, default 0.5 crank degrees (1 where the points
	// were typed more than 1 degree apart).
	Step measure.Angle
	// HalfWindow is half of the window in crank degrees. Default: the
	// narrowest of 3, 4, 5, 6, 8, 10, 12, 15 degrees in which the band of the
	// acceleration is at most a tenth of its largest value.
	HalfWindow measure.Angle
	// Order of the polynomial, 3 to 6. Default 4: it follows a velocity's
	// parabola and an acceleration's curve over the window.
	Order int
}

// Derivatives are velocity, acceleration and jerk of a lift curve, per crank
// degree, with the band (expanded, k = 2) that noise leaves and what the window
// flattens, which is told from a narrower one. Nothing inside the band around 0 is
// the cam's.
type Derivatives struct {
	Step   measure.Angle `json:"step_deg"`
	Window int           `json:"window_points"`
	// HalfWindow is what Window comes to: features shorter than that are
	// flattened.
	HalfWindow measure.Angle        `json:"half_window_deg"`
	Order      int                  `json:"order"`
	Chosen     string               `json:"chosen"` // why this window
	Points     []Derivative         `json:"points"`
	Warnings   []worksheet.Sentence `json:"warnings,omitempty"`
}

// Derivative is one point of them.
type Derivative struct {
	Angle         measure.Angle  `json:"atdc_deg"`
	Lift          measure.Length `json:"lift_mm"`
	Velocity      float64        `json:"mm_per_deg"`
	VelocityU     float64        `json:"mm_per_deg_u"`
	Acceleration  float64        `json:"mm_per_deg2"`
	AccelerationU float64        `json:"mm_per_deg2_u"`
	Jerk          float64        `json:"mm_per_deg3"`
	JerkU         float64        `json:"mm_per_deg3_u"`
}

// Derivatives resamples the curve evenly, carrying along how each point was
// made of the readings, and differentiates by Savitzky-Golay. The noise of the
// result is worked out from the readings in one step, because neighbouring
// points of the curve share readings and are not independent.
func (c *Curve) Derivatives(o DeriveOptions) (Derivatives, error) {
	if o.Order == 0 {
		o.Order = 4
	}
	if o.Order < 3 || o.Order > 6 {
		return Derivatives{}, worksheet.Wrongf("derivatives.order", "%d (from 3, so that there is a jerk, to 6)", o.Order)
	}
	if o.Step == 0 {
		o.Step = measure.Degree / 2
		if c.rows == nil && (c.x[len(c.x)-1]-c.x[0])/float64(len(c.x)-1) > 1 {
			o.Step = measure.Degree
		}
	}
	if o.Step < measure.Degree/5 || o.Step > 5*measure.Degree {
		return Derivatives{}, worksheet.Wrongf("derivatives.step_deg", "%v (from 0.2 to 5)", o.Step)
	}
	even, rows := c.even(o.Step.Degrees())
	if o.HalfWindow < 0 || o.HalfWindow > 30*measure.Degree {
		return Derivatives{}, worksheet.Wrongf("derivatives.half_window_deg", "%v (from 0 to 30)", o.HalfWindow)
	}
	if o.HalfWindow != 0 {
		d, err := c.derive(even, rows, o)
		d.Chosen = "as asked"
		c.flattened(&d, even)
		return d, err
	}
	var d Derivatives
	for _, half := range []measure.Angle{3, 4, 5, 6, 8, 10, 12, 15} {
		try := o
		try.HalfWindow = half * measure.Degree
		if window(try) <= o.Order+1 {
			continue
		}
		next, err := c.derive(even, rows, try)
		if err != nil {
			if d.Points != nil {
				break // the points end before the window does: keep the last
			}
			return Derivatives{}, err
		}
		d = next
		if peak, band := d.acceleration(); band <= 0.1*peak {
			d.Chosen = "the narrowest window whose acceleration band is within a tenth of the largest acceleration"
			c.flattened(&d, even)
			return d, nil
		}
	}
	if d.Points == nil {
		return d, worksheet.Wrongf("derivatives.step_deg", "%v is too coarse for any window of up to 15 degrees", o.Step)
	}
	d.Chosen = "the widest window; even so the band is wide"
	d.Warnings = append(d.Warnings, worksheet.Sayf("the noise hides the acceleration: measure more openings, turn more slowly, or use a finer indicator"))
	c.flattened(&d, even)
	return d, nil
}

// flattened widens the bands of d by what its window flattens. A window two thirds
// as wide flattens less, by the fourth power of its width for velocity and
// acceleration and the square for jerk where the polynomial is of order 4 (the first
// power of the window that its moments do not cancel; derived here), so that what
// the two say otherwise, beyond what the noise makes of that, is most of what the
// wider one is off.
func (c *Curve) flattened(d *Derivatives, at []float64) {
	n := 2*int(math.Round(float64(d.Window/2)*2/3)) + 1
	if n <= d.Order+1 || n >= d.Window || len(d.Points) != len(at) {
		return
	}
	k, err := smooth.NewKernel(n, d.Order)
	if err != nil {
		return
	}
	lift := make([]float64, len(at))
	for i, x := range at {
		lift[i] = c.line.At(x)
	}
	narrower := float64(n) / float64(d.Window)
	for deriv, of := range []func(*Derivative) (v, u *float64){
		nil,
		func(p *Derivative) (v, u *float64) { return &p.Velocity, &p.VelocityU },
		func(p *Derivative) (v, u *float64) { return &p.Acceleration, &p.AccelerationU },
		func(p *Derivative) (v, u *float64) { return &p.Jerk, &p.JerkU },
	} {
		if of == nil {
			continue
		}
		rows, err := k.Rows(len(at), deriv, d.Step.Degrees())
		if err != nil {
			return
		}
		power := float64((d.Order-deriv)/2*2 + 2)
		share := 1 - math.Pow(narrower, power)
		noisier := math.Pow(narrower, -2*float64(deriv)-1) - 1 // of the variance
		apart, noise := make([]float64, len(at)), make([]float64, len(at))
		for i := range at {
			v, u := of(&d.Points[i])
			apart[i] = *v - rows[i].Of(lift)
			noise[i] = *u / coverage * math.Sqrt(noisier)
		}
		reach := d.HalfWindow.Degrees() / 2
		near, hiss := movingRMS(at, apart, reach), movingRMS(at, noise, reach)
		for i := range at {
			_, u := of(&d.Points[i])
			// Near a turn of the curve the flattening is at its most, and the mean
			// about it is not.
			off := math.Sqrt(max(sq(near[i])-sq(hiss[i]), 0, sq(apart[i])-sq(3*noise[i]))) / share
			*u = math.Hypot(*u, coverage*rectangular(1)*math.Sqrt2*off)
		}
	}
}

func window(o DeriveOptions) int {
	return 2*int(math.Round(o.HalfWindow.Degrees()/o.Step.Degrees())) + 1
}

// even returns positions step apart, and how the lift there is made of the
// readings.
func (c *Curve) even(step float64) (at []float64, rows []smooth.Row) {
	first, last := math.Ceil(c.x[0]/step-1e-9), math.Floor(c.x[len(c.x)-1]/step+1e-9)
	for k := first; k <= last; k++ {
		at = append(at, k*step)
	}
	rows = c.line.Resample(at)
	for i := range rows {
		rows[i] = rows[i].Through(c.rows)
	}
	return at, rows
}

func (c *Curve) derive(at []float64, rows []smooth.Row, o DeriveOptions) (Derivatives, error) {
	step, n := o.Step.Degrees(), window(o)
	if n <= o.Order {
		return Derivatives{}, worksheet.Wrongf("derivatives.half_window_deg", "%v holds too few points %v apart for order %d", o.HalfWindow, o.Step, o.Order)
	}
	if n > len(at) {
		return Derivatives{}, worksheet.Wrongf("derivatives.half_window_deg", "the window of %v either side is wider than the curve", o.HalfWindow)
	}
	k, err := smooth.NewKernel(n, o.Order)
	if err != nil {
		return Derivatives{}, err
	}
	d := Derivatives{Step: o.Step, Window: n, HalfWindow: degrees(float64(n/2) * step), Order: o.Order, Points: make([]Derivative, len(at))}
	var kernels [4][]smooth.Row
	for deriv := range kernels {
		if kernels[deriv], err = k.Rows(len(at), deriv, step); err != nil {
			return Derivatives{}, err
		}
	}
	lift := make([]float64, len(at))
	for i, x := range at {
		lift[i] = c.line.At(x)
	}
	value := func(i, deriv int) (v, u float64) {
		r := kernels[deriv][i]
		return r.Of(lift), coverage * r.Through(rows).Noise(c.sigma)
	}
	for i, x := range at {
		p := Derivative{Angle: degrees(x), Lift: millimetres(kernels[0][i].Of(lift))}
		p.Velocity, p.VelocityU = value(i, 1)
		p.Acceleration, p.AccelerationU = value(i, 2)
		p.Jerk, p.JerkU = value(i, 3)
		d.Points[i] = p
	}
	return d, nil
}

// acceleration returns the largest acceleration and the median band over the
// opening.
func (d Derivatives) acceleration() (peak, band float64) {
	var us []float64
	top := measure.Length(0)
	for _, p := range d.Points {
		top = max(top, p.Lift)
	}
	for _, p := range d.Points {
		if p.Lift > top/50 {
			peak = max(peak, math.Abs(p.Acceleration))
			us = append(us, p.AccelerationU)
		}
	}
	if len(us) == 0 {
		return 0, 0
	}
	return peak, median(us)
}
