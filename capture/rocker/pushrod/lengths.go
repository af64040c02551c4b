package pushrod

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// How a checking rod was measured.
const (
	Overall = "overall"
	Centres = "centres"
	Gauge   = "gauge"
)

// End is an end piece that is pressed into the tube.
type End struct {
	// Length is the whole piece, PressDepth what of it goes into the tube.
	Length     measure.Length `json:"length_mm" bound:"piece"`
	PressDepth measure.Length `json:"press_depth_mm" bound:"press"`
	// BallDiameter is that of its ball (or of the ball its cup takes).
	BallDiameter measure.Length `json:"ball_diameter_mm,omitzero" bound:"ball"`
	// CupDepth, above zero, says that the end is a cup and how deep it is from its
	// rim to its bottom; overall lengths go over the rim.
	CupDepth measure.Length `json:"cup_depth_mm,omitzero" bound:"cup"`
}

// inside is how far the middle of the ball lies inside the rod's overall length: a
// ball's own by its radius, the ball in a cup by the depth less the radius. It is
// below zero where that middle stands outside of the rim.
func (e End) inside() measure.Length {
	r := measure.FromMillimetres(e.BallDiameter.Millimetres() / 2)
	if e.CupDepth > 0 {
		return e.CupDepth - r
	}
	return r
}

func (e End) adds() measure.Length { return e.Length - e.PressDepth }

// Rod is one valve's checking rod at zero lash, with the valve closed and the
// lifter on the heel.
type Rod struct {
	Valve    string         `json:"valve"`
	Checking measure.Length `json:"checking_rod_mm" bound:"pushrod"`
}

// Question asks for the cut lengths of one rod or of an engine's.
type Question struct {
	// Checking is the only rod, or Rods are those of the engine.
	Checking measure.Length `json:"checking_rod_mm,omitzero" bound:"pushrod" flag:"checking" help:"checking rod at zero lash"`
	Rods     []Rod          `json:"rods,omitempty" flag:"rod" form:"VALVE=LENGTH" help:"a checking rod of an engine, as in \"1 intake = 8.712 in\"; again for each valve"`
	// Measured says over what: Overall (the default), Centres or Gauge.
	Measured string `json:"measured,omitzero" flag:"measured" help:"over what the checking rod was measured: overall, centres or gauge (default overall)"`
	// GaugeDiameter is the hole of the gauging ring.
	GaugeDiameter measure.Length `json:"gauge_diameter_mm,omitzero" bound:"hole" flag:"gauge" help:"hole of the gauging ring"`
	// Ends are the lower and the upper end piece; one stands for both. Left
	// out, no tube length is told.
	Ends []End `json:"ends,omitempty" flag:"end" form:"LENGTH:DEPTH[:BALL[:CUP]]" help:"an end piece: its length, how deep it is pressed in, its ball, and of a cup its depth; once for both ends, or twice"`
	// CheckingU is the expanded uncertainty (k = 2) of a checking rod's length,
	// EndU that of what an end piece adds. Default 0.05 mm and 0.03 mm.
	CheckingU *measure.Length `json:"checking_rod_u_mm,omitempty" bound:"u" flag:"checking-u" help:"how well the checking rod is measured (k = 2; default 0.05 mm)"`
	EndU      *measure.Length `json:"end_u_mm,omitempty" bound:"u" flag:"end-u" help:"how well an end piece's length is known (k = 2; default 0.03 mm)"`
	// StackChange is what goes under the stand after the checking (below zero:
	// what comes out); it needs RockerRatio.
	StackChange measure.Length `json:"stack_change_mm,omitzero" bound:"move" flag:"stack-change" help:"shims added after the checking; needs --ratio"`
	RockerRatio float64        `json:"rocker_ratio,omitzero" bound:"ratio" flag:"ratio" help:"rocker ratio"`
	PushrodLean measure.Angle  `json:"pushrod_lean_deg,omitzero" bound:"lean" flag:"lean" help:"the pushrod's lean against the valve axis"`
	// AdjusterDown is how much further down the adjuster is to stand than it
	// did when the checking rod was set; ThreadLeft how far down it could still
	// go then.
	AdjusterDown measure.Length  `json:"adjuster_down_mm,omitzero" bound:"move" flag:"adjuster-down" help:"how much further down the adjuster is to stand"`
	ThreadLeft   *measure.Length `json:"thread_left_mm,omitempty" bound:"thread" flag:"thread-left" help:"how far down the adjuster could go when the checking rod was set"`
	// Preload is by how much a hydraulic lifter is to be pressed in.
	Preload measure.Length `json:"preload_mm,omitzero" bound:"preload" flag:"preload" help:"preload of a hydraulic lifter"`
	// Step is what the saw or lathe works to; lengths are rounded to it.
	// Default 0.05 mm.
	Step measure.Length `json:"step_mm,omitzero" bound:"step" flag:"step" help:"what the saw or lathe works to (default 0.05 mm, or 0.001 in when lengths are in inches)"`
	// Lash asks for the cold lash.
	Lash *LashQuestion `json:"lash,omitempty"`
}

// Answer is the cut list, and the cold lash if it was asked for.
type Answer struct {
	Cuts []Cut `json:"cuts"`
	// Tally counts the rods of each length, longest first.
	Tally []Tally `json:"tally"`
	// Longer is what stack, adjuster and preload add to a checking rod: for the
	// first of the rods.
	Longer measure.Length `json:"longer_mm"`
	// ThreadLeft is how far down the adjuster can go afterwards.
	ThreadLeft *measure.Length      `json:"thread_left_mm,omitempty"`
	Lash       *LashAnswer          `json:"lash,omitempty"`
	Says       []worksheet.Sentence `json:"says"`
	worksheet.Basis
}

// Cut is one rod to make.
type Cut struct {
	Valve   string         `json:"valve"`
	Overall measure.Length `json:"overall_mm"`
	// Centres and Gauge are told when the ball and the ring are known, Tube
	// when the ends are. Tube is rounded to the step.
	Centres *measure.Length `json:"centres_mm,omitempty"`
	Gauge   *measure.Length `json:"gauge_mm,omitempty"`
	Tube    *measure.Length `json:"tube_mm,omitempty"`
	// LengthU is the expanded uncertainty of all of them, the rounding of the
	// cut included.
	LengthU measure.Length `json:"length_u_mm"`
}

// Tally is how many rods are cut to one length (of the tube, or overall when
// the ends are not known).
type Tally struct {
	Length measure.Length `json:"length_mm"`
	Count  int            `json:"count"`
	Valves []string       `json:"valves"`
}

const (
	defaultCheckingU = 50 * measure.Micrometre
	defaultEndU      = 30 * measure.Micrometre
	defaultStep      = 50 * measure.Micrometre
	mostRods         = 128
)

func (q Question) check() error {
	var c worksheet.Check
	if c.Bounds(q); c.Err() != nil {
		return c.Err()
	}
	c.That((q.Checking != 0) != (len(q.Rods) > 0), "checking_rod_mm",
		"give checking_rod_mm for one rod, or rods for the engine's: one of the two")
	c.NotNegative("checking_rod_mm", q.Checking)
	c.That(len(q.Rods) <= mostRods, "rods", "has %d rods: no more than %d", len(q.Rods), mostRods)
	for i, r := range q.Rods {
		c.Positive(fmt.Sprintf("rods[%d].checking_rod_mm", i), r.Checking)
		c.That(r.Valve != "", fmt.Sprintf("rods[%d].valve", i), "is missing: which valve is it of?")
	}
	c.That(slices.Contains([]string{"", Overall, Centres, Gauge}, q.Measured), "measured",
		"is %q: expected %q, %q or %q", q.Measured, Overall, Centres, Gauge)
	c.NotNegative("gauge_diameter_mm", q.GaugeDiameter)
	c.That(len(q.Ends) <= 2, "ends", "has %d pieces: a rod has two ends", len(q.Ends))
	for i, e := range q.Ends {
		field := func(name string) string { return fmt.Sprintf("ends[%d].%s", i, name) }
		c.Positive(field("length_mm"), e.Length)
		c.NotNegative(field("press_depth_mm"), e.PressDepth)
		c.That(e.PressDepth < e.Length, field("press_depth_mm"), "is %v, but the whole piece is %v", e.PressDepth, e.Length)
		c.NotNegative(field("ball_diameter_mm"), e.BallDiameter)
		c.NotNegative(field("cup_depth_mm"), e.CupDepth)
		c.That(e.CupDepth == 0 || e.BallDiameter > 0, field("ball_diameter_mm"), "is missing: of a cup, that of the ball it takes")
		c.That(e.CupDepth == 0 || q.Measured != Gauge, "measured", "is %q: a gauging ring does not sit on a cup; measure overall, over the rim", Gauge)
		c.That(q.GaugeDiameter == 0 || e.BallDiameter == 0 || q.GaugeDiameter < e.BallDiameter, "gauge_diameter_mm",
			"is %v: the ring does not sit on a ball of %v", q.GaugeDiameter, e.BallDiameter)
	}
	if q.Measured == Gauge {
		c.That(q.GaugeDiameter > 0, "gauge_diameter_mm", "is missing: a gauge length needs the ring's hole")
	}
	if q.Measured == Gauge || q.Measured == Centres {
		c.That(len(q.Ends) > 0 && !slices.ContainsFunc(q.Ends, func(e End) bool { return e.BallDiameter == 0 }), "ends",
			"a length over %s needs ball_diameter_mm of the ends", q.Measured)
	}
	for _, u := range []struct {
		field string
		l     *measure.Length
	}{{"checking_rod_u_mm", q.CheckingU}, {"end_u_mm", q.EndU}, {"thread_left_mm", q.ThreadLeft}} {
		if u.l != nil {
			c.NotNegative(u.field, *u.l)
		}
	}
	c.Sane("stack_change_mm", q.StackChange)
	c.That(q.StackChange == 0 || q.RockerRatio != 0, "rocker_ratio", "is missing: a change of the stack needs it")
	if q.RockerRatio != 0 {
		c.Within("rocker_ratio", q.RockerRatio, 0.2, 5)
	}
	c.Lean("pushrod_lean_deg", q.PushrodLean, 45*measure.Degree)
	c.Sane("adjuster_down_mm", q.AdjusterDown)
	c.NotNegative("preload_mm", q.Preload)
	c.NotNegative("step_mm", q.Step)
	if q.Lash != nil {
		q.Lash.check(&c, q)
	}
	return c.Err()
}

var errThread = errors.New("the adjuster has not that much thread left (thread_left_mm): cut a longer pushrod instead")

// Solve answers a question. The error is a [*worksheet.Problem] for a field
// that cannot be, another when there is no such rod.
func Solve(q Question) (Answer, error) {
	a := Answer{Says: []worksheet.Sentence{}}
	if err := q.check(); err != nil {
		return a, err
	}
	if q.ThreadLeft != nil {
		left := *q.ThreadLeft - q.AdjusterDown
		if left < 0 {
			return a, fmt.Errorf("turning the adjuster down by %v with %v of thread left: %w", q.AdjusterDown, *q.ThreadLeft, errThread)
		}
		a.ThreadLeft = &left
	}
	rods := q.Rods
	if q.Checking != 0 {
		rods = []Rod{{Checking: q.Checking}}
	}
	step := q.Step
	if step == 0 {
		step = defaultStep
	}
	a.Assume("cut lengths are rounded to %v", step)
	for i, r := range rods {
		cut, longer, err := q.cut(r, step)
		if err != nil {
			if r.Valve != "" {
				err = fmt.Errorf("valve %s: %w", r.Valve, err)
			}
			return a, err
		}
		if i == 0 {
			a.Longer = longer
		}
		a.Cuts = append(a.Cuts, cut)
	}
	a.Tally = tally(a.Cuts)
	a.Assume("the checking rod stood at zero lash, valve closed, lifter on the heel")
	if q.StackChange != 0 {
		a.Assume("the rocker is straight: a shim is worth its thickness times 1 + 1/R at the adjuster")
	}
	if q.CheckingU == nil {
		a.Assume("a checking rod's length is good to %v", defaultCheckingU)
	}
	if q.Measured == "" {
		a.Assume("the checking rod was measured overall, over both tips")
	}
	a.Cite("lengths of a rod: plane geometry, derived here")
	a.Cite("uncertainty: JCGM 100:2008, 5.1.2 and 6.2.1 (k = 2); rounding as rectangular, 4.3.7")
	if q.Lash != nil {
		a.Lash = new(q.Lash.solve(q, a.Cuts[0].Overall, &a.Basis))
	}
	return a, nil
}

// cut works one rod out.
func (q Question) cut(r Rod, step measure.Length) (Cut, measure.Length, error) {
	c := Cut{Valve: r.Valve}
	radii, caps, ends := q.ends()
	overall := r.Checking
	switch q.Measured {
	case Centres:
		overall += radii
	case Gauge:
		overall += caps
	}
	l := overall.Millimetres()
	lean := q.PushrodLean.Degrees() * math.Pi / 180
	// The ball moves along the valve axis; the rod leans against it.
	rise := -q.AdjusterDown.Millimetres()
	if q.RockerRatio != 0 {
		rise += q.StackChange.Millimetres() * (1 + 1/q.RockerRatio)
	}
	// (l cos + rise)^2 + (l sin)^2
	longer := measure.FromMillimetres(math.Hypot(l*math.Cos(lean)+rise, l*math.Sin(lean))-l) + q.Preload
	if l*math.Cos(lean)+rise <= 0 {
		return c, 0, fmt.Errorf("a checking rod of %v cannot be shortened by %v: check checking_rod_mm, stack_change_mm and adjuster_down_mm", r.Checking, worksheet.Rounded(measure.FromMillimetres(-rise)))
	}
	c.Overall = overall + longer
	u := []float64{orDefault(q.CheckingU, defaultCheckingU).Millimetres()}
	if len(q.Ends) > 0 {
		tube := nearest(c.Overall-ends, step)
		if tube <= 0 {
			return c, 0, fmt.Errorf("the end pieces add %v, which leaves nothing of %v for the tube: check length_mm of the ends", ends, c.Overall)
		}
		depth := q.end(0).PressDepth + q.end(1).PressDepth
		if tube < depth {
			return c, 0, fmt.Errorf("a tube of %v does not take end pieces pressed in by %v together: check length_mm and press_depth_mm of the ends", tube, depth)
		}
		c.Tube = &tube
		c.Overall = tube + ends // what will be, once it is cut to a step
		endU := orDefault(q.EndU, defaultEndU).Millimetres()
		u = append(u, endU, endU)
	} else {
		c.Overall = nearest(c.Overall, step)
	}
	// Rounding: half a step either way, rectangular, at k = 2.
	u = append(u, step.Millimetres()/math.Sqrt(3))
	c.LengthU = measure.FromMillimetres(worksheet.Combine(u...))
	if radii != 0 {
		c.Centres = new(c.Overall - radii)
	}
	if caps > 0 {
		c.Gauge = new(c.Overall - caps)
	}
	return c, longer, nil
}

// end is the end piece at i, or the only one.
func (q Question) end(i int) End { return q.Ends[min(i, len(q.Ends)-1)] }

// ends adds up what both ends are worth: the balls' radii, how far their tips
// stand through a gauging ring, and what the pieces add to the tube.
func (q Question) ends() (radii, caps, adds measure.Length) {
	if len(q.Ends) == 0 {
		return 0, 0, 0
	}
	lower, upper := q.end(0), q.end(1)
	adds = lower.adds() + upper.adds()
	if lower.BallDiameter == 0 || upper.BallDiameter == 0 {
		return 0, 0, adds
	}
	for _, e := range []End{lower, upper} {
		r, g := e.BallDiameter.Millimetres()/2, q.GaugeDiameter.Millimetres()/2
		radii += e.inside()
		if g > 0 && e.CupDepth == 0 { // a ring does not sit on a cup
			caps += measure.FromMillimetres(r - math.Sqrt(r*r-g*g))
		}
	}
	return radii, caps, adds
}

// nearest rounds l to a whole number of steps.
func nearest(l, step measure.Length) measure.Length {
	if step <= 0 {
		return l
	}
	half := step / 2
	if l < 0 {
		half = -half
	}
	return (l + half) / step * step
}

// tally sorts the cuts by length.
func tally(cuts []Cut) []Tally {
	byLength := map[measure.Length][]string{}
	for _, c := range cuts {
		l := c.Overall
		if c.Tube != nil {
			l = *c.Tube
		}
		byLength[l] = append(byLength[l], c.Valve)
	}
	tallies := []Tally{}
	for l, valves := range byLength {
		tallies = append(tallies, Tally{l, len(valves), valves})
	}
	slices.SortFunc(tallies, func(a, b Tally) int { return int(min(1, max(-1, b.Length-a.Length))) })
	return tallies
}

func orDefault(l *measure.Length, otherwise measure.Length) measure.Length {
	if l != nil {
		return *l
	}
	return otherwise
}
