package lift

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"lobescribe/device/measure"
)

// ErrNoLift is returned for a trace in which no reading carries a lift.
var ErrNoLift = errors.New("analyse: no reading of the trace carries a lift: there is nothing to find; record with an indicator")

// Analyse returns what can be found in a finished trace. The error is
// [ErrNoLift]; a trace without a whole opening is no error but the fault
// [PartTurn]. The trace is not changed.
//
// Lift and angle belong together where one reading carries both; a trace of two
// devices that were not joined gives no angles.
func Analyse(t measure.Trace, o Options) (Findings, error) {
	if o.Resolution == 0 {
		o.Resolution = t.Resolution
	}
	g := NewSegmenter(o)
	g.patient = true
	for i := range g.tracks {
		g.tracks[i].pts.most = finishedPoints
	}
	f := Findings{Openings: []Opening{}, Faults: []Fault{}} // in JSON [] and not null
	var mean meanLift
	var news []News
	seen := false
	take := func() {
		news = g.Take(news[:0])
		for _, n := range news {
			if n.Fault != nil {
				f.Faults = append(f.Faults, *n.Fault)
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
	pool(g.all)
	for _, m := range g.all {
		f.Openings = append(f.Openings, m.Opening)
		mean.add(float64(m.MaxLift), m.own, m.common)
	}
	f.Resolution = measure.Length(g.steps.step())
	if mean.n == 0 {
		f.Faults = append(f.Faults, Fault{Kind: PartTurn, At: t.Readings[0].At, Says: "no whole opening is in this trace: begin with the valve shut, turn through until it is shut again, and a little further"})
	} else {
		f.MaxLift, f.MaxLiftU, f.HalfLift, f.Spread = mean.results()
	}
	slices.SortStableFunc(f.Faults, func(a, b Fault) int { return cmp.Compare(a.At, b.At) })
	return f, nil
}

// meanLift is the mean max lift of several openings with its uncertainty.
type meanLift struct {
	n, sum       float64
	own2, common float64
	least, most  float64
}

func (m *meanLift) add(lift, own, common float64) {
	if m.n == 0 {
		m.least, m.most = lift, lift
	}
	m.least, m.most = min(m.least, lift), max(m.most, lift)
	m.n++
	m.sum += lift
	m.own2 += own * own
	m.common = max(m.common, common)
}

// results returns the mean over the openings, its expanded uncertainty, half of
// it and the spread. What the openings do not share averages out, what they do
// share stays; if they scatter more than they should, that counts instead.
func (m *meanLift) results() (mean, u, half, spread measure.Length) {
	mean = measure.Length(math.Round(m.sum / m.n))
	own2 := m.own2 / m.n / m.n
	if r := m.most - m.least; m.n > 1 {
		// Between the extremes of n values lie about 1 to 3 standard deviations.
		sd := r / math.Sqrt(m.n)
		if sd*sd/m.n > 4*own2 && r > 3*m.common {
			own2 = sd * sd / m.n
		}
	}
	u = measure.Length(math.Ceil(2 * math.Sqrt(own2+m.common*m.common)))
	return mean, u, measure.Length(math.Round(m.sum / m.n / 2)), measure.Length(m.most - m.least)
}
