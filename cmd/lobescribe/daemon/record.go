package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/capture/lift"
	"lobescribe/capture/prove"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// RecordOptions describe one headless recording.
type RecordOptions struct {
	// Devices are what is recorded; an indicator must be among them.
	Devices map[capture.Role]address.Address
	Device  device.Options // how they are opened
	// Openings is after how many whole openings it ends. Default: when its
	// context does.
	Openings int
	Sign     int // of the lift, as capture.FollowerOptions has it
	// Proof is what is known of the indicator. Default: nothing.
	Proof prove.Proof
	// Store keeps the trace under Head, and is tended meanwhile as a daemon does:
	// proved, and mended when it is found hurt; what it takes no more goes to a
	// rescue file. Default: the trace is kept nowhere.
	Store *storage.Store
	Head  storage.Head
	// Tending is how the store is looked after. Default: as storage has it.
	Tending storage.Tending
	Log     *slog.Logger // default: none
	// Status, Opened and Says hear what happens meanwhile, each from a goroutine
	// of its own. Default: nobody does.
	Status func(capture.Role, device.Status)
	Opened func(number int, o lift.Opening)
	Says   func(string)
}

// Recorded is what a headless recording came to.
type Recorded struct {
	Findings lift.Findings
	ID       storage.ID // of the stored trace; 0 where none is kept
}

// Record records until ctx is done or so many openings are complete: the live
// side with nobody looking. Nothing but these ends it; a long rest on the heel
// does not.
func Record(ctx context.Context, o RecordOptions) (Recorded, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	o.Device.Gather = func() time.Duration { return unseen(len(o.Devices)) } // nobody looks at each reading
	ctx, enough := context.WithCancel(ctx)
	defer enough()
	// mu guards instruments. The keeper's goroutine asks for them when the trace
	// begins, and waits until all have been opened.
	var mu sync.Mutex
	instruments := map[capture.Role]*instrument{}
	var trace measure.Trace
	kept := &shelf{store: o.Store, memory: &trace,
		head: func() (storage.Head, error) { return o.Head, nil },
		instruments: func() []*instrument {
			mu.Lock()
			defer mu.Unlock()
			return inRoles(instruments)
		}}
	keeper, beside := o.keeper(kept)
	settled := 0
	live := capture.NewLive(capture.LiveOptions{
		Follower: capture.FollowerOptions{Sign: o.Sign, Proof: o.Proof},
		Recorder: capture.RecorderOptions{Rest: measure.StampOf(1000 * time.Hour)},
		Clock:    device.Now, Keeper: keeper,
		Tell: func(m capture.Message) {
			if opened, ok := m.(capture.Opened); ok {
				settled++
				if o.Opened != nil {
					o.Opened(settled, opened.Opening)
				}
				if settled == o.Openings {
					enough()
				}
			}
		}})
	live.BeginTrace()

	keeping, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	written := make(chan error, 1)
	go func() { written <- keeper.Run(keeping) }()
	// The store is tended until the trace and its findings are written.
	tended, enoughTending := context.WithCancel(context.WithoutCancel(ctx))
	var tending sync.WaitGroup
	defer tending.Wait()
	defer enoughTending()
	if o.Store != nil {
		tending.Go(func() { tendAlone(tended, o) })
	}
	var work sync.WaitGroup
	work.Go(func() { live.Run(ctx) })
	mu.Lock()
	for role, a := range o.Devices {
		i := connect(ctx, role, a, o.Device, listener{live: live, status: func(i *instrument, s device.Status) {
			if o.Status != nil {
				o.Status(i.role, s)
			}
		}})
		instruments[role] = i
		work.Go(func() { <-i.done })
	}
	mu.Unlock()
	<-ctx.Done()
	work.Wait()
	stop()
	if err := errors.Join(<-written, beside.close()); err != nil {
		return Recorded{}, fmt.Errorf("keeping the trace: %w", err)
	}
	if len(trace.Readings) == 0 {
		return Recorded{}, errors.New("nothing was recorded: no reading came; try `lobescribe listen` or `lobescribe doctor` with the same address")
	}
	f, err := o.findings(trace, kept.last)
	return Recorded{Findings: f, ID: kept.last}, err
}

// keeper returns who keeps the trace on a shelf, and the rescue file beside the store for
// what it takes no more; nil without a store.
func (o RecordOptions) keeper(kept *shelf) (*keep.Keeper, *rescue) {
	state := ""
	options := keep.Options{Store: kept, Log: o.Log,
		Tell: func(s keep.State) {
			if s.Says != "" && s.State != state && o.Says != nil {
				o.Says(s.Says)
			}
			state = s.State
		}}
	if o.Store == nil {
		return keep.New(options), nil
	}
	beside := &rescue{beside: o.Store.Path(), o: storage.Options{Log: o.Log}, head: func() storage.Head { return o.Head }, memory: kept.memory}
	options.Rescue = beside
	return keep.New(options), beside
}

// findings works out what was recorded, and writes it beside the trace where that is kept.
func (o RecordOptions) findings(trace measure.Trace, id storage.ID) (lift.Findings, error) {
	f, err := lift.Analyse(trace, lift.Options{Sign: o.Sign, Proof: o.Proof})
	if err == nil && id != 0 {
		err = o.Store.PutFindings(id, f)
	}
	if errors.Is(err, storage.ErrDamaged) || errors.Is(err, storage.ErrLost) {
		// The trace is kept, here or in the rescue file, and its findings are worked
		// out again from it.
		o.Log.Warn("findings not written", "trace", id.String(), "error", err)
		err = nil
	}
	return f, err
}

// tendAlone looks after the store of a headless recording until ctx is done.
func tendAlone(ctx context.Context, o RecordOptions) {
	if _, err := o.Store.TakeIn(ctx); err != nil && ctx.Err() == nil {
		o.Log.Error("a rescue file was not taken in, or not all of it; the next start tries again", "error", err)
	}
	told := o.Tending.Mended
	o.Tending.Mended = func(done *storage.Repaired, err error) {
		if done != nil && o.Says != nil {
			o.Says(done.Says())
		}
		if told != nil {
			told(done, err)
		}
	}
	o.Store.Tend(ctx, o.Tending)
}
