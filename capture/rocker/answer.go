package rocker

import (
	"fmt"
	"math"
	"strings"

	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Answer is what a rocker does now, and what would put it square.
type Answer struct {
	// RockerRatio is that of the arms.
	RockerRatio float64 `json:"rocker_ratio"`
	Now         Setting `json:"now"`
	// Square is the set-up with the rocker square to the valve at half lift.
	Square Setting `json:"square"`
	// Raise is what to add under the stand (below zero: take away) to come from
	// Now to Square, PushrodLonger by how much the pushrod grows with it.
	Raise          measure.Length `json:"raise_mm"`
	RaiseU         measure.Length `json:"raise_u_mm"`
	PushrodLonger  measure.Length `json:"pushrod_longer_mm"`
	PushrodLongerU measure.Length `json:"pushrod_longer_u_mm"`
	// Verdict says whether the rocker is square at half lift: Raise with RaiseU
	// against Tolerance, either way.
	Verdict   verdict.Verdict `json:"verdict"`
	Tolerance measure.Length  `json:"tolerance_mm"`
	// SquareBelow is what AdjusterBelowValve reads when the rocker is square:
	// zero for a straight one.
	SquareBelow measure.Length `json:"square_adjuster_below_valve_mm"`
	// LeastSweep is a - sqrt(a^2 - (L/2)^2) for the lift of Square: no set-up
	// of this rocker marks the stem less.
	LeastSweep measure.Length `json:"least_sweep_mm"`
	SweepU     measure.Length `json:"sweep_u_mm"` // of Now
	// Depends lists what the raise and the pushrod hang on.
	Depends []Dependence         `json:"depends"`
	Says    []worksheet.Sentence `json:"says"`
	worksheet.Basis
}

// Dependence is one input and what its uncertainty does to the answer.
type Dependence struct {
	Field   string `json:"field"`
	Assumed bool   `json:"assumed"` // not measured: a usual value
	// U is the input's expanded uncertainty in the unit of the field's name.
	U float64 `json:"u"`
	// RaiseU, PushrodU and SweepU are what it moves, either way.
	RaiseU   measure.Length `json:"raise_u_mm"`
	PushrodU measure.Length `json:"pushrod_longer_u_mm"`
	SweepU   measure.Length `json:"sweep_u_mm"`
}

// Setting is one set-up through its whole opening.
type Setting struct {
	Lift     measure.Length `json:"lift_mm"`
	LobeLift measure.Length `json:"lobe_lift_mm"`
	Pushrod  measure.Length `json:"pushrod_mm"`
	// Swing is the rocker's whole turn from the closed valve to full lift.
	Swing measure.Angle `json:"swing_deg"`
	// Sweep is the width of the mark on the stem; OpenVsClosed how much nearer
	// the pivot contact is at full lift than on the closed valve. It is zero
	// for a square rocker, whose mark still has its width.
	Sweep        measure.Length `json:"sweep_mm"`
	OpenVsClosed measure.Length `json:"open_vs_closed_mm"`
	// MeanRatio is lift over the lobe lift left after the lash is taken up.
	MeanRatio float64 `json:"mean_ratio"`
	Heel      Pose    `json:"heel"` // lash open
	Closed    Pose    `json:"closed"`
	Half      Pose    `json:"half"`
	Full      Pose    `json:"full"`
	// At are the poses that were asked for, those at valve lifts first; Curve is
	// the ratio over the opening.
	At    []Pose       `json:"at"`
	Curve []CurvePoint `json:"curve"`
}

// CurvePoint is one point of a ratio curve.
type CurvePoint struct {
	LobeLift measure.Length `json:"lobe_lift_mm"`
	Lift     measure.Length `json:"lift_mm"`
	Ratio    float64        `json:"ratio"`
	Contact  measure.Length `json:"contact_mm"`
}

// Pose is the linkage at one moment, true to scale.
type Pose struct {
	LobeLift measure.Length `json:"lobe_lift_mm"`
	Lift     measure.Length `json:"lift_mm"`
	// Angle is that of the valve's arm below its right angle to the valve.
	Angle measure.Angle `json:"angle_deg"`
	Ratio float64       `json:"ratio"`
	// PushrodLean is against the valve axis, lower end towards the pivot.
	PushrodLean measure.Angle `json:"pushrod_lean_deg"`
	// Contact is where the tip touches, away from the pivot, counted from the
	// middle of the stem if that is known, else from the middle of the mark.
	Contact measure.Length `json:"contact_mm"`
	// Thrust is which way the contact moves as the valve opens: a pad drags
	// the stem that way, a roller hardly. "away", "towards" (the pivot), "none".
	Thrust string `json:"thrust"`
	// The points of the drawing, in the frame of the package comment; Stem is
	// the middle of the stem's end.
	Pivot    Point `json:"pivot"`
	Tip      Point `json:"tip"` // its centre
	Touch    Point `json:"touch"`
	Stem     Point `json:"stem"`
	Adjuster Point `json:"adjuster"` // its ball
	Lifter   Point `json:"lifter"`   // its cup
}

// Point is a place in the plane of the rocker: X towards the valve, Z upwards.
type Point struct {
	X measure.Length `json:"x_mm"`
	Z measure.Length `json:"z_mm"`
}

func point(x, z float64) Point {
	return Point{measure.FromMillimetres(x), measure.FromMillimetres(z)}
}

// Solve answers a question. The error is a [*worksheet.Problem] for a field
// that cannot be, another for parts that do not go together.
func Solve(q Question) (Answer, error) {
	a := Answer{Says: []worksheet.Sentence{}, Depends: []Dependence{}}
	if err := q.check(); err != nil {
		return a, err
	}
	b, inputs := q.bench(&a.Basis)
	s, err := solve(b)
	if far := q.farOff(s, err); far != nil {
		return a, far
	}
	if err != nil {
		return a, fmt.Errorf("working the rocker out: %w", err)
	}
	asked := b
	b, err = b.centred() // solve could: so can this
	if err != nil {
		return a, fmt.Errorf("working the rocker out: %w", err)
	}
	a.RockerRatio = b.a / b.b
	a.Raise, a.PushrodLonger = measure.FromMillimetres(s.raise), measure.FromMillimetres(s.rodLonger)
	a.SquareBelow = measure.FromMillimetres(-b.b * math.Sin(b.bend))
	a.LeastSweep = measure.FromMillimetres(leastSweep(b.a, s.squareLift))
	a.depend(asked, inputs)
	d := drawing{q: q, lash: b.lash}
	if a.Now, err = d.setting(s.now, s.lift, s.lobe); err != nil {
		return a, fmt.Errorf("working the rocker out as it is: %w", err)
	}
	if a.Square, err = d.setting(s.square, s.squareLift, s.lobe); err != nil {
		return a, fmt.Errorf("working the rocker out when square: %w", err)
	}
	a.Cite("plane geometry, derived here: circle and line cuts, no small angles")
	a.Cite("square at half lift gives the least sweep: derived here; the rule is common practice, no source")
	a.Cite("uncertainty: JCGM 100:2008, 5.1.2 (root sum of squares) and 6.2.1 (k = 2)")
	a.say(q)
	return a, nil
}

// depend moves every input by its uncertainty, either way, and keeps half the
// difference: with angles of tens of degrees in play that is nearer the truth
// than a derivative. Where one side cannot be put together the other counts.
func (a *Answer) depend(b bench, inputs []input) {
	here, _ := solve(b)
	var raise, rod, sweep []float64
	for _, in := range inputs {
		up, down := b, b
		in.move(&up, in.u)
		in.move(&down, -in.u)
		high, errHigh := solve(up)
		low, errLow := solve(down)
		half := 0.5
		switch {
		case errHigh != nil && errLow != nil:
			a.Says = append(a.Says, worksheet.Sayf("%s is too uncertain to say what it does to the answer: measure it", in.field))
			continue
		case errHigh != nil:
			high, half = here, 1
		case errLow != nil:
			low, half = here, 1
		}
		r, p := half*math.Abs(high.raise-low.raise), half*math.Abs(high.rodLonger-low.rodLonger)
		// A sweep is least where the rocker is square and grows either way from
		// there: half the difference of both sides would be nothing.
		w := max(math.Abs(high.sweep-here.sweep), math.Abs(low.sweep-here.sweep))
		raise, rod, sweep = append(raise, r), append(rod, p), append(sweep, w)
		u := in.u
		if strings.HasSuffix(in.field, "_deg") {
			u *= 180 / math.Pi
		}
		a.Depends = append(a.Depends, Dependence{
			Field: in.field, Assumed: in.assumed, U: u,
			RaiseU: measure.FromMillimetres(r), PushrodU: measure.FromMillimetres(p), SweepU: measure.FromMillimetres(w),
		})
	}
	a.RaiseU = measure.FromMillimetres(worksheet.Combine(raise...))
	a.PushrodLongerU = measure.FromMillimetres(worksheet.Combine(rod...))
	a.SweepU = measure.FromMillimetres(worksheet.Combine(sweep...))
}

// say puts into words what a person would otherwise have to work out.
func (a *Answer) say(q Question) {
	a.Tolerance = orDefault(q.Tolerance, defaultSquare)
	if q.Tolerance == nil {
		a.Assume("square is what stands within %v of it, the thinnest of the usual shims (common practice, no source)", defaultSquare)
	}
	off := verdict.Figure[measure.Length]{Value: a.Raise, U: a.RaiseU}
	if q.AdjusterBelowValve == nil {
		off.Doubts = []verdict.Doubt{{Cause: verdict.Missing, Says: "no height difference was measured at half lift"}}
	}
	a.Verdict = verdict.Judge(off, verdict.Within(0, a.Tolerance))
	a.Cite("square or not: guarded acceptance, JCGM 106:2012, 8.3.2")
	if a.Verdict.Good() {
		a.Says = append(a.Says, worksheet.Sayf("the rocker is square at half lift to within %v, its ± counted: leave the stand", worksheet.Rounded(a.Tolerance)))
	}
	if q.PivotToStem != 0 {
		for _, p := range []Pose{a.Now.Closed, a.Now.Half, a.Now.Full} {
			if p.Contact.Abs() > a.Now.Sweep/2+measure.Millimetre {
				a.Says = append(a.Says, worksheet.Sayf("the mark is more than 1 mm off the middle of the stem: that is the pivot's place sideways, which no shim cures"))
				break
			}
		}
	}
	for _, d := range a.Depends {
		if a.RaiseU <= a.Tolerance || 2*d.RaiseU <= a.RaiseU {
			continue
		}
		switch {
		case d.Field == "bend_deg" && d.Assumed:
			a.Says = append(a.Says, worksheet.Sayf("the bend of the rocker was not told, and is most of the ±: a bend of 1 deg would want %v more or less under the stand. Lay a straight edge through the centres of tip and pivot and see how far the adjuster's ball stands above it", worksheet.Rounded(measure.Length(float64(d.RaiseU)/d.U))))
		case d.Assumed:
			a.Says = append(a.Says, worksheet.Sayf("the raise hangs on %s, which was not measured: measuring it would help most", d.Field))
		}
	}
}

// drawing turns linkages into settings for one question.
type drawing struct {
	q    Question
	lash float64
}

// setting follows a linkage through its opening.
func (d drawing) setting(l linkage, lift, lobe float64) (Setting, error) {
	s := Setting{
		Lift: measure.FromMillimetres(lift), LobeLift: measure.FromMillimetres(lobe),
		Pushrod: measure.FromMillimetres(l.rod), At: []Pose{},
	}
	closed, err := l.closed()
	if err != nil {
		return s, err
	}
	full, err := l.atLift(lift)
	if err != nil {
		return s, err
	}
	sweep := l.sweep(closed, full)
	s.Swing, s.Sweep = degrees(full-closed), measure.FromMillimetres(sweep)
	s.OpenVsClosed = measure.FromMillimetres(l.a * (math.Cos(closed) - math.Cos(full)))
	stem := d.q.PivotToStem.Millimetres()
	if stem == 0 { // the middle of the mark
		stem = l.px + min(l.a*math.Cos(closed), l.a*math.Cos(full)) + sweep/2
	}
	for _, p := range []struct {
		dst  *Pose
		lift float64
	}{{&s.Heel, -d.lash}, {&s.Closed, 0}, {&s.Half, lift / 2}, {&s.Full, lift}} {
		if *p.dst, err = d.pose(l, p.lift, stem); err != nil {
			return s, err
		}
	}
	closedLobe, err := l.lobe(closed)
	if err != nil {
		return s, err
	}
	s.MeanRatio = lift / (lobe - closedLobe)
	for _, at := range d.q.AtLift {
		p, err := d.pose(l, min(at.Millimetres(), lift), stem)
		if err != nil {
			return s, err
		}
		s.At = append(s.At, p)
	}
	for _, at := range d.q.AtLobeLift {
		theta, err := l.theta(min(at.Millimetres(), lobe))
		if err != nil {
			return s, err
		}
		p, err := d.pose(l, l.lift(theta), stem)
		if err != nil {
			return s, err
		}
		s.At = append(s.At, p)
	}
	n := d.q.Points
	if n == 0 {
		n = defaultPoints
	}
	for i := range n {
		p, err := d.pose(l, lift*float64(i)/float64(n-1), stem)
		if err != nil {
			return s, err
		}
		s.Curve = append(s.Curve, CurvePoint{p.LobeLift, p.Lift, p.Ratio, p.Contact})
	}
	return s, nil
}

// pose is the linkage at one valve lift.
func (d drawing) pose(l linkage, lift, stem float64) (Pose, error) {
	theta, err := l.atLift(lift)
	if err != nil {
		return Pose{}, err
	}
	lobe, err := l.lobe(theta)
	if err != nil {
		return Pose{}, err
	}
	ratio, err := l.ratio(theta)
	if err != nil {
		return Pose{}, err
	}
	tipX, tipZ := l.tip(theta)
	ballX, ballZ := l.ball(theta)
	cupX, cupZ := l.cup(lobe)
	r := d.q.TipRadius.Millimetres()
	thrust := "none"
	switch angle := degrees(theta); {
	case angle < 0:
		thrust = "away"
	case angle > 0:
		thrust = "towards"
	}
	return Pose{
		LobeLift: measure.FromMillimetres(lobe), Lift: measure.FromMillimetres(lift),
		Angle: degrees(theta), Ratio: ratio, PushrodLean: degrees(math.Atan2(cupX-ballX, ballZ-cupZ)),
		Contact: measure.FromMillimetres(tipX - stem), Thrust: thrust,
		Pivot: point(l.px, l.pz), Tip: point(tipX, tipZ), Touch: point(tipX, tipZ-r),
		Stem:     point(stem, -max(lift, 0)-r),
		Adjuster: point(ballX, ballZ), Lifter: point(cupX, cupZ),
	}, nil
}

// leastSweep returns the width of the mark that a tip on an arm of length a leaves
// on the stem over a lift of less than 2a, when it is square to the valve at half
// lift: a - sqrt(a^2 - (lift/2)^2), in the form that keeps its digits for a small lift.
func leastSweep(a, lift float64) float64 {
	h := lift / 2
	return h * h / (a + math.Sqrt(a*a-h*h))
}
