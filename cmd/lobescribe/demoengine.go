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
func setUpDemo(store *storage.Store) error {
	e := demoEngine()
	if _, err := store.Engine(e.ID); errors.Is(err, storage.ErrNotFound) {
		if _, err := store.PutEngine(e); err != nil {
			return err
		}
	} else if err != nil {
		return err
	}
	b, err := store.Bench()
	if err != nil {
		return err
	}
	if b.Engine == "" {
		b.Engine, b.Valve = e.ID, e.Valves()[0].String()
		_, err = store.PutBench(b)
	}
	return err
}
