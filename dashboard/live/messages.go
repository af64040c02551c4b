package live

import (
	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/capture/lift"
	"lobescribe/capture/prove"
	"lobescribe/capture/valve"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// The messages of the live socket that do not come from the follower. Each is
// a [capture.Message]: its JSON form is its fields and "type".

// Hello is the first message a client gets: everything it needs to draw the
// page as it stands.
type Hello struct {
	Version   string            `json:"version"`
	Units     string            `json:"units"` // "in" or "mm"
	LAN       bool              `json:"lan"`
	Simulated bool              `json:"simulated"`
	Bench     Selection         `json:"bench"`
	Devices   []Device          `json:"devices"`
	Position  *capture.Position `json:"position"` // null before the first reading
	// Trace is the trace under way or the last one, null before the first;
	// Openings are those of it that have settled.
	Trace    *keep.State    `json:"trace"`
	Openings []lift.Opening `json:"openings"`
	// LeftOut are the openings of that trace that somebody struck.
	LeftOut []lift.LeftOut `json:"left_out,omitempty"`
	// Noted is what somebody wrote about openings of that trace, Marks are when a
	// pedal was pressed in it and not undone; both in the trace's own time.
	Noted []storage.OpeningNote `json:"noted,omitempty"`
	Marks []measure.Stamp       `json:"marks_s,omitempty"`
	// Agreement of those that count; absent before the first.
	Agreement *Agreement  `json:"agreement,omitempty"`
	Findings  *FindingsOf `json:"findings"`  // of the last trace that ended
	Proof     *ProofNow   `json:"proof"`     // null while no indicator was ever chosen
	ReplayOf  *uint64     `json:"replay_of"` // the trace being replayed, or null
	// Shop is ShopBench, ShopRecord, or absent: what this daemon has to do with a
	// shop of many benches.
	Shop string `json:"shop,omitempty"`
	// Repairs are those of the store that nobody has dismissed.
	Repairs []Repair `json:"repairs,omitempty"`
}

// Type returns "hello".
func (Hello) Type() string { return "hello" }

// Selection is what the bench is working on. Zero means nothing chosen.
type Selection struct {
	Engine string `json:"engine"`
	Valve  string `json:"valve"`
	// Cylinder and Kind are what Valve names; absent while none is chosen.
	Cylinder int        `json:"cylinder,omitempty"`
	Kind     valve.Kind `json:"kind,omitempty"`
	Trial    string     `json:"trial"`
	// Against is what the sweep gauge lies against; empty: the tip.
	Against storage.Against `json:"against,omitempty"`
}

// SelectionOf is what the store remembers of the bench.
func SelectionOf(b storage.Bench) Selection {
	v, _ := valve.Parse(b.Valve)
	return Selection{Engine: b.Engine, Valve: b.Valve, Cylinder: v.Cylinder, Kind: v.Kind, Trial: b.Trial, Against: b.Against}
}

// Type returns "bench".
func (Selection) Type() string { return "bench" }

// The roles of the instruments.
const (
	Indicator = "indicator"
	Encoder   = "encoder"
	Sweep     = "sweep"
)

// Device is how an instrument's link stands.
type Device struct {
	ID      string `json:"id"` // Indicator, Encoder or Sweep
	Address string `json:"address"`
	State   string `json:"state"` // "connecting", "live", "silent" or "lost"
	Says    string `json:"says,omitempty"`
	// Detail is finer than State: "absent", "opening", "settling", "flowing",
	// "standing-still", "stalled" or "refused".
	Detail     string         `json:"detail,omitempty"`
	RateHz     float64        `json:"rate_hz"`
	AgeS       float64        `json:"age_s"` // since the last reading
	Format     string         `json:"format,omitempty"`
	Assumes    string         `json:"assumes,omitempty"` // what nothing told, and the key that tells it
	Resolution measure.Length `json:"resolution_mm"`
	Refused    map[string]int `json:"refused,omitempty"` // by kind
}

// Type returns "device".
func (Device) Type() string { return "device" }

// FindingsOf are the findings of a trace that has ended.
type FindingsOf struct {
	Trace    uint64        `json:"trace"`
	Findings lift.Findings `json:"findings"`
}

// Type returns "findings".
func (FindingsOf) Type() string { return "findings" }

// LeftOut says which openings of a trace count for nothing, all of them each
// time.
type LeftOut struct {
	Trace storage.ID     `json:"trace"`
	List  []lift.LeftOut `json:"left_out"`
}

// Type returns "left-out".
func (LeftOut) Type() string { return "left-out" }

// Noted says what is written about the openings of a trace, all of it each time.
type Noted struct {
	Trace storage.ID            `json:"trace"`
	List  []storage.OpeningNote `json:"noted"`
}

// Type returns "noted".
func (Noted) Type() string { return "noted" }

// ProbeStep is what a probe heard at one speed.
type ProbeStep struct {
	Line  string  `json:"line"`  // "9600 8N1"
	Score float64 `json:"score"` // from 0 to 1
	Says  string  `json:"says"`
}

// Type returns "probe".
func (ProbeStep) Type() string { return "probe" }

// ProofNow is what is known of the indicator that is chosen, and how its proving
// goes.
type ProofNow struct {
	Indicator string      `json:"indicator"` // its identity; "" while none is chosen
	Proof     prove.Proof `json:"proof"`
	Proving   *prove.Now  `json:"proving"` // null while none is under way
	// ExpectedLift is what the next turn of the valve on the bench is expected
	// to show, and ExpectedWithin how far off that may be; absent where nothing
	// is known of it.
	ExpectedLift   measure.Length `json:"expected_lift_mm,omitempty"`
	ExpectedWithin measure.Length `json:"expected_within_mm,omitempty"`
}

// Type returns "proof".
func (ProofNow) Type() string { return "proof" }

// Marked says that somebody pressed the space bar, pedal or presenter, or undid
// that.
type Marked struct {
	At     measure.Stamp `json:"t_s"`
	Undone bool          `json:"undone,omitempty"`
}

// Type returns "mark".
func (Marked) Type() string { return "mark" }

// Repair is what a repair of the store has cost, in words.
type Repair struct {
	ID   string `json:"id"`
	Loss bool   `json:"loss"` // something is gone, or may be
	Says string `json:"says"`
}

// Repairs are those that nobody has dismissed yet.
type Repairs struct {
	Repairs []Repair `json:"repairs"`
}

// Type returns "repairs".
func (Repairs) Type() string { return "repairs" }

// RepairsOf puts the store's records into words.
func RepairsOf(records []storage.Repaired) Repairs {
	r := Repairs{Repairs: []Repair{}}
	for _, done := range records {
		lost := !done.Exact || done.LostReadings()+done.LostTraces()+done.LostDocuments() > 0
		r.Repairs = append(r.Repairs, Repair{ID: done.ID, Loss: lost, Says: done.Says()})
	}
	return r
}

// Settings are what the page remembers for everybody who looks at it.
type Settings struct {
	Units string `json:"units"` // "in" or "mm"
}

// Type returns "settings".
func (Settings) Type() string { return "settings" }

// Simulated says whether the simulator stands in for the instruments.
type Simulated struct {
	On bool `json:"on"`
}

// Type returns "simulator".
func (Simulated) Type() string { return "simulator" }
