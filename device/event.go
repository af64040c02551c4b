package device

import (
	"encoding/json"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// Event is one thing that a [Source] has to say. More than one field may be
// set; a Note comes before the Readings beside it.
type Event struct {
	// Readings belong to whoever receives the event.
	Readings []measure.Reading
	// Note is a gap, a change of unit, or a zero set again.
	Note *measure.Note
	// Held says that the foot switch is held down: whoever works it wants the
	// trace under way to end. Its press was a mark before.
	Held bool
	// Status is set when it changed, and at most every 250 ms while the link
	// is open.
	Status *Status
}

// State is how it stands with a link. Open is not flowing, and unchanged is
// not failed.
type State uint8

// The states of a link.
const (
	// Opening: about to open the port or socket for the first time.
	Opening State = iota
	// Absent: there is no such port, or nobody answers at the address.
	Absent
	// Refused: it is there, but may not be opened: no permission, or another
	// program holds it.
	Refused
	// Settling: open, and not yet sure that readings come.
	Settling
	// Flowing: readings come and change.
	Flowing
	// StandingStill: readings come and do not change; or the device is one
	// that speaks only when something moves, and it is silent.
	StandingStill
	// Stalled: open, but nothing comes where something should.
	Stalled
	// Closed: the source has ended.
	Closed
)

var stateNames = [...]string{"opening", "absent", "refused", "settling", "flowing", "standing-still", "stalled", "closed"}

// String returns the state as it is written everywhere.
func (s State) String() string { return stateNames[s] }

// MarshalJSON writes the state as its name.
func (s State) MarshalJSON() ([]byte, error) { return json.Marshal(s.String()) }

// LiveWord returns the state in the four words of the live channel:
// "connecting", "live", "silent" or "lost".
func (s State) LiveWord() string {
	switch s {
	case Opening, Settling:
		return "connecting"
	case Flowing, StandingStill:
		return "live"
	case Stalled:
		return "silent"
	}
	return "lost"
}

// Status is how it stands with a source at a moment.
type Status struct {
	State State `json:"state"`
	// Says is a line for a person: what is the matter and what to do.
	Says string `json:"says"`
	// Cause tells absent and refused apart further: "not there",
	// "permission denied" or "busy".
	Cause string `json:"cause,omitempty"`
	// Rate is readings a second of late; Age is how old the last reading is
	// (0 while there was none).
	Rate float64       `json:"rate"`
	Age  measure.Stamp `json:"age_s"`
	// Silent: nothing has come for a while, although that may be in order.
	Silent bool `json:"silent,omitempty"`
	// Refused counts what was not taken as a reading, since the start.
	Refused wire.Refused `json:"refused"`
	// Condition is what the device said of itself lately, as "battery low".
	Condition string `json:"condition,omitempty"`
	// Format and FormatSays are the name of the format and what it looks
	// like in words; empty while it is being found.
	Format     string `json:"format,omitempty"`
	FormatSays string `json:"format_says,omitempty"`
	Unit       string `json:"unit,omitempty"`
	Assumed    bool   `json:"assumed,omitempty"` // the unit or scale was guessed
	// Assumes is a sentence about what nothing told and was assumed, with the key
	// that says it; everybody is told, not only who asks.
	Assumes    string         `json:"assumes,omitempty"`
	Resolution measure.Length `json:"resolution_mm,omitempty"`
	AngleStep  measure.Angle  `json:"angle_step_deg,omitempty"`
	// Firmware is the name and version that the device told of itself.
	Firmware string `json:"firmware,omitempty"`
	// Port is the port or host that was opened: a usb: address may find its
	// device under another name each time.
	Port string `json:"port,omitempty"`
	// Opens counts how often the link was opened.
	Opens int `json:"opens"`
	// OpenedAt is when that was the last time.
	OpenedAt measure.Stamp `json:"opened_s"`
}

// LiveWord is [State.LiveWord], and never "live" while nothing comes.
func (s Status) LiveWord() string {
	if w := s.State.LiveWord(); w != "live" || !s.Silent {
		return w
	}
	return "silent"
}

// Counters is what went through a source since its start.
type Counters struct {
	Bytes    int64        `json:"bytes"`
	Chunks   int64        `json:"chunks"` // reads that gave bytes
	Readings int64        `json:"readings"`
	Asked    int64        `json:"asked"` // requests written
	Opens    int64        `json:"opens"`
	Lost     int64        `json:"lost"`   // times that the link failed or stalled
	Sleeps   int64        `json:"sleeps"` // jumps in time
	Refused  wire.Refused `json:"refused"`
}
