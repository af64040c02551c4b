package timing

import (
	"encoding/json"
	"fmt"

	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Request is a question about timing. Every part is optional; what is given is
// answered. In JSON lengths are millimetres and angles degrees.
type Request struct {
	// Intake and Exhaust valve of one cylinder: points or events.
	Intake  *ValveInput `json:"intake,omitempty"`
	Exhaust *ValveInput `json:"exhaust,omitempty"`
	// CheckingLifts, default 0.050 in and 1 mm, at CheckedAt, default where
	// each curve was measured.
	CheckingLifts []measure.Length `json:"checking_lifts_mm,omitempty" bound:"checking"`
	CheckedAt     Place            `json:"checked_at,omitempty"`
	// TDC is how top dead centre was found. It sets that of every curve.
	TDC  *TDCInput  `json:"tdc,omitempty"`
	Card *CardInput `json:"card,omitempty"`
	// Derivatives asks for those of the intake and exhaust curves.
	Derivatives *DeriveInput `json:"derivatives,omitempty"`
	Ratio       *RatioInput  `json:"ratio,omitempty"`
	// Compare lays two curves over each other: one valve before and after, or a
	// lobe and its sister.
	Compare *CompareInput `json:"compare,omitempty"`
	// Valves are compared with each other.
	Valves []FiguresInput `json:"valves,omitempty"`
	// LiftU and AngleU are the least deviations between valves worth a word.
	LiftU  measure.Length `json:"valves_lift_u_mm,omitempty" bound:"u"`
	AngleU measure.Angle  `json:"valves_angle_u_deg,omitempty" bound:"angle u"`
	// Wheel checks a degree wheel or an encoder by itself.
	Wheel *WheelInput `json:"wheel,omitempty"`
	// Crank with angles or travels turns one into the other.
	Crank    *Crank           `json:"crank,omitempty"`
	PistonAt []measure.Angle  `json:"piston_at_deg,omitempty" bound:"crank"`
	Travels  []measure.Length `json:"angle_at_travel_mm,omitempty" bound:"piston travel"`
}

// ValveInput is one valve: either points, or the two events of a valve that
// somebody read off a degree wheel, or (from within the program) a trace.
type ValveInput struct {
	// Angles with lifts above the heel, in millimetres or in inches.
	Angles []measure.Angle  `json:"angle_deg,omitempty" bound:"crank"`
	Lifts  []measure.Length `json:"lift_mm,omitempty" bound:"curve"`
	Inches []float64        `json:"lift_in,omitempty" bound:"inches"`
	// Trace takes the place of points. ZeroDoubts are why what counts from top dead
	// centre must not be judged, Doubts why nothing of the valve must.
	Trace              *measure.Trace  `json:"-"`
	ZeroDoubts, Doubts []verdict.Doubt `json:"-"`

	// Opens and Closes at CheckingLift, default 0.050 in; U is their expanded
	// uncertainty, default 1 degree.
	Opens        *EventInput    `json:"opens,omitempty"`
	Closes       *EventInput    `json:"closes,omitempty"`
	CheckingLift measure.Length `json:"checking_lift_mm,omitempty" bound:"checking"`
	U            *measure.Angle `json:"u_deg,omitempty" bound:"angle u"`

	TDC        measure.Angle  `json:"tdc_deg,omitempty" bound:"crank"`
	TDCU       measure.Angle  `json:"tdc_u_deg,omitempty" bound:"angle u"`
	Period     measure.Angle  `json:"period_deg,omitempty" bound:"turn"`
	Wraps      measure.Angle  `json:"wraps_deg,omitempty" bound:"turn"`
	OnCam      bool           `json:"on_cam,omitempty"`
	CountsDown bool           `json:"counts_down,omitempty"`
	MeasuredAt Place          `json:"measured_at,omitempty"`
	Ratio      float64        `json:"rocker_ratio,omitempty" bound:"ratio"`
	RatioU     float64        `json:"rocker_ratio_u,omitempty" bound:"ratio u"`
	Lash       measure.Length `json:"lash_mm,omitempty" bound:"lash"`
	// Other is the curve of the same valve measured at the other end of the rocker
	// with nothing changed between: the ratio is fitted to the two. RatioCurve are
	// the points of a ratio that was measured on the same rocker at another time.
	// Either is used in place of the constant ratio.
	Other      *OtherEnd      `json:"other_end,omitempty"`
	RatioCurve []RatioPoint   `json:"ratio_curve,omitempty"`
	Resolution measure.Length `json:"resolution_mm,omitempty" bound:"resolute"`
	AngleStep  measure.Angle  `json:"angle_step_deg,omitempty" bound:"small"`
	Limit      measure.Length `json:"indicator_limit_mm,omitempty" bound:"error"`
	Method     Method         `json:"method,omitempty"`

	// More asks for what follows from the curve: the lobe's motion, the lash, the
	// port, the cylinder.
	More *MoreInput `json:"more,omitempty"`
}

// OtherEnd is a curve measured at the other end of a valve's rocker.
type OtherEnd struct {
	Angles []measure.Angle  `json:"angle_deg,omitempty" bound:"crank"`
	Lifts  []measure.Length `json:"lift_mm,omitempty" bound:"curve"`
	Inches []float64        `json:"lift_in,omitempty" bound:"inches"`
	Trace  *measure.Trace   `json:"-"`

	// TDC and TDCU are by default those of the valve's own curve.
	TDC        measure.Angle  `json:"tdc_deg,omitempty" bound:"crank"`
	TDCU       measure.Angle  `json:"tdc_u_deg,omitempty" bound:"angle u"`
	Wraps      measure.Angle  `json:"wraps_deg,omitempty" bound:"turn"`
	OnCam      bool           `json:"on_cam,omitempty"`
	CountsDown bool           `json:"counts_down,omitempty"`
	Resolution measure.Length `json:"resolution_mm,omitempty" bound:"resolute"`
	AngleStep  measure.Angle  `json:"angle_step_deg,omitempty" bound:"small"`
	Limit      measure.Length `json:"indicator_limit_mm,omitempty" bound:"error"`
}

// input is the curve as one of its own, at the place where it was measured.
func (o OtherEnd) input(at Place) ValveInput {
	return ValveInput{Angles: o.Angles, Lifts: o.Lifts, Inches: o.Inches, Trace: o.Trace, TDC: o.TDC, TDCU: o.TDCU, Wraps: o.Wraps,
		OnCam: o.OnCam, CountsDown: o.CountsDown, MeasuredAt: at, Resolution: o.Resolution, AngleStep: o.AngleStep, Limit: o.Limit}
}

// EventInput is an event as a person writes it: a number counted as cards do,
// or a text such as "12 BTDC".
type EventInput struct{ text string }

// NewEvent takes the text of an event.
func NewEvent(text string) *EventInput { return &EventInput{text} }

// MarshalJSON writes the text.
func (e EventInput) MarshalJSON() ([]byte, error) { return json.Marshal(e.text) }

// UnmarshalJSON takes a number or a text, and leaves it to [ParseEvent].
func (e *EventInput) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] == '"' {
		return json.Unmarshal(b, &e.text)
	}
	var a measure.Angle
	if err := a.UnmarshalJSON(b); err != nil {
		return worksheet.Wrongf("", `%s will not do: expected an event as a card gives it, a number of degrees or a text such as "12 BTDC"`, b)
	}
	e.text = a.String()
	return nil
}

// CardInput is the cam card.
type CardInput struct {
	Intake  *CardValveInput `json:"intake,omitempty"`
	Exhaust *CardValveInput `json:"exhaust,omitempty"`
	// TwoCams: intake and exhaust may be off by different amounts.
	TwoCams bool `json:"two_cams,omitempty"`
	// LobeSeparation is in cam degrees.
	LobeSeparation *measure.Angle `json:"lobe_separation_cam_deg,omitempty" bound:"card line"`
	// Tolerance of the lines that are angles, default [CardTolerance], and of max
	// lift, default [CardLiftTolerance].
	Tolerance     measure.Angle  `json:"tolerance_deg,omitempty" bound:"angle u"`
	LiftTolerance measure.Length `json:"tolerance_mm,omitempty" bound:"tolerance"`
}

// CardValveInput is one valve on the card.
type CardValveInput struct {
	CheckingLift measure.Length `json:"checking_lift_mm,omitempty" bound:"checking"` // default 0.050 in
	CheckedAt    Place          `json:"checked_at,omitempty"`                        // default lobe
	Opens        *EventInput    `json:"opens,omitempty"`
	Closes       *EventInput    `json:"closes,omitempty"`
	Duration     *measure.Angle `json:"duration_deg,omitempty" bound:"duration"`
	Centreline   *measure.Angle `json:"centreline_deg,omitempty" bound:"card line"`
	MaxLift      measure.Length `json:"max_lift_mm,omitempty" bound:"lift"`
	MaxLiftAt    Place          `json:"max_lift_at,omitempty"` // default checked_at
	// Gross: max_lift_mm at the valve is without the lash taken off.
	Gross bool `json:"max_lift_gross,omitempty"`
}

// TDCInput is one of the two methods.
type TDCInput struct {
	Stop   *StopInput   `json:"positive_stop,omitempty"`
	Piston *PistonInput `json:"piston,omitempty"`
}

// StopInput is [Stop].
type StopInput struct {
	First     []measure.Angle `json:"first_deg" bound:"crank"`
	Second    []measure.Angle `json:"second_deg" bound:"crank"`
	AngleStep measure.Angle   `json:"angle_step_deg,omitempty" bound:"small"`
	Repeat    measure.Angle   `json:"repeat_deg,omitempty" bound:"angle u"`
	// PinOffset needs crank.
	PinOffset measure.Length `json:"pin_offset_mm,omitempty" bound:"pin"`
}

// PistonInput is [Piston].
type PistonInput struct {
	Drops      []Drop         `json:"drops"`
	DropU      measure.Length `json:"drop_u_mm,omitempty" bound:"u"`
	Resolution measure.Length `json:"resolution_mm,omitempty" bound:"resolute"`
	AngleStep  measure.Angle  `json:"angle_step_deg,omitempty" bound:"small"`
	Crank      *Crank         `json:"crank,omitempty"`
}

// DeriveInput is [DeriveOptions].
type DeriveInput struct {
	Step       measure.Angle `json:"step_deg,omitempty" bound:"small"`
	HalfWindow measure.Angle `json:"half_window_deg,omitempty" bound:"small"`
	Order      int           `json:"order,omitempty" bound:"order"`
}

// RatioInput is a lobe-side and a valve-side curve of one valve, and perhaps
// the valve's before a change.
type RatioInput struct {
	Lobe    *ValveInput     `json:"lobe,omitempty"`
	Valve   *ValveInput     `json:"valve,omitempty"`
	Before  *ValveInput     `json:"before,omitempty"`
	Nominal float64         `json:"nominal,omitempty" bound:"ratio"`
	Lash    *measure.Length `json:"lash_mm,omitempty" bound:"lash"`
	Degree  int             `json:"degree,omitempty" bound:"order"`
}

// CompareInput is two curves for [Differ].
type CompareInput struct {
	First  *ValveInput `json:"first,omitempty"`
	Second *ValveInput `json:"second,omitempty"`
}

// FiguresInput is [Figures].
type FiguresInput struct {
	Name        string         `json:"name"`
	Valve       Valve          `json:"valve,omitempty"`
	MaxLift     measure.Length `json:"max_lift_mm,omitempty" bound:"lift"`
	Duration    *measure.Angle `json:"duration_deg,omitempty" bound:"duration"`
	OpeningHalf *measure.Angle `json:"opening_half_deg,omitempty" bound:"crank"`
	ClosingHalf *measure.Angle `json:"closing_half_deg,omitempty" bound:"crank"`
}

// farthest is how far any angle may lie from 0: ten thousand turns, so that no
// sum of them comes near the end of its type.
const farthest = 10_000 * measure.Turn

// check finds the first angle or length that is absurd on its face. Whether it
// makes sense where it stands is for those who use it.
func (r Request) check() error {
	c := checking{crank: r.Crank}
	if c.Bounds(r); c.Err() != nil {
		return c.Err()
	}
	c.valve("intake", r.Intake)
	c.valve("exhaust", r.Exhaust)
	c.That(len(r.CheckingLifts) <= 50, "checking_lifts_mm", "holds %d lifts: at most 50", len(r.CheckingLifts))
	for i, l := range r.CheckingLifts {
		c.Positive(fmt.Sprintf("checking_lifts_mm[%d]", i), l)
	}
	c.valveOrLobe("checked_at", r.CheckedAt)
	r.Wheel.check(&c.Check)
	if r.Crank != nil && c.Err() == nil {
		if err := r.Crank.Check(); err != nil {
			return within("crank", err)
		}
	}
	c.tdc(r.TDC)
	c.card(r.Card)
	if q := r.Ratio; q != nil {
		c.That(q.Lobe != nil, "ratio.lobe", "is missing: the curve measured at the lobe, lifter or pushrod")
		c.That(q.Valve != nil, "ratio.valve", "is missing: the curve of the same valve, measured at its retainer")
		c.valve("ratio.lobe", q.Lobe)
		c.valve("ratio.valve", q.Valve)
		c.valve("ratio.before", q.Before)
	}
	if q := r.Compare; q != nil {
		c.That(q.First != nil, "compare.first", "is missing: the curve that the second is compared with")
		c.That(q.Second != nil, "compare.second", "is missing: the curve that is compared with the first")
		c.valve("compare.first", q.First)
		c.valve("compare.second", q.Second)
	}
	c.lists(r)
	return c.Err()
}

// checking is a check that knows the crank.
type checking struct {
	worksheet.Check
	crank *Crank
}

func (c *checking) angle(field string, a measure.Angle) {
	c.That(a >= -farthest && a <= farthest, field, "is %v: an angle lies within ten thousand turns", a)
}

func (c *checking) optional(field string, a *measure.Angle) {
	if a != nil {
		c.angle(field, *a)
	}
}

func (c *checking) valveOrLobe(field string, p Place) {
	c.That(p == "" || p == AtValve || p == AtLobe, field, "%q is neither valve nor lobe", p)
}

// valve checks a curve, and that of its other end.
func (c *checking) valve(field string, v *ValveInput) {
	if v == nil {
		return
	}
	if v.Other != nil {
		c.That(len(v.RatioCurve) == 0, field+".ratio_curve", "is given beside other_end: which of the two is meant?")
		other := v.Other.input("")
		c.valve(field+".other_end", &other)
	}
	c.That(v.RatioU == 0 || v.Ratio != 0, field+".rocker_ratio", "is missing: rocker_ratio_u is given")
	for i, a := range v.Angles {
		c.angle(fmt.Sprintf("%s.angle_deg[%d]", field, i), a)
	}
	c.angle(field+".tdc_deg", v.TDC)
	c.optional(field+".u_deg", v.U)
	c.That(v.U == nil || *v.U >= 0 && *v.U <= 90*measure.Degree, field+".u_deg", "is no uncertainty of an event (from 0 to 90)")
	c.NotNegative(field+".checking_lift_mm", v.CheckingLift)
	c.Sane(field+".resolution_mm", v.Resolution)
	if v.More != nil {
		if k := v.More.Cylinder; k != nil && c.crank != nil {
			k.Crank = *c.crank
		}
		v.More.check(&c.Check, field+".more")
	}
}

// tdc checks how top dead centre was found.
func (c *checking) tdc(t *TDCInput) {
	if t == nil {
		return
	}
	c.That((t.Stop == nil) != (t.Piston == nil), "tdc", "give either positive_stop or piston")
	if t.Stop != nil {
		c.NotNegative("tdc.positive_stop.pin_offset_mm", t.Stop.PinOffset)
		c.That(t.Stop.PinOffset <= 20*measure.Millimetre, "tdc.positive_stop.pin_offset_mm", "is %v: expected no more than 20 mm", t.Stop.PinOffset)
		c.That(t.Stop.PinOffset == 0 || c.crank != nil, "crank", "is missing: what a pin offset does needs stroke_mm and rod_mm")
		for i, a := range t.Stop.First {
			c.angle(fmt.Sprintf("tdc.positive_stop.first_deg[%d]", i), a)
		}
		for i, a := range t.Stop.Second {
			c.angle(fmt.Sprintf("tdc.positive_stop.second_deg[%d]", i), a)
		}
	}
	if t.Piston != nil {
		for i, d := range t.Piston.Drops {
			c.angle(fmt.Sprintf("tdc.piston.drops[%d].before_deg", i), d.Before)
			c.angle(fmt.Sprintf("tdc.piston.drops[%d].after_deg", i), d.After)
		}
	}
}

// card checks what a cam card says.
func (c *checking) card(k *CardInput) {
	if k == nil {
		return
	}
	c.That(k.Tolerance >= 0 && k.Tolerance <= 45*measure.Degree, "card.tolerance_deg", "is %v: expected what a line of the card may be off, up to 45 degrees", k.Tolerance)
	c.NotNegative("card.tolerance_mm", k.LiftTolerance)
	c.optional("card.lobe_separation_cam_deg", k.LobeSeparation)
	for _, side := range []struct {
		name string
		v    *CardValveInput
	}{{"card.intake", k.Intake}, {"card.exhaust", k.Exhaust}} {
		if side.v == nil {
			continue
		}
		c.optional(side.name+".duration_deg", side.v.Duration)
		c.optional(side.name+".centreline_deg", side.v.Centreline)
		c.NotNegative(side.name+".checking_lift_mm", side.v.CheckingLift)
		c.NotNegative(side.name+".max_lift_mm", side.v.MaxLift)
		c.valveOrLobe(side.name+".max_lift_at", side.v.MaxLiftAt)
		c.valveOrLobe(side.name+".checked_at", side.v.CheckedAt)
	}
}

// lists checks what is asked of several valves, angles and travels at once.
func (c *checking) lists(r Request) {
	c.That(len(r.Valves) <= 200, "valves", "holds %d valves: at most 200", len(r.Valves))
	for i, f := range r.Valves {
		field := fmt.Sprintf("valves[%d]", i)
		c.NotNegative(field+".max_lift_mm", f.MaxLift)
		c.optional(field+".duration_deg", f.Duration)
		c.optional(field+".opening_half_deg", f.OpeningHalf)
		c.optional(field+".closing_half_deg", f.ClosingHalf)
	}
	c.NotNegative("valves_lift_u_mm", r.LiftU)
	c.That(r.AngleU >= 0 && r.AngleU <= 90*measure.Degree, "valves_angle_u_deg", "is %v: from 0 to 90", r.AngleU)
	c.That(len(r.PistonAt) <= 5000, "piston_at_deg", "holds %d angles: at most 5000", len(r.PistonAt))
	for i, a := range r.PistonAt {
		c.angle(fmt.Sprintf("piston_at_deg[%d]", i), a)
	}
	c.That(len(r.Travels) <= 5000, "angle_at_travel_mm", "holds %d travels: at most 5000", len(r.Travels))
	if len(r.PistonAt)+len(r.Travels) > 0 {
		c.That(r.Crank != nil, "crank", "is missing: stroke_mm and rod_mm turn angle into travel")
	}
}
