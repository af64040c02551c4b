package daemon

import (
	"context"
	"fmt"

	"lobescribe/capture"
	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
	"lobescribe/dashboard/question"
	"lobescribe/device/address"
	"lobescribe/storage"
)

// Simulated is a simulator that stands in for the instruments.
type Simulated struct {
	// Addresses are those of its instruments, by role.
	Addresses map[capture.Role]string
	// MoveTo puts the indicator on another valve of its engine.
	MoveTo func(valve string)
	// Lay puts its sweep gauge against something else.
	Lay func(storage.Against)
	// Prove lets its hand prove the indicator; nil: it cannot.
	Prove func() error

	stop context.CancelFunc
}

// Simulate puts the simulator in the place of the instruments, or takes it
// away and brings back what was chosen before.
func (d *Daemon) Simulate(ctx context.Context, on bool) error {
	if d.simulate == nil {
		return fmt.Errorf("the simulator: %w; `lobescribe demo` has one", dashboard.ErrNotOffered)
	}
	d.mu.Lock()
	running := d.simulator
	d.mu.Unlock()
	if on == (running != nil) {
		return nil
	}
	if !on {
		running.stop()
		d.mu.Lock()
		d.simulator = nil
		d.mu.Unlock()
		for _, role := range capture.Roles() {
			d.detach(role)
		}
		d.hub.Publish(live.Simulated{On: false}, 0)
		return d.Restore()
	}
	simulating, stop := context.WithCancel(d.ctx)
	sim, err := d.simulate(simulating)
	if err != nil {
		stop()
		return err
	}
	sim.stop = stop
	d.mu.Lock()
	d.simulator = sim
	d.mu.Unlock()
	for role, text := range sim.Addresses {
		a, err := address.Parse(text)
		if err != nil {
			return fmt.Errorf("the simulator's own address: %w", err)
		}
		d.attach(role, a)
	}
	for _, role := range capture.Roles() {
		if _, there := sim.Addresses[role]; !there {
			d.detach(role)
		}
	}
	d.hub.Publish(live.Simulated{On: true}, 0)
	return nil
}

// Selected ends the trace under way when another valve is chosen: a trace is
// of one valve, and what is called out of it begins with what is to be expected of
// that valve. The simulator's indicator is moved there, as a person would.
func (d *Daemon) Selected(s live.Selection) {
	d.mu.Lock()
	moved := s.Engine != d.selected.Engine || s.Valve != d.selected.Valve
	// A pass against something else is a trace of its own.
	relaid := s.Against != d.selected.Against && d.instruments[capture.Sweep] != nil
	d.selected = s
	sim := d.simulator
	d.mu.Unlock()
	if !moved {
		if relaid {
			d.live.EndTrace()
			if sim != nil {
				sim.Lay(s.Against)
			}
		}
		return
	}
	d.live.Another(question.MaxLift(d.store, s.Engine, s.Valve))
	d.Go(d.expect)
	if sim != nil {
		sim.MoveTo(s.Valve)
	}
}
