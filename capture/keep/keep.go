package keep

import (
	"errors"
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
	// Continues is the trace whose beginning the store took before it took
	// nothing more; 0 as a rule. Only Rescue is given such heads.
	Continues uint64
}

// Store is where traces are kept; storage.Store, seen from here.
type Store interface {
	Begin(Head) (Writer, error)
}

// Writer takes one trace. When Append returns nil, the readings are on
// disk.
type Writer interface {
	ID() uint64
	Append([]measure.Reading, []measure.Note) error
	End() error
}

// What an error of a Store or Writer can say besides.
var (
	// ErrMending: the store is hurt and being put right; it is worth waiting.
	ErrMending = errors.New("the store is being repaired")
	// ErrLost: the store takes nothing more; waiting is of no use.
	ErrLost = errors.New("the store takes nothing more")
)

// State tells the listeners how the trace under way is kept.
type State struct {
	ID uint64 `json:"id"`
	// State is "recording", "behind" (the disk refuses, readings wait in
	// memory), "kept" (ended and on disk) or "failed" (readings are being lost, or
	// will be: memory is full as well, or nothing takes them).
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
func (State) Type() string { return "trace" }

// The states of a State.
const (
	StateRecording = "recording"
	StateBehind    = "behind"
	StateKept      = "kept"
	StateFailed    = "failed"
)

// Keeper writes traces to a store behind the back of the live side, which
// never waits for it: readings queue in memory and go to disk as one commit
// every Every. When the disk refuses or does not answer, the listeners are told,
// the queue grows up to Bound readings and is written as soon as the disk lets
// it; past the bound the newest readings are dropped, which is said at once
// ([StateFailed]) and noted in the trace as a gap. What a store takes no more at
// all goes to Rescue instead, and so does what is not written when the Keeper has
// to stop.
//
// What the live side calls stands in this file, what writes in write.go.
type Keeper struct {
	o    Options
	wake chan struct{}

	mu    sync.Mutex
	queue []*keeping // traces in order; all but the last have ended
	held  int        // readings and notes in the queue not yet on disk
	lost  uint64     // readings dropped since the start
	wrote time.Time  // when the last commit began
}

// Options are the settings of a Keeper.
type Options struct {
	Store Store
	// Rescue takes the traces that Store never will. Default: they are lost when
	// the Keeper stops.
	Rescue Store
	Log    *slog.Logger
	// Every is the time between commits; 0 means 400 ms. A commit is made with the
	// first readings that come so long after the one before, so that both wake the
	// processor once; where none come, it is made half as much later. That and the
	// commit itself must stay below the second that a power cut may cost.
	Every time.Duration
	// Bound is how many readings and notes are held in memory while the disk
	// refuses; 0 means 2,000,000 (64 MB, five hours at 100 a second).
	Bound int
	// Slow is how long a commit may take before the listeners hear that the
	// disk does not answer; 0 means 1 s.
	Slow time.Duration
	// Tell hears of every change, from the keeper's own goroutine.
	Tell func(State)
	// Ended hears of a trace that is whole in the Store, from the keeper's own
	// goroutine: what takes long must be done in another, or the next trace
	// waits for it.
	Ended func(id uint64)
}

// keeping is one trace on its way to disk.
type keeping struct {
	head     Head
	began    measure.Stamp
	writer   Writer // nil until the store has taken it
	readings []measure.Reading
	notes    []measure.Note
	ended    bool
	written  int
	onDisk   measure.Stamp
	newest   measure.Stamp
	// What did not fit into memory since the last reading that did.
	dropped, droppedNotes int
	dropFrom              measure.Stamp
	lost                  int    // readings dropped in all
	refused               string // what the store said last, "" when it is well
	// rescued: it goes to Rescue, because of what stands in why; id is its number
	// in the Store, 0 when it has none.
	rescued  bool
	why      string
	id       uint64
	complete bool // only its end was not written
}

// New returns a Keeper; Run must be called for anything to be written.
func New(o Options) *Keeper {
	if o.Every == 0 {
		o.Every = 400 * time.Millisecond
	}
	if o.Bound == 0 {
		o.Bound = 2_000_000
	}
	if o.Slow == 0 {
		o.Slow = time.Second
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Tell == nil {
		o.Tell = func(State) {}
	}
	if o.Ended == nil {
		o.Ended = func(uint64) {}
	}
	return &Keeper{o: o, wake: make(chan struct{}, 1)}
}

// Begin opens a trace whose own time starts at began on the live clock. A
// trace still under way is ended.
func (k *Keeper) Begin(h Head, began measure.Stamp) {
	k.mu.Lock()
	k.endLast()
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
		if k.held >= k.o.Bound {
			t.drop(n.At)
			t.droppedNotes++
			continue
		}
		t.notes = append(t.notes, n)
		k.held++
	}
	for _, r := range readings {
		r.At -= t.began
		t.newest = r.At
		if k.held >= k.o.Bound {
			t.drop(r.At)
			t.dropped++
			t.lost++
			k.lost++
			continue
		}
		k.closeGap(t, r.At)
		t.readings = append(t.readings, r)
		k.held++
	}
	if time.Since(k.wrote) >= k.o.Every {
		k.poke()
	}
}

// drop remembers where it was that the first thing was dropped.
func (t *keeping) drop(at measure.Stamp) {
	if t.dropped == 0 && t.droppedNotes == 0 {
		t.dropFrom = at
	}
}

// closeGap notes in the trace what was dropped, once there is room again or
// the trace is over. The note goes past the bound: there is one a gap, and it
// is what says that there is one.
func (k *Keeper) closeGap(t *keeping, until measure.Stamp) {
	if t.dropped == 0 && t.droppedNotes == 0 {
		return
	}
	says := fmt.Sprintf("the disk refused for so long that %d readings were lost", t.dropped)
	if t.droppedNotes > 0 {
		says += fmt.Sprintf(", and notes: %d", t.droppedNotes)
	}
	t.notes = append(t.notes, measure.Note{At: t.dropFrom, Until: until, Kind: measure.NoteGap, Says: says})
	k.held++
	t.dropped, t.droppedNotes = 0, 0
}

// End ends the trace under way.
func (k *Keeper) End() {
	k.mu.Lock()
	k.endLast()
	k.mu.Unlock()
	k.poke()
}

// endLast is called with the lock held.
func (k *Keeper) endLast() {
	n := len(k.queue)
	if n == 0 || k.queue[n-1].ended {
		return
	}
	t := k.queue[n-1]
	k.closeGap(t, t.newest)
	t.ended = true
}

// Waiting returns how many readings and notes are not on disk yet, and how many
// readings were lost since the start because the disk refused for too long.
func (k *Keeper) Waiting() (waiting int, lost uint64) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.held, k.lost
}

func (k *Keeper) poke() {
	select {
	case k.wake <- struct{}{}:
	default:
	}
}
