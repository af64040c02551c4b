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
// somebody has chosen otherwise, and says whether it was new there. The valve is the
// next one of the work done so far; with empty, the first.
func setUpDemo(store *storage.Store, empty bool) (fresh bool, err error) {
	e := demoEngine()
	if _, err := store.Engine(e.ID); errors.Is(err, storage.ErrNotFound) {
		if _, err := store.PutEngine(e); err != nil {
			return false, err
		}
		fresh = true
	} else if err != nil {
		return false, err
	}
	b, err := store.Bench()
	if err != nil {
		return fresh, err
	}
	if b.Engine == "" {
		b.Engine, b.Valve = e.ID, "2I"
		if empty {
			b.Valve = e.Valves()[0].String()
		}
		_, err = store.PutBench(b)
	}
	return fresh, err
}
