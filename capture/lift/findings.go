package lift

import (
	"fmt"

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
	// Drive is what lift and angle tell of each other; nil where they tell nothing.
	Drive *Drive `json:"drive,omitempty"`
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
	MaxLift  measure.Length `json:"max_lift_mm"`
	MaxLiftU measure.Length `json:"max_lift_u_mm"`
	// RepeatsU is within how much the next opening of the same set-up should be as
	// high: narrower than MaxLiftU, for what the spindle's stops, or a spindle that
	// sticks, take off one they take off the next. Known of an opening that was told
	// while the engine turned.
	RepeatsU    measure.Length `json:"-"`
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

// Drive is how lift and crank angle belong together, as the flanks of the openings
// tell it. Its uncertainties are expanded, k = 2.
type Drive struct {
	// Delay is by how much the lift comes later than the angle, below zero where
	// the angle comes later. Where it is beyond its uncertainty, the half-lift angles
	// have it taken off.
	Delay  measure.Stamp `json:"delay_s"`
	DelayU measure.Stamp `json:"delay_u_s"`
	// Slack is by how much less the encoder shows going back than forward at the same
	// lift: above zero it lies between crank and valve, below between crank and
	// encoder. Nil where it was not turned back on a flank at least twice.
	Slack  *measure.Angle `json:"slack_deg,omitempty"`
	SlackU *measure.Angle `json:"slack_u_deg,omitempty"`
	// Says is both for the person at the engine.
	Says string `json:"says"`
}

// words says it in a line.
func (d *Drive) words() string {
	late, what := d.Delay, "lift comes later than the crank angle by"
	if late < 0 {
		late, what = -late, "the crank angle comes later than lift by"
	}
	says := fmt.Sprintf("%s %.0f ± %.0f ms", what, 1000*late.Seconds(), 1000*d.DelayU.Seconds())
	if late < d.DelayU {
		says = fmt.Sprintf("lift and crank angle come together, to ± %.0f ms", 1000*(late+d.DelayU).Seconds())
	}
	if d.Slack == nil {
		return says
	}
	slack, where := d.Slack.Degrees(), "between crank and valve"
	if slack < 0 {
		slack, where = -slack, "between crank and encoder"
	}
	if u := d.SlackU.Degrees(); slack < u {
		return says + fmt.Sprintf("; no slack in the drive to ± %.1f°", slack+u)
	}
	return says + fmt.Sprintf("; slack %.1f ± %.1f° %s", slack, d.SlackU.Degrees(), where)
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
	PartTurn   FaultKind = "part-turn"   // an opening that is not whole
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

	NotCounted FaultKind = "not-counted" // an opening that could not be measured
	NoRepeat   FaultKind = "no-repeat"   // openings that disagree, and nothing says why
)
