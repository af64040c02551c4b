package capture

import (
	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// Message is something the live side says while the engine is turned: to the
// page, to the headless recorder, to a test. Its JSON form is the message's own
// fields plus "type", which is what Type returns; that form is promised to the
// outside.
//
// Stamps in a message are on the clock of whoever feeds the follower: the
// daemon's monotonic clock for a live engine, the trace's own time in a replay.
type Message interface {
	// Type is the word that stands in the JSON as "type".
	Type() string
}

// ValveState says where the valve is in its opening.
type ValveState string

// The states of a valve.
const (
	// AtHeel: the valve is shut, the lifter on the base circle.
	AtHeel ValveState = "heel"
	// OnOpening: the lift is growing.
	OnOpening ValveState = "opening"
	// AtNose: the lift stands at the highest seen in this opening, or within
	// the indicator's own uncertainty of it.
	AtNose ValveState = "nose"
	// OnClosing: the lift is falling from the nose.
	OnClosing ValveState = "closing"
)

// Readings is a batch of what the instruments said, in columns of equal
// length. Lift is what the indicator itself shows, in nanometres, and nil where
// none is; Angle what the encoder counts, in microdegrees, and nil without an
// encoder; Sweep what the gauge across the stem shows, in nanometres, and nil
// without one; At in microseconds.
type Readings struct {
	At    []int64 `json:"t_us"`
	Lift  []int64 `json:"lift_nm,omitempty"`
	Angle []int64 `json:"angle_udeg,omitempty"`
	Sweep []int64 `json:"sweep_nm,omitempty"`
}

// Quantities are the columns beside At, in one order; an empty one is not there.
func (m *Readings) Quantities() [3]*[]int64 { return [3]*[]int64{&m.Lift, &m.Angle, &m.Sweep} }

// Slice returns the readings from and before to, and shares memory with m.
func (m Readings) Slice(from, to int) Readings {
	m.At = m.At[from:to]
	for _, q := range m.Quantities() {
		if len(*q) > 0 {
			*q = (*q)[from:to]
		}
	}
	return m
}

// Type returns "readings".
func (Readings) Type() string { return "readings" }

// Position is where the valve is now, as far as the follower knows. It is the
// live read-out: one follows another, only the newest matters.
type Position struct {
	At    measure.Stamp `json:"t_s"`
	State ValveState    `json:"state"`
	// Lift is above the heel, positive as the valve opens, in nanometres.
	Lift int64 `json:"lift_nm"`
	// Heel is what the indicator shows on the heel; Sign is +1 when its
	// reading grows as the valve opens, -1 when it falls (a spindle that runs
	// out), 0 while that is not known yet, and then Lift is 0 too.
	Heel int64 `json:"heel_nm"`
	Sign int   `json:"sign"`
	// Nose is the max lift of the opening under way, or of the last one while
	// on the heel; Settled tells that the valve has come home since, so it
	// can grow no more. Zero before the first.
	Nose    int64 `json:"nose_nm"`
	Settled bool  `json:"settled"`
	// Half is the half lift now aimed at: half of Nose once that was called, or of
	// the max lift that is expected while a new opening is still below it. Zero
	// where neither, or no heel, can be relied on.
	Half int64 `json:"half_nm"`
	// ToGo is how far the lift is from Half, signed: positive while still to
	// come on the flank the valve is on.
	ToGo int64 `json:"to_go_nm"`
	// Fallen is how far the lift has fallen from the highest of this opening while
	// nothing tells yet whether that was the nose or the hand has turned back.
	Fallen int64 `json:"fallen_nm,omitempty"`
	// Doubtful: a fault was told that makes max lift and half lift wrong, or its
	// uncertainty leaves half lift open.
	Doubtful bool `json:"doubtful,omitempty"`
}

// Type returns "state".
func (Position) Type() string { return "state" }

// CueKind is what is called out to the person at the wrench.
type CueKind string

// The cues. ApproachHalf comes again and again, each with less to go. TakenBack
// comes once for a call that turned out false.
const (
	ApproachHalf CueKind = "approach-half"
	AtHalf       CueKind = "at-half"
	PastHalf     CueKind = "past-half"
	NoseReached  CueKind = "nose"
	HeelReached  CueKind = "heel"
	TakenBack    CueKind = "taken-back"
)

// CueKinds lists them all.
func CueKinds() []CueKind {
	return []CueKind{ApproachHalf, AtHalf, PastHalf, NoseReached, HeelReached, TakenBack}
}

// Cue is one call. Lift is above the heel, that of a nose the highest, and ToGo
// is what is left to half lift, both in nanometres.
type Cue struct {
	At   measure.Stamp `json:"t_s"`
	Kind CueKind       `json:"kind"`
	Lift int64         `json:"lift_nm"`
	ToGo int64         `json:"to_go_nm"`
	// Flank is OnOpening or OnClosing for the half-lift cues.
	Flank ValveState `json:"flank,omitempty"`
	// Doubtful: nothing has borne out yet that Lift is counted from the heel; the
	// engine may have been on a lobe when it was first turned. Or a fault was told that
	// makes lifts wrong, or the uncertainty of max lift leaves half lift open.
	Doubtful bool `json:"doubtful,omitempty"`
	// Of is the call that is taken back: NoseReached or AtHalf, which stands for
	// PastHalf too. Lift is then what was called.
	Of CueKind `json:"of,omitempty"`
}

// Type returns "cue".
func (Cue) Type() string { return "cue" }

// Opened says that an opening is settled: the valve has come home.
type Opened struct {
	Opening lift.Opening `json:"opening"`
}

// Type returns "opening".
func (Opened) Type() string { return "opening" }

// Fault says that something is wrong with the set-up or the turning.
type Fault struct {
	Fault lift.Fault `json:"fault"`
}

// Type returns "fault".
func (Fault) Type() string { return "fault" }
