package storage

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

	"lobescribe/capture/valve"
	"lobescribe/device/measure"
)

// Engine is one build on the stand. In JSON, fields that end in _mm are
// millimetres and those in _deg degrees of crank unless they say otherwise.
type Engine struct {
	// ID names the engine in addresses and on the command line: small
	// letters, digits, "-", "_" and ".", at most 64.
	ID   string `json:"id"`
	Rev  Rev    `json:"rev,omitempty"`
	Name string `json:"name,omitempty"`
	// Type is what builds of one kind have in common, as the person writes it:
	// a shop compares engines of one type.
	Type string `json:"type,omitempty"`

	Cylinders int    `json:"cylinders"`
	Layout    Layout `json:"layout,omitempty"`
	// ValvesPerCylinder: 2 to 6. An odd one more is an intake.
	ValvesPerCylinder int `json:"valves_per_cylinder"`
	// FiringOrder names every cylinder once; empty for 1, 2, 3...
	FiringOrder []int `json:"firing_order,omitempty"`
	// Heads are the valves along each head, front of the engine first, as they stand
	// there: ["1E","1I","3I","3E"]. Empty: nobody said, and drawings go by the layout.
	Heads [][]string `json:"heads,omitempty"`
	// ValveNames are what the builder calls the valves, by standard name; whatever
	// has none goes by that.
	ValveNames valve.OwnNames `json:"valve_names,omitempty"`
	// Rotation of the crank seen from the front: "clockwise" (also for "") or
	// "anticlockwise".
	Rotation Rotation `json:"rotation,omitempty"`

	RockerRatio ForValves[float64] `json:"rocker_ratio"` // nominal; 0: not known
	// RockerArm is from pivot to valve tip contact, AdjusterArm from pivot to
	// pushrod cup.
	RockerArm   measure.Length `json:"rocker_arm_mm,omitempty"`
	AdjusterArm measure.Length `json:"adjuster_arm_mm,omitempty"`
	// RockerTip is "roller" (also for "") or "pad", RockerTipRadius a pad's radius:
	// its arm and heights are those of where it touches.
	RockerTip       string         `json:"rocker_tip,omitempty"`
	RockerTipRadius measure.Length `json:"rocker_tip_radius_mm,omitempty"`
	// BallAboveLine is how far the middle of the adjuster's ball stands above a
	// straight edge through the centres of tip and pivot, negative below; nil
	// when it was not measured.
	BallAboveLine *measure.Length `json:"ball_above_line_mm,omitempty"`
	Stroke        measure.Length  `json:"stroke_mm,omitempty"`
	Rod           measure.Length  `json:"rod_mm,omitempty"` // centre to centre
	Bore          measure.Length  `json:"bore_mm,omitempty"`
	// Compression is the compression ratio of the whole stroke; 0: not known.
	Compression float64 `json:"compression,omitempty"`
	// Ports are what the gas passes at each kind of valve.
	Ports ForValves[Port] `json:"ports,omitzero"`

	// TDC is top dead centre of cylinder 1; nil when that is not known.
	TDC *TopDeadCentre `json:"tdc,omitempty"`

	CamCard CamCard `json:"cam_card"`
	Limits  Limits  `json:"limits"`
	// Units in which the page shows lengths of this engine: "in" or "mm".
	Units string `json:"units,omitempty"`
	// ShimsOnHand is what lies in the drawer.
	ShimsOnHand []Shims `json:"shims_on_hand,omitempty"`
	// Order is the order of work, as valve names; empty for firing order. A
	// valve that it leaves out comes after those it names.
	Order   []string `json:"order,omitempty"`
	Pushrod Pushrod  `json:"pushrod"`
	Notes   string   `json:"notes,omitempty"`
	// Waived are the points of the list before metal is cut that somebody has
	// taken on themselves.
	Waived []Waiver `json:"waived,omitempty"`
}

// Port is what the gas passes at a valve; 0: not known.
type Port struct {
	// Head is the diameter of the valve's head over its seat, SeatWidth that of the
	// seat as it lies, Throat the narrowest of the port below it, Stem the stem's.
	Head      measure.Length `json:"head_mm,omitempty"`
	SeatWidth measure.Length `json:"seat_width_mm,omitempty"`
	Throat    measure.Length `json:"throat_mm,omitempty"`
	Stem      measure.Length `json:"stem_mm,omitempty"`
}

// Layout is how the cylinders stand.
type Layout string

// The layouts.
const (
	Inline Layout = "inline"
	Vee    Layout = "vee"
	Flat   Layout = "flat"
	Single Layout = "single"
)

// Rotation is which way the crank turns, seen from the front.
type Rotation string

// The rotations.
const (
	Clockwise     Rotation = "clockwise"
	Anticlockwise Rotation = "anticlockwise"
)

// ForValves is a value for the intake valves and one for the exhaust valves.
type ForValves[T any] struct {
	Intake  T `json:"intake"`
	Exhaust T `json:"exhaust"`
}

// Of returns the value for a kind of valve; the zero value for no kind.
func (f ForValves[T]) Of(k valve.Kind) (value T) {
	switch k {
	case valve.Intake:
		return f.Intake
	case valve.Exhaust:
		return f.Exhaust
	}
	return value
}

// CamCard is what came with the camshaft. A nil angle is not on the card;
// negative ones are on the other side of the dead centre.
type CamCard struct {
	// CheckingLift is the lift at which the events below are given.
	CheckingLift   measure.Length `json:"checking_lift_mm,omitempty"`
	IntakeOpens    *measure.Angle `json:"io_btdc_deg,omitempty"`
	IntakeCloses   *measure.Angle `json:"ic_abdc_deg,omitempty"`
	ExhaustOpens   *measure.Angle `json:"eo_bbdc_deg,omitempty"`
	ExhaustCloses  *measure.Angle `json:"ec_atdc_deg,omitempty"`
	MaxLiftIntake  measure.Length `json:"max_lift_intake_mm,omitempty"` // at the valve
	MaxLiftExhaust measure.Length `json:"max_lift_exhaust_mm,omitempty"`
	// LobeSeparation is in degrees of cam.
	LobeSeparation *measure.Angle `json:"lobe_separation_deg,omitempty"`
	LashIntake     measure.Length `json:"lash_intake_mm,omitempty"`
	LashExhaust    measure.Length `json:"lash_exhaust_mm,omitempty"`
}

// Lash is the card's lash of each kind of valve; 0: not on it.
func (c CamCard) Lash() ForValves[measure.Length] {
	return ForValves[measure.Length]{Intake: c.LashIntake, Exhaust: c.LashExhaust}
}

// MaxLift is the card's max lift of each kind, at the valve; 0: not on it.
func (c CamCard) MaxLift() ForValves[measure.Length] {
	return ForValves[measure.Length]{Intake: c.MaxLiftIntake, Exhaust: c.MaxLiftExhaust}
}

// Limits are the least clearances that the builder wants; 0: not set.
type Limits struct {
	PistonIntake  measure.Length `json:"piston_to_valve_intake_mm,omitempty"`
	PistonExhaust measure.Length `json:"piston_to_valve_exhaust_mm,omitempty"`
	CoilBind      measure.Length `json:"coil_bind_mm,omitempty"`
	Retainer      measure.Length `json:"retainer_mm,omitempty"` // retainer to seal or guide
	Rocker        measure.Length `json:"rocker_mm,omitempty"`   // rocker to retainer or stud
	// Square is how far off square at half lift a rocker may stand, as a height
	// of its stand.
	Square measure.Length `json:"square_mm,omitempty"`
	// Card is how far a line of the cam card may be off, in crank degrees, CardLift
	// its max lifts.
	Card     measure.Angle  `json:"card_deg,omitempty"`
	CardLift measure.Length `json:"card_lift_mm,omitempty"`
}

// Piston is the least piston-to-valve clearance of each kind; 0: not set.
func (l Limits) Piston() ForValves[measure.Length] {
	return ForValves[measure.Length]{Intake: l.PistonIntake, Exhaust: l.PistonExhaust}
}

// Shims is a kind of shim in the drawer.
type Shims struct {
	Thickness measure.Length `json:"thickness_mm"`
	Count     int            `json:"count"`
}

// Pushrod says what the pushrods are made of and end in.
type Pushrod struct {
	Material string         `json:"material,omitempty"`
	Diameter measure.Length `json:"diameter_mm,omitempty"`
	Wall     measure.Length `json:"wall_mm,omitempty"`
	// Ends: "ball-ball", "ball-cup" and the like, as the person writes it.
	Ends string `json:"ends,omitempty"`
	// BallDiameter is of the gauge or the ball, for lengths over the ball.
	BallDiameter measure.Length `json:"ball_diameter_mm,omitempty"`
}

var slug = regexp.MustCompile(`^[a-z0-9][a-z0-9._-]{0,63}$`)

// Validate says which field is wrong and what it should be; the error is a
// [*FieldError].
func (e Engine) Validate() error {
	bad := badField("engine", e.ID)
	if !slug.MatchString(e.ID) {
		return bad("id", `must be of small letters, digits, "-", "_" and ".", beginning with a letter or digit, at most 64`)
	}
	if e.Cylinders < 1 || e.Cylinders > 48 {
		return bad("cylinders", "is %d; it must be 1 to 48", e.Cylinders)
	}
	if e.ValvesPerCylinder < 2 || e.ValvesPerCylinder > 6 {
		return bad("valves_per_cylinder", "is %d; it must be 2 to 6", e.ValvesPerCylinder)
	}
	if err := e.checkLayout(bad); err != nil {
		return err
	}
	if err := e.checkHeads(bad); err != nil {
		return err
	}
	if err := e.ValveNames.Check(e.inFiringOrder()); err != nil {
		return bad("valve_names", "%v", err)
	}
	if err := e.checkFigures(bad); err != nil {
		return err
	}
	for _, text := range []error{checkName(bad, "name", e.Name), checkName(bad, "type", e.Type), checkText(bad, "notes", e.Notes), e.checkWaivers(bad)} {
		if text != nil {
			return text
		}
	}
	if e.TDC != nil {
		if err := e.TDC.check(bad); err != nil {
			return err
		}
	}
	for i, shim := range e.ShimsOnHand {
		if shim.Thickness <= 0 || shim.Count < 0 {
			return bad(fmt.Sprintf("shims_on_hand[%d]", i), "is %d of %s; the thickness must be above 0 and the count not below", shim.Count, shim.Thickness)
		}
	}
	return e.checkOrder(bad)
}

// checkLayout finds what cannot be of how the engine is built and turns.
func (e Engine) checkLayout(bad func(field, format string, args ...any) error) error {
	if !slices.Contains([]Layout{"", Inline, Vee, Flat, Single}, e.Layout) {
		return bad("layout", "is %q; write inline, vee, flat or single", e.Layout)
	}
	if !slices.Contains([]Rotation{"", Clockwise, Anticlockwise}, e.Rotation) {
		return bad("rotation", "is %q; write clockwise or anticlockwise, as seen from the front", e.Rotation)
	}
	if !slices.Contains([]string{"", "in", "mm"}, e.Units) {
		return bad("units", "is %q; write in or mm", e.Units)
	}
	if len(e.FiringOrder) > 0 {
		sorted := slices.Sorted(slices.Values(e.FiringOrder))
		if !slices.Equal(sorted, counted(e.Cylinders)) {
			return bad("firing_order", "is %v; it must name each of the %d cylinders once", e.FiringOrder, e.Cylinders)
		}
	}
	return nil
}

// checkFigures finds ratios, lengths and angles that no engine has.
func (e Engine) checkFigures(bad func(field, format string, args ...any) error) error {
	for field, ratio := range map[string]float64{"rocker_ratio.intake": e.RockerRatio.Intake, "rocker_ratio.exhaust": e.RockerRatio.Exhaust} {
		if !(ratio >= 0 && ratio <= 5) {
			return bad(field, "is %v; it must be 0 (not known) to 5", ratio)
		}
	}
	if e.Compression != 0 && !(e.Compression >= 1.5 && e.Compression <= 40) {
		return bad("compression", "is %v; it must be 1.5 to 40, or 0 for not known", e.Compression)
	}
	if !slices.Contains([]string{"", "roller", "pad"}, e.RockerTip) {
		return bad("rocker_tip", "is %q; write roller or pad", e.RockerTip)
	}
	if e.RockerTip == "pad" && e.RockerTipRadius != 0 && e.RockerArm != 0 && e.RockerTipRadius >= e.RockerArm*9/10 {
		return bad("rocker_tip_radius_mm", "is %s, as long as the valve arm; was the diameter meant?", e.RockerTipRadius)
	}
	for _, l := range e.lengths() {
		if l.value < 0 || l.value > 10_000*measure.Millimetre {
			return bad(l.field, "is %s; it must be 0 to 10 m", l.value)
		}
	}
	if b := e.BallAboveLine; b != nil && (b.Abs() > 100*measure.Millimetre) {
		return bad("ball_above_line_mm", "is %s; it must be within 100 mm", *b)
	}
	if t := e.Limits.Card; t < 0 || t > 45*measure.Degree {
		return bad("limits.card_deg", "is %s; it must be from 0 to 45 degrees", t)
	}
	for _, a := range e.CamCard.angles() {
		if a.value != nil && (*a.value < -measure.Turn || *a.value > measure.Turn) {
			return bad(a.field, "is %s; it must be within 360 degrees", *a.value)
		}
	}
	return nil
}

// checkOrder finds a valve that is not the engine's, or comes twice, in the order of
// work.
func (e Engine) checkOrder(bad func(field, format string, args ...any) error) error {
	all := valve.Names(e.inFiringOrder())
	for i, v := range e.Order {
		if !slices.Contains(all, v) {
			return bad(fmt.Sprintf("order[%d]", i), "is %q; the valves are %s", v, strings.Join(all, " "))
		}
		if slices.Contains(e.Order[:i], v) {
			return bad(fmt.Sprintf("order[%d]", i), "names %q a second time", v)
		}
	}
	return nil
}

const mostTurns = 1000 * measure.Turn

type lengthField struct {
	field string
	value measure.Length
}

func (e Engine) lengths() []lengthField {
	c, l, p := e.CamCard, e.Limits, e.Pushrod
	return []lengthField{
		{"rocker_arm_mm", e.RockerArm}, {"adjuster_arm_mm", e.AdjusterArm}, {"rocker_tip_radius_mm", e.RockerTipRadius},
		{"ports.intake.head_mm", e.Ports.Intake.Head}, {"ports.intake.seat_width_mm", e.Ports.Intake.SeatWidth}, {"ports.intake.throat_mm", e.Ports.Intake.Throat}, {"ports.intake.stem_mm", e.Ports.Intake.Stem},
		{"ports.exhaust.head_mm", e.Ports.Exhaust.Head}, {"ports.exhaust.seat_width_mm", e.Ports.Exhaust.SeatWidth}, {"ports.exhaust.throat_mm", e.Ports.Exhaust.Throat}, {"ports.exhaust.stem_mm", e.Ports.Exhaust.Stem},
		{"stroke_mm", e.Stroke}, {"rod_mm", e.Rod}, {"bore_mm", e.Bore},
		{"cam_card.checking_lift_mm", c.CheckingLift},
		{"cam_card.max_lift_intake_mm", c.MaxLiftIntake}, {"cam_card.max_lift_exhaust_mm", c.MaxLiftExhaust},
		{"cam_card.lash_intake_mm", c.LashIntake}, {"cam_card.lash_exhaust_mm", c.LashExhaust},
		{"limits.piston_to_valve_intake_mm", l.PistonIntake}, {"limits.piston_to_valve_exhaust_mm", l.PistonExhaust},
		{"limits.coil_bind_mm", l.CoilBind}, {"limits.retainer_mm", l.Retainer}, {"limits.rocker_mm", l.Rocker}, {"limits.square_mm", l.Square}, {"limits.card_lift_mm", l.CardLift},
		{"pushrod.diameter_mm", p.Diameter}, {"pushrod.wall_mm", p.Wall}, {"pushrod.ball_diameter_mm", p.BallDiameter},
	}
}

type angleField struct {
	field string
	value *measure.Angle
}

func (c CamCard) angles() []angleField {
	return []angleField{
		{"cam_card.io_btdc_deg", c.IntakeOpens}, {"cam_card.ic_abdc_deg", c.IntakeCloses},
		{"cam_card.eo_bbdc_deg", c.ExhaustOpens}, {"cam_card.ec_atdc_deg", c.ExhaustCloses},
		{"cam_card.lobe_separation_deg", c.LobeSeparation},
	}
}

// Valves returns every valve in the order of work: Order, and after it whatever
// that leaves out, cylinder by cylinder in firing order, intakes first.
func (e Engine) Valves() []valve.Valve {
	all := e.inFiringOrder()
	out := make([]valve.Valve, 0, len(all))
	add := func(v valve.Valve) {
		if slices.Contains(all, v) && !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	for _, name := range e.Order {
		if v, err := valve.Parse(name); err == nil {
			add(v)
		}
	}
	for _, v := range all {
		add(v)
	}
	return out
}

func (e Engine) inFiringOrder() []valve.Valve {
	order := e.FiringOrder
	if len(order) == 0 {
		order = counted(min(e.Cylinders, 48))
	}
	return valve.Of(order, min(e.ValvesPerCylinder, 6))
}

func counted(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i + 1
	}
	return out
}

// checkHeads sees to it that every valve stands once along the heads.
func (e Engine) checkHeads(bad func(field, format string, args ...any) error) error {
	if len(e.Heads) == 0 {
		return nil
	}
	names, left := valve.Names(e.inFiringOrder()), map[string]bool{}
	for _, name := range names {
		left[name] = true
	}
	for _, head := range e.Heads {
		for _, name := range head {
			if !left[name] {
				return bad("heads", "has %q, which is no valve of this engine or stands there twice; its valves are %s", name, strings.Join(names, " "))
			}
			delete(left, name)
		}
	}
	if len(left) > 0 {
		return bad("heads", "lacks %s; every valve stands along a head once, or none is said", strings.Join(slices.Sorted(maps.Keys(left)), " "))
	}
	return nil
}
