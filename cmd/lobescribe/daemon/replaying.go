package daemon

import (
	"context"

	"lobescribe/capture"
	"lobescribe/capture/replay"
	"lobescribe/dashboard"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// replaying is the replay under way on a daemon.
type replaying struct {
	play   *replay.Replay
	cancel context.CancelFunc
	done   chan struct{}
}

func (r *replaying) stop() {
	r.cancel()
	<-r.done
}

// StartReplay plays a stored trace through the live path, in place of a replay
// that is under way.
func (d *Daemon) StartReplay(ctx context.Context, id storage.ID, rate float64, from measure.Stamp) error {
	_, trace, err := d.store.Load(id)
	if len(trace.Readings) == 0 && err != nil {
		return err
	}
	return d.PlayTrace(uint64(id), trace, rate, from)
}

// PlayTrace replays a trace that is in memory under the number id.
func (d *Daemon) PlayTrace(id uint64, trace measure.Trace, rate float64, from measure.Stamp) error {
	play, err := replay.New(trace, replay.Options{Trace: id, Rate: rate, From: from,
		Tell: func(m capture.Message) {
			if _, about := m.(replay.State); about {
				d.hub.Publish(m, 0) // it is about the replay and not of it
				return
			}
			d.hub.Publish(m, id)
		}})
	if err != nil {
		return err
	}
	d.StopReplay()
	running, cancel := context.WithCancel(d.ctx)
	r := &replaying{play: play, cancel: cancel, done: make(chan struct{})}
	d.mu.Lock()
	d.replay = r
	d.mu.Unlock()
	d.Go(func() {
		defer close(r.done)
		play.Run(running)
	})
	return nil
}

// AdjustReplay changes speed or place of the replay under way.
func (d *Daemon) AdjustReplay(c replay.Change) error {
	d.mu.Lock()
	r := d.replay
	d.mu.Unlock()
	if r == nil {
		return dashboard.ErrNoReplay
	}
	alive, err := r.play.Change(c)
	if err == nil && !alive {
		return dashboard.ErrNoReplay
	}
	return err
}

// StopReplay ends the replay under way, if there is one.
func (d *Daemon) StopReplay() {
	d.mu.Lock()
	r := d.replay
	d.replay = nil
	d.mu.Unlock()
	if r != nil {
		r.stop()
	}
}
