package timing

import (
	"fmt"
	"math"

	"lobescribe/device/measure"
)

// DefaultChecks are the lifts at which timing is usually given: 0.050 in and
// 1 mm (common practice, no source).
func DefaultChecks() []measure.Length {
	return []measure.Length{50 * measure.Thou, measure.Millimetre}
}

// Event is one opening or closing.
type Event struct {
	// Angle is crank degrees after the overlap's top dead centre; U includes
	// the uncertainty of top dead centre.
	Angle measure.Angle `json:"atdc_deg"`
	U     measure.Angle `json:"u_deg"`
	// Card is the event as a cam card counts it, Says in the trade's words.
	Card measure.Angle `json:"card_deg"`
	Says string        `json:"says"`

	uAlone float64 // by chance, apart from what both events share; degrees
	shared float64 // by the heel's level, with its sign; degrees
}

// Passage is where the lift passes one checking lift. An event is missing
// (nil) if the curve does not come down to it on that side.
type Passage struct {
	CheckingLift measure.Length `json:"checking_lift_mm"`
	CheckedAt    Place          `json:"checked_at"`
	// Level is the lift on the curve that this comes to where it was measured.
	Level measure.Length `json:"level_mm"`
	// LevelU is what ratio and lash leave of it; absent where it is told.
	LevelU *measure.Length `json:"level_u_mm,omitempty"`
	Opens  *Event          `json:"opens,omitempty"`
	Closes *Event          `json:"closes,omitempty"`
	// Span is there when both events are.
	Span *Span `json:"span,omitempty"`
}

// Span is what lies between opening and closing. Its duration is free of top
// dead centre's uncertainty.
type Span struct {
	Duration  measure.Angle `json:"duration_deg"`
	DurationU measure.Angle `json:"duration_u_deg"`
	// Centreline is the middle between the events, in crank degrees after the
	// overlap's top dead centre.
	Centreline  measure.Angle `json:"centreline_atdc_deg"`
	CentrelineU measure.Angle `json:"centreline_u_deg"`
	Says        string        `json:"centreline_says"`
	// Asymmetry is the centreline minus the nose: positive if the closing
	// flank is the longer one. Top dead centre cancels in it.
	Asymmetry  *measure.Angle `json:"asymmetry_deg,omitempty"`
	AsymmetryU *measure.Angle `json:"asymmetry_u_deg,omitempty"`

	uMiddle float64 // of the centreline, without top dead centre's; degrees
}

// Nose is where a curve is highest.
type Nose struct {
	MaxLift  measure.Length `json:"max_lift_mm"`
	MaxLiftU measure.Length `json:"max_lift_u_mm"`
	// Angle is that of the highest point of a curve fitted to the nose.
	Angle measure.Angle `json:"atdc_deg"`
	U     measure.Angle `json:"u_deg"`
	Says  string        `json:"says"`
	// EqualDrop is the middle between the two angles 0.050 in below the nose
	// (common practice, no source), absent where the lobe is too low for it.
	// It is well defined, but leans to the lazier flank.
	EqualDrop  *measure.Angle `json:"equal_drop_atdc_deg,omitempty"`
	EqualDropU *measure.Angle `json:"equal_drop_u_deg,omitempty"`

	uAlone float64 // of Angle, without top dead centre's; degrees
}

// drop is how far below the nose [Nose.EqualDrop] is taken.
const drop = 50 * measure.Thou

// Nose returns the nose as it was fitted. Max lift of a trace is that of its
// findings (package lift): one valve has one.
func (c *Curve) Nose() Nose {
	x, y := c.top.x, c.top.y
	n := Nose{
		MaxLift: millimetres(y), MaxLiftU: millimetres(coverage * math.Hypot(c.top.uy, c.uHeel)),
		Angle: degrees(x), Says: saysNose(degrees(x)),
		U: degrees(coverage * combined(component{u: c.top.ux}, component{u: c.uSlip}, component{u: c.uZero()})),
	}
	n.uAlone = combined(component{u: c.top.ux}, component{u: c.uCount() / 4}, component{u: c.uSlip})
	if c.maxLift > 0 {
		n.MaxLift, n.MaxLiftU = c.maxLift, millimetres(math.Hypot(c.maxLiftU.Millimetres(), coverage*1.5*c.uRunOut)) // of the heel that it counts from, and of the lobe itself
	}
	if at := y - drop.Millimetres(); at > 0.2*y {
		below := level{millimetres(at), 0, true}
		open, closed := c.event(x, below, -1), c.event(x, below, +1)
		if open != nil && closed != nil {
			mid := degrees((open.Angle.Degrees() + closed.Angle.Degrees()) / 2)
			_, um := spread(open, closed)
			um = coverage * math.Hypot(um, c.uZero())
			uMid := degrees(um)
			n.EqualDrop, n.EqualDropU = &mid, &uMid
		}
	}
	return n
}

// uCount is the standard uncertainty of an angle by the encoder's counts. An
// encoder that shows whole counts lags by up to one, always alike: the most of it
// is in every angle, and cancels in their differences. About a quarter does not.
func (c *Curve) uCount() float64 { return count(c.crankStep()) }

// uZero is what all angles share: top dead centre's, and the encoder's counts.
func (c *Curve) uZero() float64 { return math.Hypot(c.uTDC, c.uCount()) }

// event finds where the curve falls under a level on one side of the nose at x.
func (c *Curve) event(nose float64, at level, side int) *Event {
	x, _, ok := c.line.Down(nose, at.lift.Millimetres(), side)
	if !ok {
		return nil
	}
	slope := c.line.Slope(x)
	if slope == 0 {
		slope = 1e-9 // an angle that the lift does not tell
	}
	common := at.u
	if at.heel {
		common = math.Hypot(common, c.uHeel)
	}
	e := &Event{Angle: degrees(x), uAlone: min(combined(component{u: c.uLift(x) / slope}, component{u: c.uCount() / 4}, component{u: c.uSlip}), 180), shared: min(max(common/slope, -180), 180)}
	e.U = degrees(coverage * combined(component{u: e.uAlone}, component{u: e.shared}, component{u: c.uZero()}))
	return e
}

// spread returns the standard uncertainties of closes minus opens and of their
// middle, without top dead centre's. A heel level that is wrong moves the two
// apart, since the flanks slope opposite ways.
func spread(opens, closes *Event) (difference, middle float64) {
	alone := math.Hypot(opens.uAlone, closes.uAlone)
	return math.Hypot(alone, closes.shared-opens.shared), math.Hypot(alone, closes.shared+opens.shared) / 2
}

// Passage returns the events at a checking lift at the valve or the lobe (the
// zero Place is where the curve was measured).
func (c *Curve) Passage(lift measure.Length, at Place) (Passage, error) {
	here, err := c.level(lift, at)
	if err != nil {
		return Passage{}, err
	}
	nose := c.Nose()
	if here.lift >= nose.MaxLift {
		return Passage{}, fmt.Errorf("checking lift %v: the curve rises to %v only (the checking lift is %v there)", lift, nose.MaxLift, here.lift)
	}
	p := Passage{CheckingLift: lift, CheckedAt: at.or(c.options.MeasuredAt), Level: here.lift}
	if here.u > 0 {
		u := millimetres(coverage * here.u)
		p.LevelU = &u
	}
	x := nose.Angle.Degrees()
	p.Opens = c.event(x, here, -1)
	p.Closes = c.event(x, here, +1)
	p.name(c.options.Valve)
	p.between(c.uZero())
	if p.Span != nil {
		a := p.Span.Centreline - nose.Angle
		u := degrees(coverage * math.Hypot(p.Span.uMiddle, c.top.ux))
		p.Span.Asymmetry, p.Span.AsymmetryU = &a, &u
	}
	return p, nil
}

// name fills in how the trade writes the events.
func (p *Passage) name(v Valve) {
	if p.Opens != nil {
		p.Opens.Card, p.Opens.Says = OnCard(v, Opens, p.Opens.Angle), Says(v, Opens, p.Opens.Angle)
	}
	if p.Closes != nil {
		p.Closes.Card, p.Closes.Says = OnCard(v, Closes, p.Closes.Angle), Says(v, Closes, p.Closes.Angle)
	}
}

// between works out the span from the events.
func (p *Passage) between(uTDC float64) {
	if p.Opens == nil || p.Closes == nil {
		return
	}
	d, m := spread(p.Opens, p.Closes)
	mid := (p.Opens.Angle + p.Closes.Angle) / 2
	p.Span = &Span{
		Duration: p.Closes.Angle - p.Opens.Angle, DurationU: degrees(coverage * d),
		Centreline: mid, CentrelineU: degrees(coverage * math.Hypot(m, uTDC)), Says: saysNose(mid), uMiddle: m,
	}
}

// ValveTiming is everything about one valve.
type ValveTiming struct {
	Valve    Valve     `json:"valve,omitempty"`
	Nose     *Nose     `json:"nose,omitempty"` // absent if only events were typed
	Passages []Passage `json:"passages"`
	// HalfLift is the passage at half of the max lift.
	HalfLift *Passage `json:"half_lift,omitempty"`
	// LiftAtTDC is the lift at the overlap's top dead centre.
	LiftAtTDC  *measure.Length `json:"lift_at_tdc_mm,omitempty"`
	LiftAtTDCU *measure.Length `json:"lift_at_tdc_u_mm,omitempty"`
	// Area is the area under the whole curve in mm times crank degrees.
	Area  float64 `json:"area_mm_deg,omitempty"`
	AreaU float64 `json:"area_u_mm_deg,omitempty"`
	Made  *Made   `json:"made,omitempty"`
	// More is what was asked for beyond.
	More *More `json:"more,omitempty"`
}

// Timing works out everything about one valve at the given checking lifts
// (nil: the usual two, as far as the valve rises to them).
func (c *Curve) Timing(checks []measure.Length, at Place) (ValveTiming, error) {
	usual := checks == nil
	if usual {
		checks = DefaultChecks()
	}
	nose := c.Nose()
	made := c.made
	t := ValveTiming{Valve: c.options.Valve, Nose: &nose, Made: &made, Passages: []Passage{}}
	for i, lift := range checks {
		p, err := c.Passage(lift, at)
		if err != nil {
			if usual {
				continue // a small engine's valve need not rise to it
			}
			return ValveTiming{}, within(fmt.Sprintf("checking_lifts_mm[%d]", i), err)
		}
		t.Passages = append(t.Passages, p)
	}
	half, err := c.Passage(nose.MaxLift/2, c.options.MeasuredAt)
	if err != nil {
		return ValveTiming{}, err
	}
	t.HalfLift = &half
	first, last := c.x[0], c.x[len(c.x)-1]
	if first <= 0 && last >= 0 && c.options.Valve != "" {
		l := millimetres(c.line.At(0))
		u := millimetres(coverage * math.Sqrt(sq(c.uLift(0))+sq(c.uHeel)+sq(c.line.Slope(0)*math.Hypot(c.uTDC, c.uCount()))))
		t.LiftAtTDC, t.LiftAtTDCU = &l, &u
	}
	t.Area, t.AreaU = c.area()
	return t, nil
}

func sq(v float64) float64 { return v * v }

// area integrates from where the lift leaves the heel to where it is home
// again: beyond, only the heel's own roughness would be added up.
func (c *Curve) area() (mmDeg, u float64) {
	x, y := c.top.x, c.top.y
	from, to := c.x[0], c.x[len(c.x)-1]
	least := max(1e-6*y, 2*c.uHeel)
	if a, _, ok := c.line.Down(x, least, -1); ok {
		from = a
	}
	if b, _, ok := c.line.Down(x, least, +1); ok {
		to = b
	}
	mmDeg = c.line.Area(from, to)
	return mmDeg, coverage * c.uHeel * (to - from)
}

// AreaAbove returns the area under the lift, down to the heel, between the
// events of a passage.
func (c *Curve) AreaAbove(p Passage) (mmDeg float64, ok bool) {
	if p.Span == nil {
		return 0, false
	}
	return c.line.Area(p.Opens.Angle.Degrees(), p.Closes.Angle.Degrees()), true
}
