package daemon

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"maps"
	"sync"
	"sync/atomic"
	"time"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/capture/lift"
	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
	"lobescribe/dashboard/question"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/shop"
)

// Daemon wires devices, capture, store and page together. It is the
// dashboard's Bench: what the page asks for is done here by handing it to the
// part whose job it is.
type Daemon struct {
	log      *slog.Logger
	device   device.Options
	store    *storage.Store
	hub      *live.Hub
	live     *capture.Live
	keeper   *keep.Keeper
	rescue   *rescue
	metrics  *dashboard.Metrics
	simulate func(context.Context) (*Simulated, error) // nil where it is not offered

	ctx  context.Context // of the daemon: ends every goroutine
	work sync.WaitGroup

	// plugging is held while one device is put in the place of another, so that
	// two requests for one role come one after the other. It is taken before mu.
	plugging sync.Mutex

	// mu guards the fields below it. Nothing is waited for while it is held.
	mu          sync.Mutex
	instruments map[capture.Role]*instrument
	pluggedIn   atomic.Int32                     // how many these are, for who must not wait
	counted     map[capture.Role]device.Counters // by instruments that are closed
	simulator   *Simulated                       // nil while it does not run
	replay      *replaying
	selected    live.Selection
	meter       *delayMeter // nil while no delay is measured

	proofs proofs // of the indicator; has locks of its own

	// finding is held while a trace is worked out: one at a time, since a long
	// one takes a processor and memory.
	finding sync.Mutex

	overheard func(capture.Message) // of tests; nil
	unwritten error                 // what the keeper could not write; set before work is done
}

// Options are the parts a daemon is made of.
type Options struct {
	Log     *slog.Logger   // default: none
	Device  device.Options // how devices are opened
	Store   *storage.Store // must be given, and outlives the daemon
	Hub     *live.Hub      // must be given
	Version string         // of the program, for the metrics
	// Simulate starts the simulator for this daemon, until the context is done.
	// Default: it is not offered.
	Simulate func(context.Context) (*Simulated, error)
	// Source is written into the head of each trace: SourceLive or
	// storage's word for what else it is.
	Source string
	Sign   int // of the lift, as capture.FollowerOptions has it
	// Publisher tells a shop what is recorded. Default: none is told.
	Publisher *shop.Publisher
	// Rest on the heel ends a trace. Default: what capture takes.
	Rest measure.Stamp
	// Tending is how the store is looked after. Default: as storage has it.
	Tending storage.Tending
	// Rescue is how a rescue file is opened. Default: as any store.
	Rescue storage.Options
	// Held is how many readings wait in memory while the disk refuses. Default:
	// what capture takes.
	Held int
	// Clock is the monotonic time that readings are stamped on. Default: the
	// devices'.
	Clock func() measure.Stamp
	// Wall is the time of day. Default: time.Now.
	Wall func() time.Time

	// Tests hear all that the live side says, and stand before each commit.
	heard  func(capture.Message)
	before func()
}

// Where the readings of a trace come from, as its head has it.
const (
	// SourceLive: instruments on a bench.
	SourceLive = "live"
	// SourceDemo: the simulator, so that nobody takes it for an engine's.
	SourceDemo = "demo"
	// SourceReplay: a stored trace played again.
	SourceReplay = "replay"
)

const (
	// batchEvery is the page's pace: 60 messages a second.
	batchEvery = time.Second / 60
	// unseenEvery is how often readings go on when no page is open. Together
	// with the time between two commits it is what a power cut may cost.
	unseenEvery = 250 * time.Millisecond
	// besideEvery is the same where one instrument's readings wait for another's:
	// well within the time that join.Options.Hold lets them.
	besideEvery = 100 * time.Millisecond
)

// unseen is how often readings of so many instruments go on when no page is open.
func unseen(instruments int) time.Duration {
	if instruments > 1 {
		return besideEvery
	}
	return unseenEvery
}

// New returns a daemon whose goroutines run until ctx is done; [Daemon.Wait]
// waits for them.
func New(ctx context.Context, o Options) *Daemon {
	if o.Clock == nil {
		o.Clock = device.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	d := &Daemon{log: o.Log, device: o.Device, store: o.Store, hub: o.Hub, simulate: o.Simulate, ctx: ctx, overheard: o.heard,
		instruments: map[capture.Role]*instrument{}, counted: map[capture.Role]device.Counters{}}
	// What goes to the page goes in batches: between two of them a fast
	// instrument's bytes may gather, unless somebody wants each at once.
	d.device.Gather = func() time.Duration {
		switch c := d.hub.Counts(); {
		case c.Prompt > 0:
			return 0
		case c.Clients == 0:
			return unseen(int(d.pluggedIn.Load()))
		}
		return batchEvery
	}
	if o.Rescue.Log == nil {
		o.Rescue.Log = o.Log
	}
	d.rescue = &rescue{beside: o.Store.Path(), o: o.Rescue, head: func() storage.Head { return d.rescueHead(o.Source) }}
	d.keeper = keep.New(keep.Options{
		Store: &shelf{store: o.Store, head: func() (storage.Head, error) { return d.head(o.Source) },
			instruments: d.plugged, commit: func(write func() error) error {
				if o.before != nil {
					o.before()
				}
				return d.metrics.Commit(write)
			}},
		Rescue: d.rescue, Log: o.Log, Bound: o.Held,
		Tell:  func(s keep.State) { d.tell(s) },
		Ended: d.ended,
	})
	d.live = capture.NewLive(capture.LiveOptions{
		Follower: capture.FollowerOptions{Sign: o.Sign},
		Recorder: capture.RecorderOptions{Rest: o.Rest},
		Clock:    o.Clock, Wall: o.Wall, Keeper: d.keeper,
		Tell: d.tell,
	})
	m := dashboard.MetricsOptions{Version: o.Version, Hub: d.hub, Store: d.store.Path(),
		Links: d.linkCounts, Waiting: d.keeper.Waiting, Log: o.Log}
	if o.Publisher != nil {
		m.Outbox = o.Publisher.State
		d.Go(func() { o.Publisher.Run(ctx) })
	}
	d.metrics = dashboard.NewMetrics(m)
	// The keeper outlives the live side by the trace that it ends.
	keeping, stop := context.WithCancel(context.WithoutCancel(ctx))
	d.Go(func() {
		defer stop()
		d.live.Run(ctx)
	})
	d.Go(func() {
		d.unwritten = errors.Join(d.keeper.Run(keeping), d.rescue.close())
	})
	d.Go(func() { d.tend(o.Tending) })
	return d
}

// Go runs something that belongs to the daemon and ends with its context;
// [Daemon.Wait] waits for it too.
func (d *Daemon) Go(run func()) { d.work.Go(run) }

// Wait returns when everything the daemon started has ended. The error says
// what of the readings could not be written.
func (d *Daemon) Wait() error {
	for _, i := range d.plugged() {
		i.close()
	}
	d.work.Wait()
	return d.unwritten
}

// Metrics count what the daemon does.
func (d *Daemon) Metrics() *dashboard.Metrics { return d.metrics }

// Answers returns nil when the live side, which must never hang, answers before
// ctx is done.
func (d *Daemon) Answers(ctx context.Context) error { return d.live.Answers(ctx) }

// tell passes on what the live engine says.
func (d *Daemon) tell(m capture.Message) {
	if d.overheard != nil {
		d.overheard(m)
	}
	d.metrics.Heard(m)
	d.hub.Publish(m, 0)
}

// head is what a trace that begins now belongs to: what the store remembers of
// the bench.
func (d *Daemon) head(source string) (storage.Head, error) {
	b, err := d.store.Bench()
	if err != nil {
		return storage.Head{}, err
	}
	_, proof := d.proofs.now()
	return storage.Head{Engine: b.Engine, Valve: b.Valve, Trial: b.Trial, Against: d.against(b.Against), Proof: proof, Source: d.sourceOf(source)}, nil
}

// rescueHead is the same without the store.
func (d *Daemon) rescueHead(source string) storage.Head {
	d.mu.Lock()
	s := d.selected
	d.mu.Unlock()
	_, proof := d.proofs.now()
	h := storage.Head{Engine: s.Engine, Valve: s.Valve, Trial: s.Trial, Against: d.against(s.Against), Proof: proof, Source: d.sourceOf(source)}
	addInstruments(&h, d.plugged())
	return h
}

// against is what the sweep gauge lies against, as was chosen; empty without one.
func (d *Daemon) against(chosen storage.Against) storage.Against {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.instruments[capture.Sweep] == nil {
		return ""
	}
	return cmp.Or(chosen, storage.AgainstTip)
}

// sourceOf is where readings come from now.
func (d *Daemon) sourceOf(source string) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.simulator != nil {
		return SourceDemo // whichever command it runs under
	}
	return source
}

// ended works out a trace that has just been kept: behind the keeper's back,
// because the next trace must get to disk meanwhile, however long this one was.
func (d *Daemon) ended(id uint64) {
	d.Go(func() {
		d.finding.Lock()
		defer d.finding.Unlock()
		f, err := d.Findings(d.ctx, storage.ID(id))
		if err != nil {
			d.log.Error("no findings", "trace", id, "error", err)
			return
		}
		d.hub.Publish(live.FindingsOf{Trace: id, Findings: f}, 0)
		d.expect()
	})
}

// Findings works out a stored trace and stores what was found for the list.
func (d *Daemon) Findings(_ context.Context, id storage.ID) (lift.Findings, error) {
	return FindingsOf(d.store, id)
}

// Restore connects and selects what was chosen the last time.
func (d *Daemon) Restore() error {
	b, err := d.Resume()
	if err != nil {
		return err
	}
	for role, text := range b.Devices {
		a, err := address.Parse(text)
		if err != nil {
			d.log.Warn("remembered device left out", "role", role, "error", err)
			continue
		}
		d.attach(capture.Role(role), a)
	}
	return nil
}

// Resume makes what the store remembers the present selection, and returns it.
func (d *Daemon) Resume() (storage.Bench, error) {
	b, err := d.store.Bench()
	if err != nil {
		return b, err
	}
	s := live.SelectionOf(b)
	d.mu.Lock()
	d.selected = s
	d.mu.Unlock()
	d.live.Another(question.MaxLift(d.store, s.Engine, s.Valve))
	d.hub.Publish(s, 0)
	d.expect()
	return b, nil
}

// KeepSettings remembers what the page is set to.
func (d *Daemon) KeepSettings(_ context.Context, s live.Settings) error {
	return d.remember(func(b *storage.Bench) { b.Units = s.Units })
}

// remember changes what the bench is set to the next time. Somebody else may
// write it at the same moment; then it is read and changed again.
func (d *Daemon) remember(change func(*storage.Bench)) error {
	for {
		b, err := d.store.Bench()
		if err != nil {
			return err
		}
		if b.Devices = maps.Clone(b.Devices); b.Devices == nil {
			b.Devices = map[string]string{}
		}
		change(&b)
		_, err = d.store.PutBench(b)
		if !errors.Is(err, storage.ErrStale) && !errors.Is(err, storage.ErrExists) {
			return err
		}
	}
}

// Mark notes that the person pressed the space bar or the pedal.
func (d *Daemon) Mark() {
	d.live.Mark()
	d.hub.Publish(live.Marked{At: device.Now()}, 0)
}

// Unmark undoes the last mark.
func (d *Daemon) Unmark() {
	d.live.Unmark()
	d.hub.Publish(live.Marked{At: device.Now(), Undone: true}, 0)
}

// EndTrace ends the trace under way.
func (d *Daemon) EndTrace() { d.live.EndTrace() }

// plugged returns the instruments that are in a role, indicator first.
func (d *Daemon) plugged() []*instrument {
	d.mu.Lock()
	defer d.mu.Unlock()
	return inRoles(d.instruments)
}

func inRoles(by map[capture.Role]*instrument) []*instrument {
	var all []*instrument
	for _, role := range capture.Roles() {
		if i := by[role]; i != nil {
			all = append(all, i)
		}
	}
	return all
}
