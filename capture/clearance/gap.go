package clearance

import (
	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Gap is what is left between two parts, against the limit that the user gave
// and beside what is usual.
type Gap struct {
	Left  measure.Length `json:"left_mm"`
	LeftU measure.Length `json:"left_u_mm"`
	// Limit is the least that the user wants; nil if none was given.
	Limit *measure.Length `json:"limit_mm,omitempty"`
	// Verdict says whether Left, its LeftU counted, keeps to Limit.
	Verdict verdict.Verdict `json:"verdict"`
	// Usual is the minimum that is usual in the trade (common practice, no
	// source).
	Usual measure.Length     `json:"usual_mm"`
	Says  worksheet.Sentence `json:"says"`
}

// theMaker closes every sentence that somebody might take for a promise.
const theMaker = "the maker's figures go before this"

// judged holds a gap, of which all but the verdict is filled in, against its
// limit; what says between which parts it is. Parts that touch fail whatever the
// limit, and whether or not there is one. doubts are the reasons not to judge it.
func (g Gap) judged(what string, doubts ...verdict.Doubt) Gap {
	f := verdict.Figure[measure.Length]{Value: g.Left, U: g.LeftU, Doubts: doubts}
	limits := verdict.Limits[measure.Length]{Least: g.Limit}
	g.Verdict = verdict.Judge(f, limits)
	var says worksheet.Sentence
	switch spare, _ := limits.Spare(g.Left); {
	case g.Left <= 0:
		if touch := verdict.Judge(f, verdict.AtLeast[measure.Length](0)); touch.Kind == verdict.Fails {
			g.Verdict = touch
		}
		says = worksheet.Sayf("they touch, by %v", worksheet.Rounded(-g.Left))
	case g.Limit == nil:
		says = worksheet.Sayf("%v left; no limit was given, usual is %v at least (common practice)", worksheet.Rounded(g.Left), g.Usual)
	case g.Verdict.Kind == verdict.Meets:
		says = worksheet.Sayf("meets the limit of %v given, with %v to spare", *g.Limit, worksheet.Rounded(spare))
	case g.Verdict.Kind == verdict.Fails:
		says = worksheet.Sayf("does not meet the limit of %v given: %v too little", *g.Limit, worksheet.Rounded(-spare))
	case g.Verdict.Kind == verdict.CannotTell && spare >= 0:
		says = worksheet.Sayf("cannot tell: %v to spare of the limit of %v given, but the uncertainty, %v, is larger than that", worksheet.Rounded(spare), *g.Limit, worksheet.Rounded(g.LeftU))
	case g.Verdict.Kind == verdict.CannotTell:
		says = worksheet.Sayf("cannot tell: %v too little for the limit of %v given, but the uncertainty, %v, is larger than that", worksheet.Rounded(-spare), *g.Limit, worksheet.Rounded(g.LeftU))
	default:
		says = worksheet.Sayf("%v left; %s", worksheet.Rounded(g.Left), g.Verdict.String())
	}
	g.Says = worksheet.Sayf("%s: %s; %s", what, says, theMaker)
	return g
}

// Question asks for any of four clearances.
type Question struct {
	Piston   *PistonQuestion   `json:"piston,omitempty"`
	CoilBind *CoilBindQuestion `json:"coil_bind,omitempty"`
	Retainer *RetainerQuestion `json:"retainer,omitempty"`
	Slot     *SlotQuestion     `json:"slot,omitempty"`
}

// Answer holds what was asked for.
type Answer struct {
	Piston   *PistonAnswer `json:"piston,omitempty"`
	CoilBind *Gap          `json:"coil_bind,omitempty"`
	Retainer *Gap          `json:"retainer,omitempty"`
	Slot     *SlotAnswer   `json:"slot,omitempty"`
	worksheet.Basis
}

// CoilBindQuestion asks how far the spring is from coil bind at full lift.
type CoilBindQuestion struct {
	Installed measure.Length  `json:"installed_height_mm" bound:"spring" flag:"installed" help:"installed height of the spring; asks for coil bind"`
	Lift      measure.Length  `json:"lift_mm" bound:"lift"`
	Solid     measure.Length  `json:"solid_height_mm" bound:"spring" flag:"solid" help:"solid height of the spring"`
	Limit     *measure.Length `json:"limit_mm,omitempty" bound:"limit" flag:"coil-limit" help:"what is to be left to coil bind"`
	// U is the expanded uncertainty (k = 2) of each of the two heights.
	// Default 0.2 mm.
	U *measure.Length `json:"height_u_mm,omitempty" bound:"u" flag:"height-u" help:"how well either height of the spring was measured (k = 2; default 0.2 mm)"`

	solidU float64 // of a solid height that was worked out, mm
}

// RetainerQuestion asks what is left between retainer and seal (or guide) at
// full lift.
type RetainerQuestion struct {
	// Closed is the gap with the valve closed.
	Closed measure.Length  `json:"closed_gap_mm" bound:"gap" flag:"retainer-gap" help:"retainer to seal with the valve closed; asks for it at full lift"`
	Lift   measure.Length  `json:"lift_mm" bound:"lift"`
	Limit  *measure.Length `json:"limit_mm,omitempty" bound:"limit" flag:"retainer-limit" help:"least to keep between retainer and seal"`
	// U is that of the closed gap (k = 2). Default 0.1 mm.
	U *measure.Length `json:"gap_u_mm,omitempty" bound:"u" flag:"gap-u" help:"how well that gap was measured (k = 2; default 0.1 mm)"`
}

// SlotQuestion asks how near the end of the rocker's slot comes to the stud
// that passes through it.
type SlotQuestion struct {
	Slot measure.Length `json:"slot_length_mm" bound:"slot" flag:"slot" help:"length of the rocker's slot; asks for slot to stud"`
	Stud measure.Length `json:"stud_diameter_mm" bound:"slot" flag:"stud" help:"diameter of the stud"`
	// Height is from the pivot's centre to the face of the slot that is
	// farthest from it.
	Height measure.Length `json:"height_mm" bound:"reach" flag:"slot-height" help:"pivot's centre to the farther face of the slot"`
	// Closed and Full are the rocker's angles there, as the rocker calculation
	// gives them; Centred is where the slot stands even about the stud.
	Closed  measure.Angle   `json:"closed_deg" bound:"lean" flag:"closed-angle" help:"rocker's angle with the valve closed, as calc rocker gives it"`
	Full    measure.Angle   `json:"full_deg" bound:"lean" flag:"full-angle" help:"rocker's angle at full lift"`
	Centred measure.Angle   `json:"centred_deg,omitzero" bound:"lean" flag:"slot-centred" help:"angle at which the slot stands even about the stud (default 0)"`
	Limit   *measure.Length `json:"limit_mm,omitempty" bound:"limit" flag:"slot-limit" help:"least to keep between slot and stud"`
	// U is that of each length (k = 2). Default 0.1 mm.
	U *measure.Length `json:"length_u_mm,omitempty" bound:"u" flag:"slot-u" help:"how well each length was measured (k = 2; default 0.1 mm)"`
}

// SlotAnswer is the gap at either end of the swing.
type SlotAnswer struct {
	Closed Gap `json:"closed"`
	Full   Gap `json:"full"`
}

// What is usual. Common practice, no source; that of the slot is taken from the
// others, for want of any.
const (
	usualIntake   = 80 * measure.Thou
	usualExhaust  = 100 * measure.Thou
	usualCoilBind = 60 * measure.Thou
	usualRetainer = 60 * measure.Thou
	usualSlot     = 60 * measure.Thou
)

// Solve answers a question. The error is a [*worksheet.Problem] for a field
// that cannot be, another for parts that do not go together.
func Solve(q Question) (Answer, error) {
	a := Answer{Basis: worksheet.Basis{Assumes: []worksheet.Sentence{}, Sources: []string{}}}
	var c worksheet.Check
	if c.Bounds(q); c.Err() != nil {
		return a, c.Err()
	}
	if q.Piston == nil && q.CoilBind == nil && q.Retainer == nil && q.Slot == nil {
		return a, worksheet.Wrongf("", "nothing is asked: give one or more of piston, coil_bind, retainer, slot")
	}
	if q.Piston != nil {
		p, err := q.Piston.solve(&a.Basis)
		if err != nil {
			return a, err
		}
		a.Piston = &p
	}
	if q.CoilBind != nil {
		g, err := q.CoilBind.solve()
		if err != nil {
			return a, err
		}
		a.CoilBind = &g
		a.Assume("at coil bind the spring is at its solid height; its own surge is not counted")
		liftKnown(&a.Basis)
	}
	if q.Retainer != nil {
		g, err := q.Retainer.solve()
		if err != nil {
			return a, err
		}
		a.Retainer = &g
		liftKnown(&a.Basis)
	}
	if q.Slot != nil {
		s, err := q.Slot.solve()
		if err != nil {
			return a, err
		}
		a.Slot = &s
		a.Assume("the stud's axis passes through the pivot's centre, and the slot turns about it")
		a.Cite("slot against stud: S/2 - |y tan phi| - d/(2 cos phi), plane geometry, derived here")
	}
	a.Assume("usual minimums are common practice, no source; the limits are the user's; %s", theMaker)
	a.Cite("uncertainty: JCGM 100:2008, 5.1.2 and 6.2.1 (k = 2)")
	return a, nil
}

func (q CoilBindQuestion) solve() (Gap, error) {
	var c worksheet.Check
	c.Positive("coil_bind.installed_height_mm", q.Installed)
	c.Positive("coil_bind.lift_mm", q.Lift)
	c.Positive("coil_bind.solid_height_mm", q.Solid)
	checkOptional(&c, "coil_bind.limit_mm", q.Limit)
	checkOptional(&c, "coil_bind.height_u_mm", q.U)
	if err := c.Err(); err != nil {
		return Gap{}, err
	}
	if q.Solid >= q.Installed {
		return Gap{}, worksheet.Wrongf("coil_bind.solid_height_mm", "is %v, which does not go into an installed height of %v: check both, and that both are in the unit they were measured in", worksheet.InBoth(q.Solid), worksheet.InBoth(q.Installed))
	}
	if q.Lift >= q.Installed {
		return Gap{}, worksheet.Wrongf("coil_bind.lift_mm", "is %v, and the spring's installed height only %v: check both, and that both are in the unit they were measured in", worksheet.InBoth(q.Lift), worksheet.InBoth(q.Installed))
	}
	left := q.Installed - q.Lift - q.Solid
	u := orDefault(q.U, 200*measure.Micrometre).Millimetres()
	solidU := u
	if q.solidU > 0 {
		solidU = q.solidU
	}
	g := Gap{Left: left, LeftU: measure.FromMillimetres(worksheet.Combine(u, solidU, liftU)), Limit: q.Limit, Usual: usualCoilBind}
	return g.judged("coils, whole spring at full lift"), nil
}

func (q RetainerQuestion) solve() (Gap, error) {
	var c worksheet.Check
	c.Positive("retainer.closed_gap_mm", q.Closed)
	c.Positive("retainer.lift_mm", q.Lift)
	checkOptional(&c, "retainer.limit_mm", q.Limit)
	checkOptional(&c, "retainer.gap_u_mm", q.U)
	if err := c.Err(); err != nil {
		return Gap{}, err
	}
	gapU := orDefault(q.U, 100*measure.Micrometre).Millimetres()
	g := Gap{Left: q.Closed - q.Lift, LeftU: measure.FromMillimetres(worksheet.Combine(gapU, liftU)), Limit: q.Limit, Usual: usualRetainer}
	return g.judged("retainer to seal at full lift"), nil
}

// liftU is how well a full lift is known that was measured with an indicator by hand:
// its step, its lean by a degree or two, the heel (k = 2, mm; common practice, no
// source).
const liftU = 0.05

// liftKnown says so.
func liftKnown(b *worksheet.Basis) {
	b.Assume("full lift was measured with an indicator, to %v; the lift of a card is not that of this engine", measure.FromMillimetres(liftU))
}

func checkOptional(c *worksheet.Check, field string, l *measure.Length) {
	if l != nil {
		c.NotNegative(field, *l)
	}
}

func orDefault(l *measure.Length, otherwise measure.Length) measure.Length {
	if l != nil {
		return *l
	}
	return otherwise
}
