package capture

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"lobescribe/device/measure"
)

// Head is what is known of a trace when it begins.
type Head struct {
	// Started is the wall-clock time of stamp zero, the only one in a trace.
	Started    time.Time
	Resolution measure.Length
	HasAngle   bool
	Live       bool // false for a replay
}

// TraceStore is where traces are kept; storage.Store, seen from here.
type TraceStore interface {
	Begin(Head) (TraceWriter, error)
}

// TraceWriter takes one trace. When Append returns nil, the readings are on
// disk.
type TraceWriter interface {
	ID() uint64
	Append([]measure.Reading, []measure.Note) error
	End() error
}

// TraceState tells the listeners how the trace under way is kept.
type TraceState struct {
	ID uint64 `json:"id"`
	// State is "recording", "behind" (the disk refuses, readings wait in
	// memory), "kept" (ended and on disk) or "failed" (readings were lost).
	State string `json:"state"`
	// Began is the live clock at which the trace's own time is zero.
	Began    int64   `json:"t0_us"`
	Seconds  float64 `json:"seconds"`
	Readings int     `json:"readings"`
	// OnDisk is the trace time up to which every reading is on disk.
	OnDisk float64 `json:"on_disk_s"`
	Says   string  `json:"says,omitempty"`
}

// Type returns "trace".
func (TraceState) Type() string { return "trace" }

// The states of a TraceState.
const (
	TraceRecording = "recording"
	TraceBehind    = "behind"
	TraceKept      = "kept"
	TraceFailed    = "failed"
)

// Keeper writes traces to a store behind the back of the live side, which
// never waits for it: readings queue in memory and go to disk as one commit
// every Every. When the disk refuses, the queue grows up to Bound readings and
// is written as soon as the disk lets it; past the bound the newest readings
// are dropped, and that is said and noted in the trace as a gap.
type Keeper struct {
	o    KeeperOptions
	wake chan struct{}
	done chan struct{}

	mu    sync.Mutex
	queue []*keeping // traces in order; all but the last have ended
	held  int        // readings in the queue not yet on disk
}

// KeeperOptions are the settings of a Keeper.
type KeeperOptions struct {
	Store TraceStore
	Log   *slog.Logger
	// Every is the time between commits; 0 means 400 ms. With the commit
	// itself it must stay below the second that a power cut may cost.
	Every time.Duration
	// Bound is how many readings are held in memory while the disk refuses; 0
	// means 2,000,000 (64 MB, five hours at 100 a second).
	Bound int
	// Tell hears of every change, from the keeper's own goroutine.
	Tell func(TraceState)
	// Ended hears of a trace that is whole on disk, from the keeper's own
	// goroutine; here findings are worked out.
	Ended func(id uint64)
}

// keeping is one trace on its way to disk.
type keeping struct {
	head     Head
	began    measure.Stamp
	writer   TraceWriter // nil until the store has taken it
	readings []measure.Reading
	notes    []measure.Note
	ended    bool
	written  int
	onDisk   measure.Stamp
	newest   measure.Stamp
	dropped  int
	dropFrom measure.Stamp
	refused  string // what the store said last, "" when it is well
}

// NewKeeper returns a Keeper; Run must be called for anything to be written.
func NewKeeper(o KeeperOptions) *Keeper {
	if o.Every == 0 {
		o.Every = 400 * time.Millisecond
	}
	if o.Bound == 0 {
		o.Bound = 2_000_000
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Tell == nil {
		o.Tell = func(TraceState) {}
	}
	if o.Ended == nil {
		o.Ended = func(uint64) {}
	}
	return &Keeper{o: o, wake: make(chan struct{}, 1), done: make(chan struct{})}
}

// Begin opens a trace whose own time starts at began on the live clock. A
// trace still under way is ended.
func (k *Keeper) Begin(h Head, began measure.Stamp) {
	k.mu.Lock()
	if n := len(k.queue); n > 0 {
		k.queue[n-1].ended = true
	}
	k.queue = append(k.queue, &keeping{head: h, began: began})
	k.mu.Unlock()
	k.poke()
}

// Append adds readings and notes, stamped on the live clock, to the trace
// under way. It never blocks on the disk. Without a trace it does nothing.
func (k *Keeper) Append(readings []measure.Reading, notes []measure.Note) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.queue) == 0 || k.queue[len(k.queue)-1].ended {
		return
	}
	t := k.queue[len(k.queue)-1]
	for _, n := range notes {
		n.At -= t.began
		if n.Until != 0 {
			n.Until -= t.began
		}
		t.notes = append(t.notes, n)
	}
	for _, r := range readings {
		r.At -= t.began
		if k.held >= k.o.Bound {
			if t.dropped == 0 {
				t.dropFrom = r.At
			}
			t.dropped++
			t.newest = r.At
			continue
		}
		if t.dropped > 0 {
			t.notes = append(t.notes, dropNote(t, r.At))
			t.dropped = 0
		}
		t.readings = append(t.readings, r)
		t.newest = r.At
		k.held++
	}
}

func dropNote(t *keeping, until measure.Stamp) measure.Note {
	return measure.Note{At: t.dropFrom, Until: until, Kind: measure.NoteGap,
		Says: fmt.Sprintf("the disk refused for so long that %d readings were lost", t.dropped)}
}

// End ends the trace under way.
func (k *Keeper) End() {
	k.mu.Lock()
	if n := len(k.queue); n > 0 {
		k.queue[n-1].ended = true
	}
	k.mu.Unlock()
	k.poke()
}

func (k *Keeper) poke() {
	select {
	case k.wake <- struct{}{}:
	default:
	}
}

// Run writes until ctx is done, then ends the trace under way, writes what is
// left and returns; an error means that readings could not be written.
func (k *Keeper) Run(ctx context.Context) error {
	defer close(k.done)
	every := time.NewTicker(k.o.Every)
	defer every.Stop()
	for {
		select {
		case <-every.C:
		case <-k.wake:
		case <-ctx.Done():
			k.End()
			return k.flush()
		}
		_ = k.flush() // said to the listeners, tried again at the next tick
	}
}

// flush writes everything queued. It stops at the first refusal, which the
// listeners hear of, and returns it.
func (k *Keeper) flush() error {
	for {
		k.mu.Lock()
		if len(k.queue) == 0 {
			k.mu.Unlock()
			return nil
		}
		t := k.queue[0]
		readings, notes, ended := t.readings, t.notes, t.ended
		if ended && t.dropped > 0 {
			notes = append(notes, dropNote(t, t.newest))
			t.dropped = 0
		}
		t.readings, t.notes = nil, nil
		k.mu.Unlock()

		if err := k.append(t, readings, notes); err != nil {
			k.mu.Lock()
			t.readings = append(readings, t.readings...)
			t.notes = append(notes, t.notes...)
			k.mu.Unlock()
			return k.refused(t, err)
		}
		if ended {
			if err := t.writer.End(); err != nil {
				return k.refused(t, err)
			}
		}
		t.refused = ""
		if !ended {
			k.tell(t, TraceRecording, "")
			return nil
		}
		k.mu.Lock()
		k.queue = k.queue[1:]
		k.mu.Unlock()
		k.tell(t, TraceKept, "")
		k.o.Ended(t.writer.ID())
	}
}

// append gives the store what has gathered; on error nothing of it was taken.
func (k *Keeper) append(t *keeping, readings []measure.Reading, notes []measure.Note) error {
	if t.writer == nil {
		w, err := k.o.Store.Begin(t.head)
		if err != nil {
			return err
		}
		t.writer = w
	}
	if len(readings) == 0 && len(notes) == 0 {
		return nil
	}
	if err := t.writer.Append(readings, notes); err != nil {
		return err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.held -= len(readings)
	t.written += len(readings)
	if len(readings) > 0 {
		t.onDisk = readings[len(readings)-1].At
	}
	return nil
}

// refused tells that the store would not take what it was given.
func (k *Keeper) refused(t *keeping, err error) error {
	if t.refused != err.Error() {
		t.refused = err.Error()
		k.o.Log.Error("trace not written", "error", err)
	}
	k.tell(t, TraceBehind, "The disk refuses: "+t.refused+". Readings wait in memory and are written as soon as it lets them.")
	return err
}

func (k *Keeper) tell(t *keeping, state, says string) {
	k.mu.Lock()
	s := TraceState{State: state, Began: int64(t.began), Says: says,
		Seconds: t.newest.Seconds(), Readings: t.written + len(t.readings), OnDisk: t.onDisk.Seconds()}
	k.mu.Unlock()
	if t.writer != nil {
		s.ID = t.writer.ID()
	}
	k.o.Tell(s)
}
