package timing

import (
	"math"
	"slices"

	"lobescribe/capture/timing/smooth"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Point is the lift at one crank angle.
type Point struct {
	Angle measure.Angle  `json:"angle_deg" bound:"crank"`
	Lift  measure.Length `json:"lift_mm" bound:"curve"`
}

// Direction says which way the indicator reads while the valve opens.
type Direction string

// The directions. The zero value means: find out (the heel is the wide flat).
const (
	Upwards   Direction = "up"
	Downwards Direction = "down"
)

// Method says how points become a curve.
type Method string

// The methods. The zero value is the spline for typed points up to 2000, and
// regression otherwise.
const (
	Spline     Method = "spline"     // natural cubic spline, every point believed
	Linear     Method = "linear"     // straight pieces
	Regression Method = "regression" // local cubic regression, robust
)

// Options say how a trace or a set of points was measured. The zero value is a
// trace at the valve, encoder on the crank, counting upwards without end, its
// zero at a top dead centre.
type Options struct {
	Valve Valve
	// TDC is what the encoder shows at a top dead centre (either of the two),
	// TDCU its expanded uncertainty, k = 2.
	TDC  measure.Angle
	TDCU measure.Angle
	// Period is the crank angle after which the lift repeats. Default 720; 360
	// for a two-stroke, or for points that were typed from a 360 degree wheel.
	Period measure.Angle
	// Wraps is the angle after which the encoder itself starts again at 0 (360
	// or 720). Default 0: it counts on, unless the trace shows that it does not.
	Wraps measure.Angle
	// OnCam: the encoder turns with the cam, at half the crank's speed.
	OnCam bool
	// CountsDown: the encoder counts down while the engine turns its way.
	CountsDown bool

	// Opens is which way the indicator reads when the valve opens. Default:
	// found from the trace. Typed points are always lifts above the heel.
	Opens Direction
	// MeasuredAt is where the indicator stood. Default AtValve.
	MeasuredAt Place
	// Ratio is the rocker ratio, default 1, and Lash the lash at the valve;
	// they are used only to go from valve to lobe and back. Of a trace at the
	// valve, Lash is the lash it was measured with.
	//
	// RatioU is the expanded uncertainty of that constant ratio over the whole
	// lift, default 0.06 of it; where a ratio curve is given ([Curve.Through]) the
	// constant is not used.
	Ratio  float64
	RatioU float64
	Lash   measure.Length

	// Resolution is the indicator's least step, AngleStep the encoder's
	// degrees a count. Default: the trace's own, or as found in its readings.
	// Of typed points it is the step to which they were rounded, default 0.
	Resolution measure.Length
	AngleStep  measure.Angle
	// Limit is the indicator's limit of error, ±. Default 0: not counted.
	Limit measure.Length

	Method Method
	// Step is the spacing of the curve, default 0.5 crank degrees; HalfWidth
	// the half width of the local regression, default 2 crank degrees, widened
	// where the readings stand farther apart.
	Step      measure.Angle
	HalfWidth measure.Angle
}

func (o Options) withDefaults() Options {
	if o.Period == 0 {
		o.Period = measure.Cycle
	}
	if o.Ratio == 0 {
		o.Ratio = 1
	}
	if o.RatioU == 0 && o.Ratio != 1 {
		o.RatioU = unknownRatioU * o.Ratio
	}
	if o.Step == 0 {
		o.Step = measure.Degree / 2
	}
	if o.HalfWidth == 0 {
		o.HalfWidth = 2 * measure.Degree
	}
	o.MeasuredAt = o.MeasuredAt.or(AtValve)
	return o
}

// UnknownTDCU is the expanded uncertainty of top dead centre where nobody told it:
// a stop or an indicator, used with care (common practice, no source). Every
// calculation takes the same.
const UnknownTDCU = measure.Degree

// uTDC is the standard uncertainty of top dead centre in degrees.
func (o Options) uTDC() float64 {
	if o.TDCU == 0 {
		return UnknownTDCU.Degrees() / coverage
	}
	return o.TDCU.Degrees() / coverage
}

// check names the option that cannot be.
func (o Options) check() error {
	switch {
	case o.Valve != "" && o.Valve != Intake && o.Valve != Exhaust:
		return worksheet.Wrongf("valve", "%q is neither intake nor exhaust", o.Valve)
	case o.Period < 90*measure.Degree || o.Period > 2*measure.Cycle:
		return worksheet.Wrongf("period_deg", "%v is no engine's cycle (720 for a four-stroke, 360 for a two-stroke)", o.Period)
	case o.Wraps < 0 || o.Wraps > 0 && o.Wraps < 90*measure.Degree:
		return worksheet.Wrongf("wraps_deg", "%v is no encoder's turn (360 or 720, or 0 if it counts on)", o.Wraps)
	case o.TDCU < 0 || o.TDCU > 90*measure.Degree:
		return worksheet.Wrongf("tdc_u_deg", "%v is no uncertainty of top dead centre (from 0 to 90)", o.TDCU)
	case o.Opens != "" && o.Opens != Upwards && o.Opens != Downwards:
		return worksheet.Wrongf("opens", "%q is neither up nor down", o.Opens)
	case o.MeasuredAt != "" && o.MeasuredAt != AtValve && o.MeasuredAt != AtLobe:
		return worksheet.Wrongf("measured_at", "%q is neither valve nor lobe", o.MeasuredAt)
	case !(o.Ratio >= 0.2 && o.Ratio <= 5):
		return worksheet.Wrongf("rocker_ratio", "%v is no rocker's ratio (from 0.2 to 5)", o.Ratio)
	case !(o.RatioU >= 0 && o.RatioU <= 1):
		return worksheet.Wrongf("rocker_ratio_u", "%v is no uncertainty of a ratio (from 0 to 1)", o.RatioU)
	case o.Lash < 0 || o.Lash > 10*measure.Millimetre:
		return worksheet.Wrongf("lash_mm", "%v is no lash (from 0 to 10 mm)", o.Lash)
	case o.Resolution < 0 || o.Resolution > measure.Millimetre:
		return worksheet.Wrongf("resolution_mm", "%v is no indicator's step (from 0 to 1 mm)", o.Resolution)
	case o.AngleStep < 0 || o.AngleStep > 45*measure.Degree:
		return worksheet.Wrongf("angle_step_deg", "%v is no encoder's step (from 0 to 45)", o.AngleStep)
	case o.Limit < 0 || o.Limit > measure.Millimetre:
		return worksheet.Wrongf("indicator_limit_mm", "%v is no limit of error (from 0 to 1 mm)", o.Limit)
	case o.Method != "" && o.Method != Spline && o.Method != Linear && o.Method != Regression:
		return worksheet.Wrongf("method", "%q is none of spline, linear, regression", o.Method)
	case o.Step < measure.Degree/20 || o.Step > 10*measure.Degree:
		return worksheet.Wrongf("step_deg", "%v (from 0.05 to 10)", o.Step)
	case o.HalfWidth < measure.Degree/10 || o.HalfWidth > 20*measure.Degree:
		return worksheet.Wrongf("half_width_deg", "%v (from 0.1 to 20)", o.HalfWidth)
	}
	return nil
}

// Made says what a curve was made of and how.
type Made struct {
	Method   Method `json:"method"`
	Readings int    `json:"readings"` // those that count
	LeftOut  int    `json:"left_out"` // turned back, at rest, or strayed
	// Openings is how many whole openings were laid over one another.
	Openings int `json:"openings"`
	// Heel is what the indicator showed on the heel, HeelShift the most by
	// which that moved between openings.
	Heel      measure.Length `json:"heel_mm"`
	HeelShift measure.Length `json:"heel_shift_mm"`
	// RunOut is how far the heel goes up and down over a turn, either way, and
	// HeelMap where; they hold the base circle's run-out, and bent or loose
	// parts. Absent where too little of the heel was seen.
	RunOut  *measure.Length `json:"run_out_mm,omitempty"`
	HeelMap []HeelPoint     `json:"heel_map,omitempty"`
	// Resolution and AngleStep as given or found.
	Resolution measure.Length `json:"resolution_mm"`
	AngleStep  measure.Angle  `json:"angle_step_deg"`
	// Step and HalfWidth are the spacing of the curve and the half width that
	// the regression needed over the opening; 0 for typed points.
	Step      measure.Angle `json:"step_deg,omitempty"`
	HalfWidth measure.Angle `json:"half_width_deg,omitempty"`
	// Warnings say what a person should look at.
	Warnings []worksheet.Sentence `json:"warnings,omitempty"`
}

// Curve is lift above the heel against crank degrees after the overlap's top
// dead centre. It covers at most one period with the nose in it. Make it by
// [FromTrace] or [FromPoints].
type Curve struct {
	options Options
	made    Made
	line    *smooth.Line
	x, y    []float64 // degrees, mm: the points of line
	// How the points were made of the readings (nil: they are the readings),
	// and the standard uncertainty of those readings, in mm.
	rows  []smooth.Row
	sigma []float64
	noise []float64 // standard uncertainty of y by chance, mm
	// coarse are the lines through every other typed point. How far they lie
	// from the line through all tells how far that may lie from the truth
	// between its points.
	coarse []*smooth.Line
	top    crown
	// transfer is the measured way from lobe to valve; nil: by one number.
	transfer *transfer
	// maxLift is that of the trace's findings; 0 for points.
	maxLift, maxLiftU measure.Length
	uHeel             float64 // of the heel's level, mm: all lifts share it
	// uSlip is by how much the turns disagree about one flank, degrees; uRunOut
	// of the base circle, mm.
	uSlip, uRunOut float64
	uTDC           float64 // degrees: all angles share it
}

// Made says what the curve was made of.
func (c *Curve) Made() Made { return c.made }

// Options returns the options with their defaults filled in.
func (c *Curve) Options() Options { return c.options }

// Points returns the points of the curve, for drawing.
func (c *Curve) Points() []Point {
	out := make([]Point, len(c.x))
	for i := range out {
		out[i] = Point{degrees(c.x[i]), millimetres(c.y[i])}
	}
	return out
}

// At returns the lift at a crank angle after the overlap's top dead centre.
// Outside the points it is that of the nearest.
func (c *Curve) At(a measure.Angle) measure.Length {
	return millimetres(c.line.At(a.Degrees()))
}

// Ends returns the first and last crank angle that the curve covers.
func (c *Curve) Ends() (first, last measure.Angle) {
	return degrees(c.x[0]), degrees(c.x[len(c.x)-1])
}

// uLift is the standard uncertainty by chance of the lift at x, in mm: of the
// readings, and of what runs between them.
func (c *Curve) uLift(x float64) float64 {
	between := 0.0
	for _, l := range c.coarse {
		between += math.Abs(c.line.At(x)-l.At(x)) / float64(len(c.coarse))
	}
	// Half the spacing divides the error of a spline by up to 16, that of
	// straight pieces and of a spline over a corner by 4, so that a third of
	// the difference (Richardson) is on the safe side.
	between /= 3
	i, found := slices.BinarySearch(c.x, x)
	switch {
	case found:
		return c.noise[i]
	case i == 0:
		return math.Hypot(c.noise[0], between)
	case i == len(c.x):
		return math.Hypot(c.noise[i-1], between)
	}
	return math.Hypot(max(c.noise[i-1], c.noise[i]), between)
}

// most is what FromPoints takes: a reading a tenth of a degree for ten cycles.
const most = 100_000

// crank takes an angle of the encoder to crank degrees after a top dead
// centre, growing the way the engine turns.
func (o Options) crank(a measure.Angle) float64 {
	d := (a - o.TDC).Degrees()
	if o.OnCam {
		d *= 2
	}
	if o.CountsDown {
		d = -d
	}
	return d
}

// frame takes a nose, in crank degrees after some top dead centre, to degrees
// after the overlap's: of all turns the one that puts it nearest to where such
// a nose belongs. Without knowing the valve it is put in the first period.
func (o Options) frame(nose float64) float64 {
	turn := measure.Turn.Degrees()
	switch o.Valve {
	case Intake:
		return nose - turn*math.Round((nose-110)/turn)
	case Exhaust:
		return nose - turn*math.Round((nose+110)/turn)
	}
	period := o.Period.Degrees()
	return nose - period*math.Floor(nose/period)
}

// warnOfEnds says so if the points do not reach down to the heel.
func (c *Curve) warnOfEnds() {
	_, top := c.line.Highest(c.x[0], c.x[len(c.x)-1])
	for _, end := range []struct {
		y    float64
		name string
	}{{c.y[0], "before it opens"}, {c.y[len(c.y)-1], "after it has closed"}} {
		if end.y > 0.05*top {
			c.warn("the curve does not reach the heel %s: it ends at %s of lift there", end.name, worksheet.Rounded(millimetres(end.y)))
		}
	}
}

func (c *Curve) warn(format string, args ...any) {
	c.made.Warnings = append(c.made.Warnings, worksheet.Sayf(format, args...))
}
