package question

import (
	"lobescribe/capture/valve"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// Lifts are where it stands what valves have been found to lift.
type Lifts interface {
	Engine(id string) (storage.Engine, error)
	// Traces lists them newest first.
	Traces(q storage.Query) ([]storage.Summary, error)
}

// How far max lift may be from what is expected, in hundredths of it: of the valve's
// own last trace, for the set-up may have been changed since; of its sisters; of the
// card, which knows nothing of rockers and their stands. (Common practice, no
// source.)
const (
	ownWithin    = 3
	sisterWithin = 4
	cardWithin   = 6

	// newest is how many traces are looked at.
	newest = 200
)

// MaxLift returns the max lift that is to be expected of a valve at its next turn,
// and how far off it may be: what its newest trace found, or else those of the
// other valves of its kind, or else what the cam card says, less the lash. Both are
// 0 where nothing is known; a record that does not read says nothing either.
func MaxLift(d Lifts, engine, name string) (expect, within measure.Length) {
	kind := valve.KindOf(name)
	if engine == "" || kind == "" {
		return 0, 0
	}
	var sisters []measure.Length
	seen := map[string]bool{}
	traces, err := d.Traces(storage.Query{Engine: engine, Limit: newest})
	for _, t := range traces {
		if err != nil || t.MaxLift == nil || *t.MaxLift <= 0 || seen[t.Valve] {
			continue
		}
		seen[t.Valve] = true
		switch {
		case t.Valve == name:
			return *t.MaxLift, *t.MaxLift * ownWithin / 100
		case valve.KindOf(t.Valve) == kind:
			sisters = append(sisters, *t.MaxLift)
		}
	}
	if len(sisters) > 0 {
		least, most, sum := sisters[0], sisters[0], measure.Length(0)
		for _, l := range sisters {
			least, most, sum = min(least, l), max(most, l), sum+l
		}
		mean := sum / measure.Length(len(sisters))
		return mean, max(mean*sisterWithin/100, most-least)
	}
	e, err := d.Engine(engine)
	if err != nil {
		return 0, 0
	}
	if card := e.CamCard.MaxLift().Of(kind) - e.CamCard.Lash().Of(kind); card > 0 {
		return card, card * cardWithin / 100
	}
	return 0, 0
}
