package daemon

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"lobescribe/capture"
	"lobescribe/capture/delay"
	"lobescribe/dashboard"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/measure"
)

// delayMeter collects what indicator and encoder say, each as it comes, until
// the lag between them can be told.
type delayMeter struct {
	mu    sync.Mutex // guards both
	lift  []measure.Reading
	angle []measure.Reading
}

// delayReadings bounds what a meter holds of each source: minutes at any rate
// of a bench.
const delayReadings = 100_000

func (m *delayMeter) add(role capture.Role, readings []measure.Reading) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if role == capture.Sweep {
		return
	}
	to := &m.lift
	if role == capture.Encoder {
		to = &m.angle
	}
	*to = append(*to, readings...)
	if n := len(*to); n > delayReadings {
		*to = append([]measure.Reading(nil), (*to)[n-delayReadings/2:]...)
	}
}

// measure tells the lag; the error wraps delay.ErrNotEnough and says what to do
// while it cannot be told.
func (m *delayMeter) measure() (delay.Result, error) {
	m.mu.Lock()
	lift, angle := m.lift, m.angle
	m.mu.Unlock() // what has been added is never written again
	return delay.Measure(lift, angle, delay.Options{})
}

// WithDelays returns the addresses with the delays that a result asks for.
func WithDelays(r delay.Result, indicator, encoder address.Address) (address.Address, address.Address) {
	indicator.Delay, encoder.Delay = r.Delays(indicator.Delay, encoder.Delay)
	return indicator, encoder
}

// MeasureDelay listens to indicator and encoder until the lag between them can be
// told, or ctx ends. What is still to be done goes to tell, each thing once.
func MeasureDelay(ctx context.Context, devices map[capture.Role]address.Address, o device.Options, tell func(string)) (delay.Result, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var meter delayMeter
	for role, a := range devices {
		i := connect(ctx, role, a, o, listener{heard: meter.add})
		defer i.close()
	}
	look := time.NewTicker(time.Second)
	defer look.Stop()
	said := ""
	for {
		select {
		case <-ctx.Done():
			return delay.Result{}, fmt.Errorf("stopped before the delay could be told: %s", said)
		case <-look.C:
		}
		r, err := meter.measure()
		if err == nil {
			return r, nil
		}
		if !errors.Is(err, delay.ErrNotEnough) {
			return r, err
		}
		if said != err.Error() {
			said = err.Error()
			tell(said)
		}
	}
}

// MeasureDelay begins to measure the lag between the instruments, or goes on
// with it, and says how far that has come.
func (d *Daemon) MeasureDelay(context.Context) (dashboard.DelayProgress, error) {
	d.mu.Lock()
	if d.meter == nil {
		d.meter = &delayMeter{}
	}
	meter, both := d.meter, d.instruments[capture.Indicator] != nil && d.instruments[capture.Encoder] != nil
	d.mu.Unlock()
	if !both {
		return dashboard.DelayProgress{}, errors.New("there is a delay to measure only where indicator and encoder are on ports of their own: connect both")
	}
	r, err := meter.measure()
	switch {
	case err == nil:
		return dashboard.DelayProgress{Done: true, Says: r.Says, Result: &r}, nil
	case errors.Is(err, delay.ErrNotEnough):
		return dashboard.DelayProgress{Says: err.Error()}, nil
	}
	return dashboard.DelayProgress{}, err
}

// KeepDelay writes the measured lag into the instruments' addresses and opens
// them with it.
func (d *Daemon) KeepDelay(ctx context.Context) error {
	p, err := d.MeasureDelay(ctx)
	if err != nil {
		return err
	}
	if !p.Done {
		return errors.New(p.Says)
	}
	d.mu.Lock()
	indicator, encoder := d.instruments[capture.Indicator], d.instruments[capture.Encoder]
	d.meter = nil
	d.mu.Unlock()
	if indicator == nil || encoder == nil {
		return errors.New("a device was disconnected in the meantime: connect both and measure again")
	}
	a, b := WithDelays(*p.Result, indicator.address, encoder.address)
	if err := d.Connect(ctx, string(capture.Indicator), a.String()); err != nil {
		return err
	}
	return d.Connect(ctx, string(capture.Encoder), b.String())
}

// DropDelay ends the measuring without keeping anything.
func (d *Daemon) DropDelay() {
	d.mu.Lock()
	d.meter = nil
	d.mu.Unlock()
}

// heard gives a measuring that is under way what an instrument said.
func (d *Daemon) heard(role capture.Role, readings []measure.Reading) {
	if role == capture.Indicator {
		d.indicatorSaid(readings)
	}
	d.mu.Lock()
	meter := d.meter
	d.mu.Unlock()
	if meter != nil {
		meter.add(role, readings)
	}
}
