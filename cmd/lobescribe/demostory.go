package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"lobescribe/capture"
	"lobescribe/capture/clearance"
	"lobescribe/capture/lift"
	"lobescribe/capture/timing"
	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/dashboard/question"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/bytelog"
	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
)

// story is the work that was done on the demo's engine before somebody looks at it:
// a simulated hand turns it valve by valve, and what the simulated instruments send
// goes through decoder, live side and keeper into the store. Nothing in it is
// written down beforehand but what a person types: the card, heights, rods, limits.
type story struct {
	ctx    context.Context
	store  *storage.Store
	bench  *simulator.Bench
	device device.Options
	engine storage.Engine
	chance *rand.Rand
	now    time.Time // when it was finished
	told   int       // sessions so far
}

const (
	// storyFrom is how long ago the work began, storyStep how long a valve takes.
	storyFrom = 95 * time.Minute
	storyStep = 7 * time.Minute
	// storyStack is the stack on which the simulated rockers stand as the simulator has
	// them; the first trials are off it.
	storyStack = 62 * measure.Thou
)

var storyHand = simulator.Hand{Style: simulator.Smooth, Speed: 50 * measure.Degree}

// tellStory plays the work into the store, which must hold the engine and nothing of
// it.
func tellStory(ctx context.Context, store *storage.Store, bench *simulator.Bench, o device.Options) error {
	now := time.Now()
	s := &story{ctx: ctx, store: store, bench: bench, device: o, now: now, chance: rand.New(rand.NewPCG(21, 12))}
	for _, do := range []func() error{s.setDown, s.square("1I", 30*measure.Thou), s.findTDC, s.square("1E", 85*measure.Thou), s.turns, s.typed} {
		if err := do(); err != nil {
			return fmt.Errorf("the demo's work so far could not be made: %w (--empty begins without it)", err)
		}
	}
	return nil
}

// windOn turns a bench by the first session of the story, so that its encoder counts
// from where the stored top dead centre was found.
func windOn(bench *simulator.Bench) error {
	_, err := bench.Once(storyHand, 2)
	return err
}

// setDown writes what the builder knows of the engine before anything is turned.
func (s *story) setDown() (err error) {
	mule := s.bench.Engine()
	in, out := mule.Valves[0], mule.Valves[1]
	e := demoEngine()
	e.Type, e.Stroke, e.Rod = "mule", 3400*measure.Thou, 5500*measure.Thou
	e.RockerArm, e.AdjusterArm = in.Rocker.ValveArm, 981*measure.Thou
	above := 136 * measure.Thou // 0.981 in times the sine of the 8 degrees that the arms are bent by
	e.BallAboveLine = &above
	e.CamCard = cardOf(in, out)
	e.Limits = storage.Limits{PistonIntake: 80 * measure.Thou, PistonExhaust: 100 * measure.Thou, CoilBind: 60 * measure.Thou, Retainer: 50 * measure.Thou,
		Square: 15 * measure.Thou, Card: 2 * measure.Degree, CardLift: 5 * measure.Thou}
	e.ShimsOnHand = []storage.Shims{{Thickness: 60 * measure.Thou, Count: 8}, {Thickness: 30 * measure.Thou, Count: 8}, {Thickness: 15 * measure.Thou, Count: 8}, {Thickness: 2 * measure.Thou, Count: 8}}
	e.Pushrod = storage.Pushrod{Material: "steel", Diameter: 5 * measure.Inch / 16, Wall: 80 * measure.Thou, Ends: "ball-ball", BallDiameter: 5 * measure.Inch / 16}
	now, err := s.store.Engine(e.ID)
	if err != nil {
		return err
	}
	e.Rev = now.Rev
	s.engine, err = s.store.PutEngine(e)
	return err
}

// cardOf is the card that came with the camshaft: the lobes as they were meant, to
// half a degree and a thou, counted at 0.050 in of the lobe.
func cardOf(in, out simulator.Valve) storage.CamCard {
	const at = 50 * measure.Thou
	crank := func(l simulator.Lobe, way float64) float64 { // from the nose to the checking lift
		lo, hi := 0.0, 160.0
		for range 60 {
			mid := (lo + hi) / 2
			if l.LiftAt(way*mid) > at.Millimetres() {
				lo = mid
			} else {
				hi = mid
			}
		}
		return 2 * lo
	}
	half := func(d float64) *measure.Angle {
		a := measure.FromDegrees(math.Round(d*2) / 2)
		return &a
	}
	noseIn, noseOut := in.NoseAt.Degrees(), out.NoseAt.Degrees()
	thou := func(l measure.Length) measure.Length { return (l + measure.Thou/2) / measure.Thou * measure.Thou }
	gross := func(v simulator.Valve) measure.Length {
		return thou(measure.Length(v.Rocker.Ratio * float64(v.Lobe.Lift)))
	}
	return storage.CamCard{CheckingLift: at,
		IntakeOpens: half(crank(in.Lobe, -1) - noseIn), IntakeCloses: half(noseIn + crank(in.Lobe, 1) - 180),
		ExhaustOpens: half(540 - noseOut + crank(out.Lobe, -1)), ExhaustCloses: half(noseOut + crank(out.Lobe, 1) - 720),
		MaxLiftIntake: gross(in), MaxLiftExhaust: gross(out), LobeSeparation: half((noseIn + 720 - noseOut) / 2),
		LashIntake: in.Lash, LashExhaust: out.Lash}
}

// square tries stacks on a valve until the rocker is square at half lift: it turns
// with each, measures the height with a depth gauge, and fits what is said next.
func (s *story) square(name string, first measure.Length) func() error {
	return func() error {
		stack := []measure.Length{first}
		for range 4 {
			i, ok := muleValve(name)
			if !ok {
				return fmt.Errorf("no valve %s", name)
			}
			v := simulator.BenchMule().Valves[i]
			t := storage.Trial{Engine: s.engine.ID, Valve: name, Stack: stack, PushrodLength: v.Rocker.Pushrod, Lash: v.Lash, At: s.at()}
			v.Rocker = v.Rocker.Raised(t.Height()-storyStack, v.Lobe.Lift)
			if err := s.bench.Change(i, v); err != nil {
				return err
			}
			lift, err := v.MaxLift()
			if err != nil {
				return err
			}
			gauge := func(l measure.Length) measure.Length { // to half a thou, by hand
				l += measure.Length(s.chance.NormFloat64() * 0.6 * float64(measure.Thou))
				return (l + measure.Thou/4) / (measure.Thou / 2) * (measure.Thou / 2)
			}
			below := gauge(v.Rocker.AdjusterBelow(lift/2+v.Lash, v.Lobe.Lift))
			t.AdjusterBelowValve = &below
			if t, err = s.store.PutTrial(t); err != nil {
				return err
			}
			r, err := s.turn(name, t.ID, 2)
			if err != nil {
				return err
			}
			t.Traces, t.MaxLift = []storage.ID{r.ID}, &r.Findings.MaxLift
			if _, err := s.store.PutTrial(t); err != nil {
				return err
			}
			facts, err := question.Gather(s.store, s.engine.ID, name)
			if err != nil {
				return err
			}
			next := facts.Next()
			if next.Answer == nil {
				return fmt.Errorf("%s: no next stack: %s %v", name, next.NoAnswer, next.Lacks)
			}
			if next.Answer.Verdict.Good() || len(next.Answer.Stack) == 0 {
				return nil
			}
			stack = next.Answer.Stack
		}
		return nil
	}
}

// findTDC puts the piston against a stop from both sides, three times each, and
// reads the encoder.
func (s *story) findTDC() error {
	const firing, stop = 360, 33.4 // crank degrees after the dead centre of the overlap; short of the top
	touches := func(crank float64) (all []measure.Angle) {
		for range 3 {
			if a, ok := s.bench.EncoderAt(measure.FromDegrees(crank + 0.08*s.chance.NormFloat64())); ok {
				all = append(all, a)
			}
		}
		return all
	}
	q := timing.Stop{First: touches(firing - stop), Second: touches(firing + stop), AngleStep: simulator.Encoder{}.Step()}
	if len(q.First) == 0 {
		return nil // no encoder: nothing counts the crank
	}
	found, err := q.TDC()
	if err != nil {
		return err
	}
	between := (q.First[0] + q.Second[0]) / 2 // of the two dead centres it is the one that fires
	turns := math.Round((between - found.TDC).Degrees() / 360)
	s.engine.TDC = &storage.TopDeadCentre{Angle: found.TDC + measure.Angle(turns)*measure.Turn, U: found.U, Method: storage.TDCByStop, On: s.now.Format(time.DateOnly)}
	s.engine, err = s.store.PutEngine(s.engine)
	return err
}

// turns turns the other valves that are done: one opening of cylinder 3's intake is
// left out, and at cylinder 4's intake the cable comes out once.
func (s *story) turns() error {
	r, err := s.turn("3I", "", 3)
	if err != nil {
		return err
	}
	if o := r.Findings.Openings; len(o) > 1 {
		err := s.store.Amend(r.ID, func(h *storage.Head) {
			h.LeftOut = []lift.LeftOut{{From: o[1].Open, Until: o[1].Close, Why: "the wrench slipped"}}
			h.Remark = "the second turn was broken off"
		})
		if err != nil {
			return err
		}
		if _, err := daemon.FindingsOf(s.store, r.ID); err != nil {
			return err
		}
	}
	if _, err := s.turn("3E", "", 3); err != nil {
		return err
	}
	kicked, err := s.turn("4I", "", 2, simulator.CableOut)
	if err != nil {
		return err
	}
	if err := s.store.Amend(kicked.ID, func(h *storage.Head) { h.Remark = "kicked the cable; turned again" }); err != nil {
		return err
	}
	for _, name := range []string{"4I", "4E"} {
		if _, err := s.turn(name, "", 2); err != nil {
			return err
		}
	}
	i, _ := muleValve("2I")
	s.bench.MoveTo(i)
	return nil
}

// typed writes what else was measured by hand: springs, clearances and checking rods.
func (s *story) typed() error {
	measured := func(name string) (measure.Length, error) {
		facts, err := question.Gather(s.store, s.engine.ID, name)
		if err != nil || facts.MaxLift == nil {
			return 0, fmt.Errorf("max lift of %s: %w", name, err)
		}
		return *facts.MaxLift, nil
	}
	put := func(kind storage.WorkKind, name string, q any) error {
		text, err := json.Marshal(q)
		if err == nil {
			_, err = s.store.PutWork(storage.Work{Engine: s.engine.ID, Valve: name, Kind: kind, At: s.at(), Question: text})
		}
		return err
	}
	for name, installed := range map[string]measure.Length{"1I": 1750 * measure.Thou, "1E": 1740 * measure.Thou} {
		lift, err := measured(name)
		if err != nil {
			return err
		}
		if err := put(storage.WorkClearance, name, clearance.Question{
			CoilBind: &clearance.CoilBindQuestion{Installed: installed, Solid: 1180 * measure.Thou, Lift: lift},
			Retainer: &clearance.RetainerQuestion{Closed: 545 * measure.Thou, Lift: lift},
		}); err != nil {
			return err
		}
		if err := put(storage.WorkSpring, name, map[string]any{
			"loads":   []map[string]any{{"height_mm": installed, "load_n": 490.0}, {"height_mm": installed - 420*measure.Thou, "load_n": 1150.0}},
			"wire_mm": 177 * measure.Thou, "outer_diameter_mm": 1270 * measure.Thou, "total_coils": 6.5, "ends": "closed ground",
			"installed_height_mm": installed, "lift_mm": lift, "free_length_mm": 2080 * measure.Thou, "solid_height_mm": 1180 * measure.Thou,
		}); err != nil {
			return err
		}
	}
	var rods []map[string]any
	for _, name := range []string{"1I", "1E", "3I", "3E", "4I", "4E"} {
		rod := 7850*measure.Thou + measure.Length(math.Round(4*s.chance.NormFloat64()))*measure.Thou/2
		rods = append(rods, map[string]any{"valve": name, "checking_rod_mm": rod})
	}
	return put(storage.WorkPushrod, "", map[string]any{"rods": rods, "measured": "overall", "step_mm": 5 * measure.Thou, "rocker_ratio": 1.55})
}

// at is the time of what is done next.
func (s *story) at() time.Time {
	return s.now.Add(-storyFrom + time.Duration(s.told)*storyStep).Truncate(time.Second)
}

// turn turns a valve through so many openings and records it.
func (s *story) turn(name, trial string, openings int, troubles ...simulator.Trouble) (daemon.Recorded, error) {
	i, ok := muleValve(name)
	if !ok {
		return daemon.Recorded{}, fmt.Errorf("no valve %s", name)
	}
	if s.told > 0 {
		s.bench.MoveTo(i)
	}
	part, err := s.bench.Once(storyHand, openings, troubles...)
	if err != nil {
		return daemon.Recorded{}, err
	}
	r := daemon.Recalled{Store: s.store, Device: s.device, Started: s.at().Add(time.Minute),
		Head:  storage.Head{Engine: s.engine.ID, Valve: name, Trial: trial, Source: storage.SourceDemo},
		Wires: map[capture.Role][]byte{}, Offsets: map[capture.Role]measure.Stamp{}, Addresses: map[capture.Role]address.Address{}}
	s.told++
	indicator, encoder := s.bench.Queries()
	for role, wire := range map[capture.Role]struct {
		chunks []simulator.Chunk
		query  string
	}{capture.Indicator: {part.Session.Indicator, indicator}, capture.Encoder: {part.Session.Encoder, encoder + "&counts=2400"}} {
		if len(wire.chunks) == 0 {
			continue
		}
		if r.Addresses[role], err = address.Parse("serial:" + string(role) + "?" + wire.query); err != nil {
			return daemon.Recorded{}, err
		}
		r.Offsets[role] = wire.chunks[0].At
		if r.Wires[role], err = logged(wire.chunks); err != nil {
			return daemon.Recorded{}, err
		}
	}
	return daemon.Recall(s.ctx, r)
}

// cableOut is a silence that only a cable that came out explains, at the rates that
// the simulator has.
const cableOut = 900 * measure.Millisecond

// logged writes what came on a wire as a recording of raw bytes.
func logged(chunks []simulator.Chunk) ([]byte, error) {
	var b bytes.Buffer
	w := bytelog.NewWriter(&b, "")
	var last measure.Stamp
	for i, c := range chunks {
		if i > 0 && c.At-last > cableOut {
			_ = w.Mark(last, bytelog.Lost) // the writer keeps its first error
			_ = w.Mark(c.At, bytelog.Opened)
		}
		_ = w.Bytes(c.At, c.Bytes)
		last = c.At
	}
	err := w.Flush()
	return b.Bytes(), err
}
