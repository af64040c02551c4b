package lift

import (
	"errors"

	"lobescribe/device/measure"
)

// ErrNoLift is returned for a trace in which no reading carries a lift.
var ErrNoLift = errors.New("analyse: no reading of the trace carries a lift: there is nothing to find; record with an indicator")

// Analyse returns what can be found in a finished trace. The error is
// [ErrNoLift]; a trace without a whole opening is no error but the fault
// [PartTurn]. The trace is not changed.
func Analyse(t measure.Trace, o Options) (Findings, error) {
	if o.Resolution == 0 {
		o.Resolution = t.Resolution
	}
	if o.AngleStep == 0 {
		o.AngleStep = t.AngleStep
	}
	g := NewSegmenter(o)
	g.patient = true
	for i := range g.tracks {
		g.tracks[i].pts.most = finishedPoints
	}
	var openings []Opening
	var faults []Fault
	var news []News
	seen := false
	take := func() {
		news = g.Take(news[:0])
		for _, n := range news {
			if n.Opening != nil {
				openings = append(openings, *n.Opening)
			}
			if n.Fault != nil {
				faults = append(faults, *n.Fault)
			}
		}
	}
	notes := t.Notes
	for _, r := range t.Readings {
		for len(notes) > 0 && notes[0].At <= r.At {
			g.Note(notes[0])
			notes = notes[1:]
		}
		seen = seen || r.Has&measure.HasLift != 0
		if g.Step(r) {
			take()
		}
	}
	if !seen {
		return Findings{}, ErrNoLift
	}
	for _, n := range notes {
		g.Note(n)
	}
	g.Finish()
	take()
	f := summary(openings)
	f.Faults = faults
	f.Resolution = measure.Length(g.steps.step())
	return f, nil
}
