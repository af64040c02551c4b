package clearance

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/interp"

	"lobescribe/capture/timing"
	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// The crowns a piston can have under the valve.
const (
	PocketParallel = "parallel" // a pocket square to the valve's axis
	CrownFlat      = "flat"     // square to the cylinder's axis
)

// CurvePoint is the valve's lift at one crank angle.
type CurvePoint struct {
	Angle measure.Angle  `json:"angle_deg" bound:"crank"`
	Lift  measure.Length `json:"lift_mm" bound:"curve"`
}

// PistonQuestion asks how near valve and piston come through the overlap.
type PistonQuestion struct {
	Stroke measure.Length `json:"stroke_mm" bound:"stroke" flag:"stroke" help:"stroke of the crank; asks for valve to piston"`
	Rod    measure.Length `json:"rod_mm" bound:"rod" flag:"con-rod" help:"connecting rod between its centres"` // between its centres
	// Valve is "intake" (the default) or "exhaust"; only the usual minimum
	// hangs on it.
	Valve string `json:"valve,omitzero" flag:"valve" help:"intake or exhaust (default intake)"`
	// Curve is the valve's lift against crank angle, angles rising. TDC is the
	// angle of the curve at which the crank is at the top dead centre of the
	// overlap.
	Curve []CurvePoint  `json:"curve" flag:"curve" form:"FILE" help:"lift curve: CSV with a header row, columns angle_deg and lift_mm, angles rising"`
	TDC   measure.Angle `json:"tdc_deg,omitzero" bound:"crank" flag:"tdc" help:"angle of the curve at top dead centre of the overlap (default 0)"`
	// MeasuredAt and Measured are the one clearance that was measured: how far
	// the valve could be pushed open from where the cam held it.
	MeasuredAt *measure.Angle  `json:"measured_at_deg" bound:"crank" flag:"measured-at" help:"angle of the curve at which that was"`
	Measured   *measure.Length `json:"measured_clearance_mm" bound:"gap" flag:"measured" help:"clearance measured by pushing the valve open until it touched"`
	// ValveLean is the valve's axis against the cylinder's; Crown is
	// PocketParallel (the default) or CrownFlat.
	ValveLean measure.Angle `json:"valve_lean_deg,omitzero" bound:"far lean" flag:"valve-lean" help:"the valve's lean against the cylinder"`
	Crown     string        `json:"crown,omitzero" flag:"crown" help:"parallel (a pocket square to the valve, default) or flat"`
	// CurveLash is the lash at the valve with which the curve was taken, Lashes
	// those to work the clearance out for. Default: CurveLash alone.
	CurveLash measure.Length   `json:"curve_lash_mm,omitzero" bound:"lash" flag:"curve-lash" help:"lash at the valve with which the curve was taken"`
	Lashes    []measure.Length `json:"lashes_mm,omitempty" bound:"lash" flag:"lash" help:"lashes to work it out for, by commas"`
	// Cam lists by how many crank degrees the cam is advanced (below zero:
	// retarded) against the curve. Default -8 to 8 by 2.
	Cam   []measure.Angle `json:"cam_deg,omitempty" bound:"cam" flag:"cam" help:"cam advance in crank degrees to work it out for, by commas (default -8 to 8 by 2)"`
	Limit *measure.Length `json:"limit_mm,omitempty" bound:"limit" flag:"piston-limit" help:"least clearance to keep between valve and piston"`
	// Expanded uncertainties (k = 2) of the measured clearance, of top dead
	// centre and of a lift. Default 0.1 mm, timing.UnknownTDCU, 0.02 mm.
	MeasuredU *measure.Length `json:"measured_clearance_u_mm,omitempty" bound:"u" flag:"measured-u" help:"how well that clearance was measured (k = 2; default 0.1 mm)"`
	TDCU      *measure.Angle  `json:"tdc_u_deg,omitempty" bound:"angle u" flag:"tdc-u" help:"how well top dead centre is known (k = 2; default that of one that nobody measured)"`
	LiftU     *measure.Length `json:"lift_u_mm,omitempty" bound:"u" flag:"lift-u" help:"how well a lift of the curve is known (k = 2; default 0.02 mm)"`
	// Doubts are reasons not to judge the answer: a top dead centre that puts the
	// nose where no cam has it, a curve that was simulated.
	Doubts []verdict.Doubt `json:"doubts,omitempty"`
}

// PistonAnswer is the least clearance, and how it moves with cam and lash.
type PistonAnswer struct {
	// Least is for the curve as it was taken.
	Least Gap `json:"least"`
	// At is where, after top dead centre (below zero: before it), Lift the
	// valve's lift there and Piston how far down the piston is.
	At     measure.Angle  `json:"at_deg"`
	Where  string         `json:"where"` // "12.5 ATDC"
	Lift   measure.Length `json:"lift_mm"`
	Piston measure.Length `json:"piston_mm"`
	// Drop is how far the valve would fall from its seat to the piston at top
	// dead centre.
	Drop  measure.Length `json:"drop_mm"`
	Cases []PistonCase   `json:"cases"`
	// Curve is the clearance through the overlap, for a drawing.
	Curve []PistonPoint        `json:"curve"`
	Says  []worksheet.Sentence `json:"says"`
}

// PistonCase is the least clearance for one cam timing and one lash.
type PistonCase struct {
	Cam   measure.Angle  `json:"cam_deg"`
	Lash  measure.Length `json:"lash_mm"`
	Least measure.Length `json:"least_mm"`
	At    measure.Angle  `json:"at_deg"`
	// Verdict holds Least, with the U of the curve as it was taken, against the
	// limit.
	Verdict verdict.Verdict `json:"verdict"`
}

// PistonPoint is one point of the drawing.
type PistonPoint struct {
	Angle     measure.Angle  `json:"angle_deg"` // after top dead centre
	Piston    measure.Length `json:"piston_mm"`
	Lift      measure.Length `json:"lift_mm"`
	Clearance measure.Length `json:"clearance_mm"`
}

const (
	mostPoints = 20_000
	mostCases  = 400
	fine       = 0.25 // degrees between the places that are looked at
	drawnTo    = 60   // degrees either side of top dead centre that are drawn
)

// piston is how far the piston is below its top dead centre, mm, with the pin on
// the cylinder's axis and a crank radius r below the rod length l. It has a form that keeps its digits near top dead centre, where
// l + r - (...) would take a small number from a large one twice:
// r (1 - cos) + r^2 sin^2 / (l + sqrt(l^2 - r^2 sin^2)).
func piston(r, l, deg float64) float64 {
	sin, _ := math.Sincos(deg * math.Pi / 180)
	half := math.Sin(deg * math.Pi / 360)
	across := r * sin
	return 2*r*half*half + across*across/(l+math.Sqrt(l*l-across*across))
}

// speed is d(piston)/d(angle), mm a degree.
func pistonSpeed(r, l, deg float64) float64 {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return r * sin * (1 + r*cos/math.Sqrt(l*l-r*r*sin*sin)) * math.Pi / 180
}

func (q PistonQuestion) check() error {
	var c worksheet.Check
	c.Positive("piston.stroke_mm", q.Stroke)
	c.Positive("piston.rod_mm", q.Rod)
	c.That(q.Rod >= q.Stroke, "piston.rod_mm", "is %v, shorter than the stroke of %v, as no engine's rod between its centres is: were the two swapped?", q.Rod, q.Stroke)
	c.That(q.Valve == "" || q.Valve == "intake" || q.Valve == "exhaust", "piston.valve", "is %q: expected \"intake\" or \"exhaust\"", q.Valve)
	c.That(q.Crown == "" || q.Crown == PocketParallel || q.Crown == CrownFlat, "piston.crown", "is %q: expected %q or %q", q.Crown, PocketParallel, CrownFlat)
	c.That(len(q.Curve) >= 4, "piston.curve", "has %d points: give angle_deg and lift_mm of 4 at least, better one every 5 degrees or finer", len(q.Curve))
	c.That(len(q.Curve) <= mostPoints, "piston.curve", "has %d points: no more than %d", len(q.Curve), mostPoints)
	for i, p := range q.Curve {
		if c.Err() != nil {
			break
		}
		field := func(name string) string { return fmt.Sprintf("piston.curve[%d].%s", i, name) }
		c.Lean(field("angle_deg"), p.Angle, 2*measure.Cycle)
		c.That(p.Lift >= -measure.Millimetre && p.Lift <= 100*measure.Millimetre, field("lift_mm"), "is %v: expected 0 to 100 mm", p.Lift)
		c.That(i == 0 || p.Angle > q.Curve[max(0, i-1)].Angle, field("angle_deg"), "is %v, not above the one before: angles must rise", p.Angle)
	}
	c.That(q.Measured != nil, "piston.measured_clearance_mm", "is missing: push the valve open by hand at one angle until it touches, and give how far it went")
	c.That(q.MeasuredAt != nil, "piston.measured_at_deg", "is missing: at which angle of the curve was the clearance measured?")
	if c.Err() == nil {
		c.NotNegative("piston.measured_clearance_mm", *q.Measured)
		first, last := q.Curve[0].Angle, q.Curve[len(q.Curve)-1].Angle
		c.That(last-first <= measure.Cycle, "piston.curve", "spans %v: one opening is less than a cycle", last-first)
		c.That(*q.MeasuredAt >= first && *q.MeasuredAt <= last, "piston.measured_at_deg", "is %v, outside of the curve (%v to %v)", *q.MeasuredAt, first, last)
	}
	c.Lean("piston.tdc_deg", q.TDC, 2*measure.Cycle)
	c.Lean("piston.valve_lean_deg", q.ValveLean, 60*measure.Degree)
	c.NotNegative("piston.curve_lash_mm", q.CurveLash)
	for i, l := range q.Lashes {
		c.NotNegative(fmt.Sprintf("piston.lashes_mm[%d]", i), l)
	}
	for i, a := range q.Cam {
		c.Lean(fmt.Sprintf("piston.cam_deg[%d]", i), a, 60*measure.Degree)
	}
	c.That(max(1, len(q.Lashes))*max(9, len(q.Cam)) <= mostCases, "piston.cam_deg", "asks for more than %d cases", mostCases)
	checkOptional(&c, "piston.limit_mm", q.Limit)
	checkOptional(&c, "piston.measured_clearance_u_mm", q.MeasuredU)
	checkOptional(&c, "piston.lift_u_mm", q.LiftU)
	if q.TDCU != nil {
		c.That(*q.TDCU >= 0 && *q.TDCU <= 20*measure.Degree, "piston.tdc_u_deg", "is %v: expected 0 to 20 deg", *q.TDCU)
	}
	return c.Err()
}

// passage is valve and piston through one opening; angles in degrees after top
// dead centre, lengths in millimetres along the valve's axis.
type passage struct {
	radius, rod float64
	factor      float64 // piston travel to the valve's axis
	floor       float64 // from the seat to the piston at top dead centre
	angles      []float64
	lifts       []float64
	curve       interp.FritschButland
	step        float64   // degrees between
	looked      []float64 // lifts from the first angle on, worked out once
}

// lift between the points runs without overshoot, so that a heel stays a heel;
// outside of the curve it stays what it was at its end.
func (p *passage) lift(deg float64) float64 {
	return p.curve.Predict(min(max(deg, p.angles[0]), p.angles[len(p.angles)-1]))
}

// straight is lift by straight lines: how far it lies from lift says how far
// either may be wrong between points.
func (p *passage) straight(deg float64) float64 {
	i := min(max(sort.SearchFloat64s(p.angles, deg), 1), len(p.angles)-1)
	t := (deg - p.angles[i-1]) / (p.angles[i] - p.angles[i-1])
	return p.lifts[i-1] + min(1, max(0, t))*(p.lifts[i]-p.lifts[i-1])
}

func (p *passage) down(deg float64) float64 { return piston(p.radius, p.rod, deg) }

// clear is the clearance with the cam advanced and the lash wider by so much.
func (p *passage) clear(deg, advance, wider float64) float64 {
	return p.room(deg) - max(0, p.lift(deg+advance)-wider)
}

// room is from the valve's seat to the piston.
func (p *passage) room(deg float64) float64 { return p.floor + p.factor*p.down(deg) }

// least looks at every quarter of a degree and then between: the clearance may
// have two valleys, either side of top dead centre.
func (p *passage) least(advance, wider float64) (at, clear float64) {
	first, last := p.angles[0]-advance, p.angles[len(p.angles)-1]-advance
	best, least := 0, math.Inf(1)
	for i, lift := range p.looked {
		if c := p.room(first+float64(i)*p.step) - max(0, lift-wider); c < least {
			best, least = i, c
		}
	}
	lo, hi := max(first, first+float64(best-1)*p.step), min(last, first+float64(best+1)*p.step)
	for range 40 { // to a billionth of a step
		a, b := lo+(hi-lo)*0.382, lo+(hi-lo)*0.618
		if p.clear(a, advance, wider) < p.clear(b, advance, wider) {
			hi = b
		} else {
			lo = a
		}
	}
	at = (lo + hi) / 2
	for _, edge := range []float64{first, last, first + float64(best)*p.step} {
		if p.clear(edge, advance, wider) <= p.clear(at, advance, wider) {
			at = edge
		}
	}
	return at, p.clear(at, advance, wider)
}

func (q PistonQuestion) passage() (*passage, error) {
	p := &passage{radius: q.Stroke.Millimetres() / 2, rod: q.Rod.Millimetres()}
	cos := math.Cos(q.ValveLean.Degrees() * math.Pi / 180)
	p.factor = cos
	if q.Crown == CrownFlat {
		p.factor = 1 / cos
	}
	for _, c := range q.Curve {
		p.angles = append(p.angles, (c.Angle - q.TDC).Degrees())
		p.lifts = append(p.lifts, max(0, c.Lift.Millimetres()))
	}
	if err := p.curve.Fit(p.angles, p.lifts); err != nil {
		return nil, fmt.Errorf("drawing the lift curve: %w", err)
	}
	span := p.angles[len(p.angles)-1] - p.angles[0]
	steps := max(2, int(math.Ceil(span/fine)))
	p.step = span / float64(steps)
	for i := range steps + 1 {
		p.looked = append(p.looked, p.lift(p.angles[0]+float64(i)*p.step))
	}
	at := (*q.MeasuredAt - q.TDC).Degrees()
	p.floor = q.Measured.Millimetres() + p.lift(at) - p.factor*p.down(at)
	return p, nil
}

func (q PistonQuestion) solve(basis *worksheet.Basis) (PistonAnswer, error) {
	a := PistonAnswer{Says: []worksheet.Sentence{}}
	if err := q.check(); err != nil {
		return a, err
	}
	p, err := q.passage()
	if err != nil {
		return a, err
	}
	at, least := p.least(0, 0)
	usual := usualIntake
	if q.Valve == "exhaust" {
		usual = usualExhaust
	}
	a.Least = Gap{
		Left: measure.FromMillimetres(least), LeftU: measure.FromMillimetres(p.uncertainty(q, at)),
		Limit: q.Limit, Usual: usual,
	}.judged("valve to piston, the nearest", q.Doubts...)
	a.At, a.Where = measure.FromDegrees(at), where(at)
	a.Lift, a.Piston = measure.FromMillimetres(p.lift(at)), measure.FromMillimetres(p.down(at))
	a.Drop = measure.FromMillimetres(p.floor)
	a.Cases = q.cases(p, a.Least.LeftU)
	if says := q.impossible(p); says != "" {
		a.Says = append(a.Says, worksheet.Sayf("%s", says))
		not := verdict.Not(verdict.Doubtful, "%s", says)
		a.Least.Verdict, a.Least.Says = not, worksheet.Sayf("%s", says)
		for i := range a.Cases {
			a.Cases[i].Verdict = not
		}
	}
	for _, c := range a.Cases {
		if c.Least <= 0 {
			a.Says = append(a.Says, worksheet.Sayf("with the cam at %v and %v of lash, valve and piston touch", c.Cam, c.Lash))
			break
		}
	}
	first, last := p.angles[0], p.angles[len(p.angles)-1]
	if (at-first < fine || last-at < fine) && p.lift(at) > 0.1 {
		a.Says = append(a.Says, worksheet.Sayf("the nearest is at the end of the curve, with the valve still open: take more of the curve, the true least may lie beyond"))
	}
	turns := math.Round((first + last) / 2 / 360) // the drawing is about the centre nearest to the curve
	from, to := max(first, turns*360-drawnTo), min(last, turns*360+drawnTo)
	for deg := math.Ceil(from); deg <= to; deg++ {
		a.Curve = append(a.Curve, PistonPoint{
			Angle: measure.FromDegrees(deg), Piston: measure.FromMillimetres(p.down(deg)),
			Lift: measure.FromMillimetres(p.lift(deg)), Clearance: measure.FromMillimetres(p.clear(deg, 0, 0)),
		})
	}
	basis.Assume("the pin is on the cylinder's axis; parts are cold and still, nothing stretches or floats")
	basis.Assume("cam_deg above zero is advance: the valve's events come that many crank degrees earlier")
	if q.Crown == "" && q.ValveLean != 0 {
		basis.Assume("the pocket is cut square to the valve's axis")
	}
	basis.Cite("piston position: Heywood, Internal Combustion Engine Fundamentals, eq. 2.5, from memory")
	return a, nil
}

// impossible says why nothing is to be judged of a curve whose nose stands where no
// cam puts one: then top dead centre is not what was told. Noses lie within 45
// degrees of 110 from the overlap's (common practice, no source).
func (q PistonQuestion) impossible(p *passage) string {
	nose, most := 0.0, 0.0
	for i, lift := range p.looked {
		if lift > most {
			nose, most = p.angles[0]+float64(i)*p.step, lift
		}
	}
	side, from := "after", math.Remainder(nose, 720)
	if q.Valve == "exhaust" {
		side, from = "before", -from
	}
	if most <= 0 || from > 65 && from < 155 || nose == p.angles[0] || nose >= p.angles[len(p.angles)-1]-p.step {
		return "" // or the curve ends before its nose, and does not say
	}
	return fmt.Sprintf("not to be judged: by this top dead centre the nose stands %.0f deg %s it, and no cam puts it there (65 to 155): find top dead centre first", from, side)
}

// uncertainty of the least clearance. Top dead centre out by d moves the piston
// both where the clearance was measured and where it is least.
func (p *passage) uncertainty(q PistonQuestion, at float64) float64 {
	measuredAt := (*q.MeasuredAt - q.TDC).Degrees()
	tdc := timing.UnknownTDCU
	if q.TDCU != nil {
		tdc = *q.TDCU
	}
	slope := p.factor * (pistonSpeed(p.radius, p.rod, at) - pistonSpeed(p.radius, p.rod, measuredAt))
	lift := orDefault(q.LiftU, 20*measure.Micrometre).Millimetres()
	between := 2 * math.Abs(p.lift(at)-p.straight(at)) / math.Sqrt(3)
	return worksheet.Combine(
		orDefault(q.MeasuredU, 100*measure.Micrometre).Millimetres(),
		slope*tdc.Degrees(), lift, lift, between,
	)
}

// cases works the table of cam timings and lashes out.
func (q PistonQuestion) cases(p *passage, u measure.Length) []PistonCase {
	lashes, cams := q.Lashes, q.Cam
	if len(lashes) == 0 {
		lashes = []measure.Length{q.CurveLash}
	}
	if len(cams) == 0 {
		for d := -8 * measure.Degree; d <= 8*measure.Degree; d += 2 * measure.Degree {
			cams = append(cams, d)
		}
	}
	var cases []PistonCase
	for _, lash := range lashes {
		for _, cam := range cams {
			at, least := p.least(cam.Degrees(), (lash - q.CurveLash).Millimetres())
			c := PistonCase{Cam: cam, Lash: lash, Least: measure.FromMillimetres(least), At: measure.FromDegrees(at)}
			c.Verdict = verdict.Judge(verdict.Figure[measure.Length]{Value: c.Least, U: u, Doubts: q.Doubts}, verdict.Limits[measure.Length]{Least: q.Limit})
			cases = append(cases, c)
		}
	}
	return cases
}

// where writes an angle in the trade's way, about the nearest dead centre.
func where(deg float64) string {
	deg -= 360 * math.Round(deg/360)
	if deg < 0 {
		return fmt.Sprintf("%.1f BTDC", -deg)
	}
	return fmt.Sprintf("%.1f ATDC", deg)
}
