package daemon

import (
	"context"
	"log/slog"
	"sync"
	"sync/atomic"

	"lobescribe/capture"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// instrument is a device that has been chosen for a role, with the goroutine
// that carries what it says to the live side.
type instrument struct {
	role    capture.Role
	address address.Address
	named   string // address as text
	source  *device.Source
	cancel  context.CancelFunc
	done    chan struct{}
	heardAt atomic.Int64 // the stamp of the last reading

	mu     sync.Mutex    // guards status
	status device.Status // the newest
}

// listener is who hears of an instrument; any of its parts may be nil.
type listener struct {
	live *capture.Live
	// heard gets the readings before they go on; it must not keep the slice.
	heard func(capture.Role, []measure.Reading)
	// noted hears what happened to the stream, before the readings after it.
	noted  func(capture.Role, measure.Note)
	status func(*instrument, device.Status)
}

// connect opens the device at address and feeds l until ctx ends or close is
// called. It never fails because nothing is plugged in: the status says so and
// the link comes up by itself.
func connect(ctx context.Context, role capture.Role, a address.Address, o device.Options, l listener) *instrument {
	ctx, cancel := context.WithCancel(ctx)
	i := &instrument{role: role, address: a, named: a.String(), cancel: cancel, done: make(chan struct{})}
	i.heardAt.Store(never)
	if o.Log != nil {
		o.Log = o.Log.With(slog.String("role", string(role)))
	}
	o.Port = lines.IndicatorPort
	if role == capture.Encoder {
		o.Port = lines.EncoderPort
	}
	i.source = device.Open(ctx, a, o)
	go i.run(l)
	return i
}

func (i *instrument) run(l listener) {
	defer close(i.done)
	for e := range i.source.Events() {
		if e.Note != nil && l.noted != nil {
			l.noted(i.role, *e.Note)
		}
		if e.Note != nil && l.live != nil {
			l.live.Note(i.role, *e.Note)
		}
		if e.Held && l.live != nil {
			l.live.EndTrace()
		}
		i.heard(e.Readings)
		if len(e.Readings) > 0 && l.heard != nil {
			l.heard(i.role, e.Readings)
		}
		if len(e.Readings) > 0 && l.live != nil {
			l.live.Readings(i.role, e.Readings)
		}
		if e.Status == nil {
			continue
		}
		i.mu.Lock()
		i.status = *e.Status
		i.mu.Unlock()
		if l.live != nil && e.Status.LiveWord() == "lost" {
			l.live.Lost(i.role)
		}
		if l.status != nil {
			l.status(i, *e.Status)
		}
	}
}

// now returns the newest status.
func (i *instrument) now() device.Status {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.status
}

// close lets go of the device and waits until it is free for another program.
func (i *instrument) close() {
	i.cancel()
	<-i.done
}

// lastReading returns when the instrument's last reading was.
func (i *instrument) lastReading() (measure.Stamp, bool) {
	at := i.heardAt.Load()
	return measure.Stamp(at), at != never
}

// heard takes note of readings.
func (i *instrument) heard(readings []measure.Reading) {
	if n := len(readings); n > 0 {
		i.heardAt.Store(int64(readings[n-1].At))
	}
}

// never stands for the time of a last reading that there was not.
const never = int64(-1 << 63)
