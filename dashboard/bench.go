package dashboard

import (
	"context"
	"errors"
	"io"

	"lobescribe/capture/delay"
	"lobescribe/capture/lift"
	"lobescribe/capture/replay"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// Bench is what the page may ask of the daemon. Each part is also an interface
// of its own, for whoever needs only that.
type Bench interface {
	Instruments
	Recording
	Replays
	TraceFiles
	// Selected hears what the bench works on from now on: what is measured
	// next is of another valve.
	Selected(live.Selection)
	// KeepSettings remembers the settings until the next start, when they
	// come back as HubOptions.Units.
	KeepSettings(context.Context, live.Settings) error
}

// Instruments are the links to the indicator and the encoder.
type Instruments interface {
	// Ports lists what could be connected.
	Ports(ctx context.Context) ([]Port, error)
	// Preview listens at an address for a moment and says what it heard.
	Preview(ctx context.Context, address string) (Preview, error)
	// Connect opens an address in a role (Indicator or Encoder), in place of
	// what was there, and remembers it. It returns when the link is being
	// opened; how it fares comes as Device messages.
	Connect(ctx context.Context, role, address string) error
	// Disconnect closes the link in a role and forgets it.
	Disconnect(ctx context.Context, role string) error
	// Simulate puts the simulator in the place of the instruments, or takes it
	// away. The error is ErrNotOffered where there is none.
	Simulate(ctx context.Context, on bool) error
	// Probe listens at an address's port at the usual speeds, 15 s at most, and
	// never writes to it. How it goes comes as ProbeStep messages.
	Probe(ctx context.Context, address string) (Probed, error)
	// MeasureDelay begins to measure by how much the indicator's readings are
	// later than the encoder's, or goes on with it; KeepDelay writes what came
	// out into both addresses, and DropDelay forgets it.
	MeasureDelay(ctx context.Context) (DelayProgress, error)
	KeepDelay(ctx context.Context) error
	DropDelay()
	// BeginProving begins to prove the indicator, or starts again; FinishProving
	// does without its last step, and DropProving ends it and keeps nothing. How
	// it goes comes as ProofNow messages; ProofNow returns the newest.
	BeginProving(ctx context.Context) error
	FinishProving(ctx context.Context) error
	DropProving()
	ProofNow() live.ProofNow
}

// Recording is the trace under way.
type Recording interface {
	Mark()
	Unmark() // undoes the last mark
	EndTrace()
}

// Replays play a stored trace again through the live path. There is one at a
// time.
type Replays interface {
	StartReplay(ctx context.Context, id storage.ID, rate float64, from measure.Stamp) error
	AdjustReplay(replay.Change) error // ErrNoReplay
	StopReplay()
}

// TraceFiles works traces out and carries them in and out.
type TraceFiles interface {
	// Findings works out a stored trace (again, if need be).
	Findings(ctx context.Context, id storage.ID) (lift.Findings, error)
	// Export writes a trace in a promised format, "csv", "jsonl" or "parquet".
	Export(ctx context.Context, id storage.ID, format string, w io.Writer) error
	// Import stores a trace file. columns says which of a table's is what, in the
	// words of [tracefile.ParseChoice], or nothing. Its error says what is wrong
	// with the file; it is a [tracefile.Fault] with a table where columns that are
	// said would help.
	Import(ctx context.Context, name, columns string, r io.Reader) (storage.ID, error)
}

// What a Bench can answer.
var (
	// ErrNotOffered: this daemon was started without it.
	ErrNotOffered = errors.New("this daemon does not offer it")
	// ErrNoReplay: nothing is being replayed.
	ErrNoReplay = errors.New("nothing is being replayed")
)

// Port is a place where an instrument may be plugged in.
type Port struct {
	Address string `json:"address"` // as Connect takes it
	Name    string `json:"name"`    // as a person knows it
	USB     *USB   `json:"usb,omitempty"`
	ByID    string `json:"by_id,omitempty"`
	ByPath  string `json:"by_path,omitempty"`
	// CanOpen tells that this user may open it now; Says why not, and what to
	// do about it.
	CanOpen bool   `json:"can_open"`
	Says    string `json:"says,omitempty"`
}

// USB is how a port's adapter identifies itself.
type USB struct {
	Vendor  string `json:"vid"`
	Product string `json:"pid"`
	Serial  string `json:"serial,omitempty"`
	Name    string `json:"product,omitempty"`
}

// Probed is what a probe came to.
type Probed struct {
	// Sure tells that Address is good to connect as it stands.
	Sure    bool   `json:"sure"`
	Address string `json:"address"`
	Says    string `json:"says"`
}

// DelayProgress is how far the measuring of the delay has come.
type DelayProgress struct {
	Done bool `json:"done"`
	// Says what is still to be done, or what came out.
	Says   string        `json:"says"`
	Result *delay.Result `json:"result,omitempty"`
}

// Preview is what was heard at an address.
type Preview struct {
	Format   string           `json:"format"`
	Says     string           `json:"says"`
	Assumes  string           `json:"assumes,omitempty"` // what nothing told, and the key that tells it
	Readings []PreviewReading `json:"readings"`
	// Lines are the last ones as they came, and Columns the numbers in them.
	Lines   []PreviewLine   `json:"lines,omitempty"`
	Columns []PreviewColumn `json:"columns,omitempty"`
	Refused map[string]int  `json:"refused"`
}

// PreviewLine is a line of a device, and where numbers stand in it.
type PreviewLine struct {
	Text  string        `json:"text"`
	Spans []PreviewSpan `json:"spans,omitempty"`
}

// PreviewSpan is a number in a line, in letters, and the index of its column.
type PreviewSpan struct {
	From   int `json:"from"`
	To     int `json:"to"`
	Column int `json:"column"`
}

// PreviewColumn is a column of numbers: what asks for it behind column=, and what
// it is taken for, "lift", "angle", "counts" or "ignored".
type PreviewColumn struct {
	Key  string `json:"key"`
	Name string `json:"name,omitempty"`
	Role string `json:"role"`
}

// PreviewReading is one reading of a preview; what it does not have is absent.
type PreviewReading struct {
	At    measure.Stamp   `json:"t_s"`
	Lift  *measure.Length `json:"lift_mm,omitempty"`
	Angle *measure.Angle  `json:"angle_deg,omitempty"`
}
