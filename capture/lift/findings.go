package lift

import (
	"lobescribe/capture/sift"
	"lobescribe/device/measure"
)

// Findings is what was worked out from one trace. Its JSON form is promised to
// the outside: lengths in millimetres, times in seconds since the trace began,
// angles in degrees as the encoder counted them.
type Findings struct {
	Openings []Opening `json:"openings"`
	// MaxLift is the mean over the openings, above the heel; MaxLiftU its
	// expanded uncertainty, k = 2.
	MaxLift  measure.Length `json:"max_lift_mm"`
	MaxLiftU measure.Length `json:"max_lift_u_mm"`
	HalfLift measure.Length `json:"half_lift_mm"`
	// Spread is the largest minus the least max lift of the openings.
	Spread     measure.Length `json:"spread_mm"`
	Resolution measure.Length `json:"resolution_mm"`
	// Sign is +1 where the reading grows as the valve opens, -1 where it falls;
	// 0 where no opening told.
	Sign int `json:"sign"`
	// Held is what no finding tells and the uncertainties hold all the same.
	Held []Held `json:"held,omitempty"`
	// Doubted counts the readings that do not count, by reason; Doubts lists the
	// first of them.
	Doubted map[sift.Reason]int `json:"doubted,omitempty"`
	Doubts  []Doubted           `json:"doubts,omitempty"`
	Faults  []Fault             `json:"faults"`
	// LeftOut are openings that somebody struck. They are not among Openings
	// and no figure rests on them.
	LeftOut []Struck `json:"left_out,omitempty"`
}

// Opening is one passage heel - nose - heel.
type Opening struct {
	Open  measure.Stamp `json:"t_open_s"`  // lift leaves the heel
	Nose  measure.Stamp `json:"t_nose_s"`  // the highest point
	Close measure.Stamp `json:"t_close_s"` // lift is home again
	// Heel is what the indicator itself shows on the heel.
	Heel measure.Length `json:"heel_mm"`
	// MaxLift is above the heel, always positive whichever way the spindle
	// runs; MaxLiftU its expanded uncertainty, k = 2.
	MaxLift     measure.Length `json:"max_lift_mm"`
	MaxLiftU    measure.Length `json:"max_lift_u_mm"`
	HalfLift    measure.Length `json:"half_lift_mm"`
	OpeningHalf Crossing       `json:"opening_half"`
	ClosingHalf Crossing       `json:"closing_half"`
	NoseAngle   *measure.Angle `json:"nose_angle_deg,omitempty"`
}

// Held is a trouble that the signal neither shows nor leaves out: nothing is told
// of it, and every max lift's uncertainty holds what it may do.
type Held struct {
	Kind FaultKind      `json:"kind"`
	By   measure.Length `json:"by_mm"` // what it may take off a max lift
	Says string         `json:"says"`
}

// Crossing is where the lift passes half of the max lift.
type Crossing struct {
	At measure.Stamp `json:"t_s"`
	// Reading is what the indicator itself shows there.
	Reading measure.Length `json:"reading_mm"`
	Angle   *measure.Angle `json:"angle_deg,omitempty"`
	// AngleU is the expanded uncertainty of Angle, k = 2.
	AngleU *measure.Angle `json:"angle_u_deg,omitempty"`
}

// FaultKind names what is wrong with a set-up or a trace.
type FaultKind string

// The faults that can be found in a trace.
const (
	TravelEnd  FaultKind = "travel-end"  // a flat where the nose should be round
	NoContact  FaultKind = "no-contact"  // the spindle hangs free at the heel
	ZeroShift  FaultKind = "zero-shift"  // the heel comes back elsewhere
	UnitChange FaultKind = "unit-change" // switched between inch and metric
	ReZero     FaultKind = "re-zero"     // set to zero anew on the way
	Gap        FaultKind = "gap"         // the link was lost
	TooFast    FaultKind = "too-fast"    // the nose may have fallen between readings
	BackTurn   FaultKind = "back-turn"   // the engine was turned the wrong way
	PartTurn   FaultKind = "part-turn"   // no whole opening
	Misread    FaultKind = "misread"     // readings that no valve can give
	Frozen     FaultKind = "frozen"      // the indicator repeated itself while the valve moved

	SlowGauge     FaultKind = "slow-gauge"     // lift comes later than the angle
	LatePort      FaultKind = "late-port"      // the angle comes later than the lift
	EncoderSlip   FaultKind = "encoder-slip"   // passages no longer lie on each other
	EncoderCounts FaultKind = "encoder-counts" // from nose to nose is no whole turn
	HeelRunOut    FaultKind = "heel-runout"    // the heel goes up and down as it turns
	Bleeding      FaultKind = "bleeding"       // the lifter sinks while the valve is open
	Sticking      FaultKind = "sticking"       // the spindle moves in jumps
	Knock         FaultKind = "knock"          // the stand was knocked
)

// Fault is one thing that is wrong, where it began, and what to do about it in
// a sentence that a person at the engine understands.
type Fault struct {
	Kind FaultKind     `json:"kind"`
	At   measure.Stamp `json:"t_s"`
	Says string        `json:"says"`
}
