package sheet

import (
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"lobescribe/capture/lift"
	"lobescribe/capture/timing"
	"lobescribe/capture/valve"
	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/question"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// Source is where an engine and its traces stand; storage.Store is one.
type Source interface {
	Engine(id string) (storage.Engine, error)
	Trial(id string) (storage.Trial, error)
	Trials(engine string) ([]storage.Trial, error)
	Photographs(trial string) ([]storage.Photograph, error)
	Works(engine string) ([]storage.Work, error)
	Traces(storage.Query) ([]storage.Summary, error)
	Load(storage.ID) (storage.Head, measure.Trace, error)
	Summary(storage.ID) (storage.Summary, error)
}

// Options of a sheet. The zero value is the engine's own unit and now.
type Options struct {
	Units   measure.Unit // default: the engine's, else inches
	Made    time.Time    // default: now
	Version string
}

// Gather collects the sheet of an engine. What of the store is damaged is told
// on the sheet; the error is for an engine that is not there, or a store that
// does not answer at all.
func Gather(s Source, engine string, o Options) (Data, error) {
	e, err := s.Engine(engine)
	if err != nil {
		return Data{}, fmt.Errorf("making the build sheet of %q: %w", engine, err)
	}
	d := Data{Engine: e, Units: o.Units, Made: o.Made, Version: o.Version}
	if d.Units == measure.NoUnit {
		if d.Units = measure.InInches; e.Units == "mm" {
			d.Units = measure.InMillimetres
		}
	}
	if d.Made.IsZero() {
		d.Made = time.Now()
	}
	traces, err := s.Traces(storage.Query{Engine: engine, Counting: true})
	if err != nil {
		return Data{}, fmt.Errorf("making the build sheet of %q: %w", engine, err)
	}
	trials, err := s.Trials(engine)
	if err != nil {
		if d.Damage = Damaged(err); d.Damage == nil {
			return Data{}, fmt.Errorf("making the build sheet of %q: %w", engine, err)
		}
	}
	works, err := s.Works(engine)
	if err != nil {
		hurt := Damaged(err)
		if hurt == nil {
			return Data{}, fmt.Errorf("making the build sheet of %q: %w", engine, err)
		}
		d.Damage = append(d.Damage, hurt...)
	}
	d.away(s)
	if d.Valves, err = gatherValves(s, e, traces, trials); err != nil {
		return Data{}, fmt.Errorf("making the build sheet of %q: %w", engine, err)
	}
	d.compare()
	d.pair(s)
	d.works(works)
	return d, nil
}

// away notes the traces that were put away: whoever reads the sheet must know
// that there were others.
func (d *Data) away(s Source) {
	all, err := s.Traces(storage.Query{Engine: d.Engine.ID})
	if err != nil {
		return // the listing before this one has said so
	}
	for _, t := range all {
		if t.PutAway == "" && t.LeftOut > 0 && t.MaxLift == nil {
			t.PutAway = "every opening was left out"
		}
		if t.PutAway != "" {
			d.Away = append(d.Away, t)
		}
	}
}

// gatherValves works the valves out side by side, as many at a time as there are
// processors: none needs another, and somebody waits for all of them.
func gatherValves(s Source, e storage.Engine, traces []storage.Summary, trials []storage.Trial) ([]Valve, error) {
	all := e.Valves()
	out, errs, free := make([]Valve, len(all)), make([]error, len(all)), make(chan struct{}, runtime.GOMAXPROCS(0))
	var working sync.WaitGroup
	for i, one := range all {
		free <- struct{}{}
		working.Go(func() {
			defer func() { <-free }()
			out[i], errs[i] = gatherValve(s, e, one, traces, trials)
		})
	}
	working.Wait()
	return out, errors.Join(errs...)
}

func gatherValve(s Source, e storage.Engine, one valve.Valve, traces []storage.Summary, trials []storage.Trial) (Valve, error) {
	name := one.String()
	v := Valve{Name: name, Cylinder: one.Cylinder, Kind: one.Kind}
	of := func(t storage.Summary) bool { return t.Valve == name && t.MaxLift != nil && !t.Recording }
	if i := slices.IndexFunc(traces, of); i >= 0 { // the newest first
		v.Trace = traces[i]
		if err := v.measure(s); err != nil {
			return v, err
		}
	}
	timed := func(t storage.Summary) bool { return of(t) && t.HasAngle }
	if i := slices.IndexFunc(traces, timed); i >= 0 {
		if err := v.time(s, e, traces[i].ID); err != nil {
			return v, err
		}
	}
	facts := question.Facts{Engine: e, Valve: one, Trials: question.TrialsOf(trials, one), MaxLift: question.MaxLiftOf(traces, one)}
	v.Trials = facts.Trials
	if err := v.photograph(s, e); err != nil {
		return v, err
	}
	if err := v.sweep(s, e, traces); err != nil {
		return v, err
	}
	next := facts.Next()
	v.Next = next.Answer
	if next.NoAnswer != "" {
		v.Notes = append(v.Notes, "Next stack: "+full(next.NoAnswer))
	}
	for _, note := range next.Notes {
		v.Notes = append(v.Notes, full(note))
	}
	for _, m := range []struct {
		word string
		have bool
	}{
		{"max lift", v.Measured()}, {"timing", v.Timed != nil}, {"a trial at half lift", v.Next != nil},
	} {
		if !m.have {
			v.Missing = append(v.Missing, m.word)
		}
	}
	return v, nil
}

// measure works the valve's trace out, from the readings: what the store
// remembers of it may be of an earlier version.
func (v *Valve) measure(s Source) error {
	h, trace, err := s.Load(v.Trace.ID)
	if err != nil {
		hurt := Damaged(err)
		if hurt == nil {
			return err
		}
		v.Notes = append(v.Notes, hurt...)
	}
	v.Devices, v.Noted = h.Devices, h.Noted
	if v.Findings, err = lift.Analyse(trace, lift.Options{LeaveOut: h.LeftOut, Proof: h.Proof}); err != nil {
		v.Notes = append(v.Notes, sentence(err))
		return nil
	}
	v.Drawn = drawn(trace, v.Findings)
	return nil
}

// drawnPoints is what a plot two inches wide can show.
const drawnPoints = 300

// drawn returns the middle opening of a trace, with some of the heel on either
// side, thinned.
func drawn(t measure.Trace, f lift.Findings) []Point {
	if len(f.Openings) == 0 {
		return nil
	}
	o := f.Openings[len(f.Openings)/2]
	room := (o.Close - o.Open) / 8
	at := func(r measure.Reading, t measure.Stamp) int { return int(max(-1, min(1, r.At-t))) }
	from, _ := slices.BinarySearchFunc(t.Readings, o.Open-room, at)
	to, _ := slices.BinarySearchFunc(t.Readings, o.Close+room, at)
	sign := 1.0
	if o.OpeningHalf.Reading < o.Heel {
		sign = -1 // the spindle runs out as the valve opens
	}
	var all []Point
	for _, r := range t.Readings[from:to] {
		if r.Has&measure.HasLift != 0 {
			all = append(all, Point{(r.At - o.Nose).Seconds(), sign * (r.Lift - o.Heel).Millimetres()})
		}
	}
	return thinned(all)
}

// thinned keeps the ends of every stretch, and its least and largest, so that
// the nose stays as high as it was.
func thinned(all []Point) []Point {
	if len(all) <= drawnPoints {
		return all
	}
	var out []Point
	const stretches = drawnPoints / 3
	for s := range stretches {
		from, to := s*len(all)/stretches, (s+1)*len(all)/stretches
		part := all[from:to]
		least, most := 0, 0
		for i, p := range part {
			if p.Y < part[least].Y {
				least = i
			}
			if p.Y > part[most].Y {
				most = i
			}
		}
		keep := []int{0, min(least, most), max(least, most)}
		for i, k := range keep {
			if i == 0 || k != keep[i-1] {
				out = append(out, part[k])
			}
		}
	}
	return append(out, all[len(all)-1])
}

// time works out the timing of a trace.
func (v *Valve) time(s Source, e storage.Engine, id storage.ID) error {
	h, trace, err := s.Load(id)
	if err != nil && Damaged(err) == nil {
		return err
	}
	trace = lift.Without(trace, h.LeftOut)
	curve, zero, err := question.Curve(trace, question.Timing(s, h, v.Kind), e, v.Name)
	if err == nil {
		var t timing.ValveTiming
		if t, err = curve.Timing(nil, ""); err == nil {
			ask := question.More(e, v.Kind, curve.Options())
			if zero.Doubtful {
				ask.Cylinder = nil // it hangs on top dead centre
			}
			if more, err := curve.More(ask, t, &worksheet.Basis{}); err == nil {
				t.More = more
			} else {
				v.Notes = append(v.Notes, "Timing: "+sentence(err))
			}
			v.Timed = &Timed{Trace: id, Timing: t, Curve: curve.Points(), Note: zero.Parts, Doubtful: zero.Doubtful, options: curve.Options()}
			return nil
		}
	}
	v.Notes = append(v.Notes, "Timing: "+sentence(err))
	return nil
}

// compare sets the valves side by side.
func (d *Data) compare() {
	var all []timing.Figures
	for _, v := range d.Valves {
		f := timing.Figures{Name: d.valveWords(v.Name), Valve: v.Kind}
		if v.Timed != nil {
			f = timing.FiguresOf(d.valveWords(v.Name), v.Timed.Timing)
			f.Valve = v.Kind
		}
		if v.Measured() {
			f.MaxLift = v.Findings.MaxLift
		}
		if f.MaxLift != 0 {
			all = append(all, f)
		}
	}
	if len(all) < 2 {
		return
	}
	c, err := timing.CompareValves(all, timing.CompareOptions{CardLift: map[valve.Kind]measure.Length{
		valve.Intake: d.Engine.CamCard.MaxLiftIntake - d.Engine.CamCard.LashIntake, valve.Exhaust: d.Engine.CamCard.MaxLiftExhaust - d.Engine.CamCard.LashExhaust}})
	if err == nil { // two of one kind are too few, and no fault
		d.Compared = &c
	}
}

// pair puts the intake and the exhaust valve of each cylinder together, and
// against the card.
func (d *Data) pair(s Source) {
	byCylinder := map[int][]Valve{}
	var order []int
	for _, v := range d.Valves {
		if v.Timed == nil {
			continue
		}
		c := v.Cylinder
		if byCylinder[c] == nil {
			order = append(order, c)
		}
		byCylinder[c] = append(byCylinder[c], v)
	}
	for _, c := range order {
		ask := timing.Request{Card: question.CamCard(d.Engine)}
		var out Cylinder
		for _, v := range byCylinder[c] {
			in, name := &ask.Intake, &out.Intake
			if v.Kind == timing.Exhaust {
				in, name = &ask.Exhaust, &out.Exhaust
			}
			if *in != nil {
				continue // of two intake valves the first speaks
			}
			h, trace, err := s.Load(v.Timed.Trace)
			if err != nil && Damaged(err) == nil {
				continue
			}
			trace = lift.Without(trace, h.LeftOut)
			o := v.Timed.options
			*in, *name = &timing.ValveInput{Trace: &trace, TDC: o.TDC, TDCU: o.TDCU, Ratio: o.Ratio, Lash: o.Lash}, v.Name
			if v.Timed.Doubtful {
				(*in).ZeroDoubts = []verdict.Doubt{{Cause: verdict.Doubtful, Says: strings.Join(v.Timed.Note, ": ")}}
			}
		}
		result, err := timing.Compute(ask)
		if err != nil {
			d.Damage = append(d.Damage, fmt.Sprintf("Timing of cylinder %d: %s", c, sentence(err)))
			continue
		}
		out.Pairs, out.Card = result.Pairs, result.Card
		if len(out.Pairs) > 0 || out.Card != nil {
			d.Cylinders = append(d.Cylinders, out)
		}
	}
}

// Damaged lists, in sentences, what an error of the store says is hurt, when
// that is all it says; then everything else was read. It is nil for any other
// error, and for none.
func Damaged(err error) []string {
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		var all []string
		for _, one := range joined.Unwrap() {
			part := Damaged(one)
			if part == nil {
				return nil
			}
			all = append(all, part...)
		}
		return all
	}
	var hurt *storage.Damage
	if errors.As(err, &hurt) {
		return []string{sentence(err)}
	}
	return nil
}

// sentence gives the words of an error a capital and a full stop.
func sentence(err error) string { return full(err.Error()) }

func full(text string) string {
	text = strings.TrimRight(text, ".\n")
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:] + "."
}
