package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"path"
	"slices"
	"strings"
	"sync"
	"time"

	"lobescribe/capture"
	"lobescribe/capture/lift"
	"lobescribe/dashboard"
	"lobescribe/device"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/tracefile"
)

// daemon wires devices, capture, store and page together. It is the
// dashboard's Bench: what the page asks for is done here by handing it to the
// part whose job it is.
type daemon struct {
	log    *slog.Logger
	device device.Options
	store  *storage.Store
	hub    *dashboard.Hub
	live   *capture.Live
	keeper *capture.Keeper
	// metrics count for whoever watches the daemon.
	metrics *dashboard.Metrics
	// simulate starts the simulator for this daemon, until the context is
	// done; nil where it is not offered.
	simulate func(context.Context) (*simulated, error)

	ctx  context.Context // of the daemon: ends every goroutine
	work sync.WaitGroup

	plugging    sync.Mutex // one device is put in place at a time
	mu          sync.Mutex
	instruments map[capture.Role]*instrument
	counted     map[capture.Role]device.Counters // by instruments that are closed
	simulator   *simulated                       // nil while it does not run
	replay      *replaying
	selected    dashboard.Selection
	meter       *delayMeter // nil while no delay is measured

	finding   sync.Mutex // one trace is worked out at a time
	unwritten error      // set before work is done: what the keeper could not write
}

// daemonOptions are the parts a daemon is made of.
type daemonOptions struct {
	Log      *slog.Logger
	Device   device.Options // how devices are opened
	Store    *storage.Store
	Hub      *dashboard.Hub
	Simulate func(context.Context) (*simulated, error)
	// Source is written into the head of each trace: "live" or "demo".
	Source string
	Sign   int
	// Shop is told what is recorded; nil: none is.
	Shop *joined
	// Rest on the heel ends a trace; 0 means what capture takes.
	Rest measure.Stamp
	// Held is how many readings wait in memory while the disk refuses; 0 means
	// what capture takes.
	Held int
	// Clock is the monotonic time that readings are stamped on; nil means the
	// devices'.
	Clock func() measure.Stamp
}

const (
	// batchEvery is the page's pace: 60 messages a second.
	batchEvery = time.Second / 60
	// unseenEvery is how often readings go on when no page is open. Together
	// with the time between two commits it is what a power cut may cost.
	unseenEvery = 100 * time.Millisecond
)

// newDaemon returns a daemon whose goroutines run until ctx is done; wait
// waits for them.
func newDaemon(ctx context.Context, o daemonOptions) *daemon {
	if o.Clock == nil {
		o.Clock = device.Now
	}
	d := &daemon{log: o.Log, device: o.Device, store: o.Store, hub: o.Hub, simulate: o.Simulate, ctx: ctx,
		instruments: map[capture.Role]*instrument{}, counted: map[capture.Role]device.Counters{}}
	// What goes to the page goes in batches: between two of them a fast
	// instrument's bytes may gather, unless somebody wants each at once.
	d.device.Gather = func() time.Duration {
		switch c := d.hub.Counts(); {
		case c.Prompt > 0:
			return 0
		case c.Clients == 0:
			return unseenEvery
		}
		return batchEvery
	}
	d.keeper = capture.NewKeeper(capture.KeeperOptions{
		Store: shelf{d, o.Source}, Log: o.Log, Bound: o.Held,
		Tell:  func(s capture.TraceState) { d.tell(s) },
		Ended: d.ended,
	})
	d.live = capture.NewLive(capture.LiveOptions{
		Follower: capture.FollowerOptions{Sign: o.Sign},
		Recorder: capture.RecorderOptions{Rest: o.Rest},
		Clock:    o.Clock, Keeper: d.keeper,
		Tell: d.tell,
	})
	d.metrics = dashboard.NewMetrics(dashboard.MetricsOptions{Version: version, Hub: d.hub, Store: d.store.Path(),
		Links: d.linkCounts, Waiting: d.keeper.Waiting, Outbox: o.Shop.outbox(), Log: o.Log})
	// The keeper outlives the live side by the trace that it ends.
	keeping, stop := context.WithCancel(context.WithoutCancel(ctx))
	d.work.Go(func() {
		defer stop()
		d.live.Run(ctx)
	})
	d.work.Go(func() {
		d.unwritten = d.keeper.Run(keeping)
	})
	if o.Shop != nil {
		d.work.Go(func() { o.Shop.publisher.Run(ctx) })
	}
	return d
}

// tell passes on what the live engine says.
func (d *daemon) tell(m capture.Message) {
	d.metrics.Heard(m)
	d.hub.Publish(m, 0)
}

// wait returns when everything the daemon started has ended. The error says
// what of the readings could not be written.
func (d *daemon) wait() error {
	d.mu.Lock()
	all := slices.Collect(maps.Values(d.instruments))
	d.mu.Unlock()
	for _, i := range all {
		i.close()
	}
	d.work.Wait()
	return d.unwritten
}

// restore connects what was chosen the last time.
func (d *daemon) restore() error {
	b, err := d.store.Bench()
	if err != nil {
		return err
	}
	d.resume(b)
	for role, address := range b.Devices {
		a, err := device.ParseAddress(address)
		if err != nil {
			d.log.Warn("remembered device left out", "role", role, "error", err)
			continue
		}
		d.attach(capture.Role(role), a)
	}
	return nil
}

// resume makes what the store remembers the present selection.
func (d *daemon) resume(b storage.Bench) {
	s := dashboard.Selection{Engine: b.Engine, Valve: b.Valve, Trial: b.Trial}
	d.mu.Lock()
	d.selected = s
	d.mu.Unlock()
	d.hub.Publish(s, 0)
}

// attach opens a device in a role, in place of what was there.
func (d *daemon) attach(role capture.Role, a device.Address) {
	d.plugging.Lock()
	defer d.plugging.Unlock()
	d.unplug(role)
	i := connect(d.ctx, role, a, d.device, listener{live: d.live, heard: d.heard, status: d.tellStatus})
	d.mu.Lock()
	d.instruments[role] = i
	d.mu.Unlock()
}

// unplug closes what is in a role and waits for it, without holding what its
// goroutine may want.
func (d *daemon) unplug(role capture.Role) bool {
	d.mu.Lock()
	i := d.instruments[role]
	d.mu.Unlock()
	if i == nil {
		return false
	}
	i.close()
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.instruments, role)
	d.retire(role, i)
	return true
}

func (d *daemon) detach(role capture.Role) {
	d.plugging.Lock()
	defer d.plugging.Unlock()
	if !d.unplug(role) {
		return
	}
	d.live.Lost(role)
	d.hub.Publish(dashboard.Device{ID: string(role), State: "lost", Detail: "absent",
		Says: "No device is chosen."}, 0)
}

func (d *daemon) tellStatus(i *instrument, s device.Status) {
	d.hub.Publish(dashboard.Device{
		ID: string(i.role), Address: i.address.String(),
		State: s.Promise5(), Detail: s.State.String(), Says: s.Says,
		RateHz: s.Rate, AgeS: s.Age.Seconds(), Format: s.FormatSays, Resolution: s.Resolution,
		Refused: refusedByKind(s),
	}, 0)
}

// ended works out a trace that has just been kept: behind the keeper's back,
// because the next trace must get to disk meanwhile, however long this one was.
func (d *daemon) ended(id uint64) {
	d.work.Go(func() {
		d.finding.Lock()
		defer d.finding.Unlock()
		f, err := d.Findings(d.ctx, storage.ID(id))
		if err != nil {
			d.log.Error("no findings", "trace", id, "error", err)
			return
		}
		d.hub.Publish(dashboard.FindingsOf{Trace: id, Findings: f}, 0)
	})
}

// shelf is the store as the keeper sees it: it adds to a trace's head what the
// bench was set to.
type shelf struct {
	d      *daemon
	source string
}

func (s shelf) Begin(h capture.Head) (capture.TraceWriter, error) {
	b, err := s.d.store.Bench()
	if err != nil {
		return nil, err
	}
	head := storage.Head{Started: h.Started, Engine: b.Engine, Valve: b.Valve, Trial: b.Trial,
		Resolution: h.Resolution, HasAngle: h.HasAngle, Source: s.source}
	s.d.mu.Lock()
	if s.d.simulator != nil {
		head.Source = demoSource // whichever command it runs under
	}
	for _, role := range []capture.Role{capture.Indicator, capture.Encoder} {
		if i := s.d.instruments[role]; i != nil {
			now := i.now()
			head.Devices = append(head.Devices, storage.DeviceNote{Role: string(role),
				Address: i.address.String(), Format: now.FormatSays})
			head.Resolution = max(head.Resolution, now.Resolution)
			head.AngleStep = max(head.AngleStep, now.AngleStep)
		}
	}
	s.d.mu.Unlock()
	w, err := s.d.store.Begin(head)
	if err != nil {
		return nil, err
	}
	return countedTrace{page{w}, s.d.metrics}, nil
}

// page is one trace on the shelf.
type page struct{ *storage.Writer }

func (p page) ID() uint64 { return uint64(p.Writer.ID()) }

// Ports lists what could be connected.
func (d *daemon) Ports(ctx context.Context) ([]dashboard.Port, error) {
	return listPorts(ctx)
}

// Connect opens a device in a role and remembers it.
func (d *daemon) Connect(ctx context.Context, role, address string) error {
	a, err := parseDevice(address, d.device)
	if err != nil {
		return err
	}
	d.attach(capture.Role(role), a)
	return d.remember(func(b *storage.Bench) { b.Devices[role] = a.String() })
}

// Disconnect closes the link in a role and forgets it.
func (d *daemon) Disconnect(ctx context.Context, role string) error {
	d.detach(capture.Role(role))
	return d.remember(func(b *storage.Bench) { delete(b.Devices, role) })
}

// KeepSettings remembers what the page is set to.
func (d *daemon) KeepSettings(_ context.Context, s dashboard.Settings) error {
	return d.remember(func(b *storage.Bench) { b.Units = s.Units })
}

// remember changes what the bench is set to the next time. Somebody else may
// write it at the same moment; then it is read and changed again.
func (d *daemon) remember(change func(*storage.Bench)) error {
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
func (d *daemon) Mark() {
	d.live.Mark()
	d.hub.Publish(dashboard.Marked{At: device.Now()}, 0)
}

// EndTrace ends the trace under way.
func (d *daemon) EndTrace() { d.live.EndTrace() }

// Findings works out a stored trace and stores what was found for the list.
func (d *daemon) Findings(ctx context.Context, id storage.ID) (lift.Findings, error) {
	_, trace, err := d.store.Load(id)
	if len(trace.Readings) == 0 && err != nil {
		return lift.Findings{}, err
	}
	f, err := lift.Analyse(trace, lift.Options{})
	if err != nil {
		return f, fmt.Errorf("trace %s: %w", id, err)
	}
	return f, d.store.PutFindings(id, f)
}

// Export writes a trace as "csv", "jsonl" or "parquet".
func (d *daemon) Export(ctx context.Context, id storage.ID, format string, w io.Writer) error {
	f, err := tracefile.ParseFormat(format)
	if err != nil {
		return err
	}
	return exportTrace(d.store, id, f, w, nil)
}

// Import stores a trace file.
func (d *daemon) Import(ctx context.Context, name string, r io.Reader) (storage.ID, error) {
	trace, about, err := tracefile.ReadAbout(r, "")
	if err != nil {
		return 0, err
	}
	b, err := d.store.Bench()
	if err != nil {
		return 0, err
	}
	head := headOf(about, path.Base(strings.ReplaceAll(name, `\`, "/")))
	head.Engine, head.Valve = cmp.Or(head.Engine, b.Engine), cmp.Or(head.Valve, b.Valve)
	return importTrace(d.store, trace, head)
}

// importTrace stores a whole trace and its findings.
func importTrace(s *storage.Store, t measure.Trace, h storage.Head) (storage.ID, error) {
	f, err := lift.Analyse(t, lift.Options{})
	if err != nil {
		return 0, err
	}
	h.Resolution, h.AngleStep = t.Resolution, t.AngleStep
	h.HasAngle = slices.ContainsFunc(t.Readings, func(r measure.Reading) bool { return r.Has&measure.HasAngle != 0 })
	w, err := s.Begin(h)
	if err != nil {
		return 0, err
	}
	if err := w.Append(t.Readings, t.Notes); err != nil {
		return w.ID(), err
	}
	if err := w.End(); err != nil {
		return w.ID(), err
	}
	return w.ID(), s.PutFindings(w.ID(), f)
}
