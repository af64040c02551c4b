package main

import (
	"errors"

	"lobescribe/simulator"
	"lobescribe/storage"
)

// demoEngine is the card of the simulator's invented engine.
func demoEngine() storage.Engine {
	mule := simulator.BenchMule()
	return storage.Engine{
		ID: "bench-mule", Name: mule.Name, Cylinders: 4, Layout: "inline", ValvesPerCylinder: 2,
		FiringOrder: []int{1, 3, 4, 2}, Rotation: "clockwise", Units: "in",
		RockerRatio: storage.ForValves[float64]{Intake: 1.55, Exhaust: 1.55},
		Notes:       "Invented, with a worn lobe and a loose lash somewhere. Nothing here is of a real engine.",
	}
}

// setUpDemo puts the invented engine into the store and on the bench, unless
// somebody has chosen otherwise.
func (d *daemon) setUpDemo() error {
	e := demoEngine()
	if _, err := d.store.Engine(e.ID); errors.Is(err, storage.ErrNotFound) {
		if _, err := d.store.PutEngine(e); err != nil {
			return err
		}
	} else if err != nil {
		return err
	}
	b, err := d.store.Bench()
	if err != nil {
		return err
	}
	if b.Engine == "" {
		b.Engine, b.Valve = e.ID, e.Valves()[0]
		if b, err = d.store.PutBench(b); err != nil {
			return err
		}
	}
	d.resume(b)
	return nil
}
