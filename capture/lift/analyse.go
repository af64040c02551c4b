package lift

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"lobescribe/capture/join"
	"lobescribe/capture/lift/bits"
	"lobescribe/capture/step"
	"lobescribe/device/measure"
)

// ErrNoLift is returned for a trace in which no reading carries a lift.
var ErrNoLift = errors.New("analyse: no reading of the trace carries a lift: there is nothing to find; record with an indicator")

// Analyse returns what can be found in a finished trace. The error is
// [ErrNoLift]; a trace without a whole opening is no error but the fault
// [PartTurn]. The trace is not changed.
//
// Lift and angle belong together where one reading carries both. Of an encoder that
// stands on rows of its own the angle is taken at each lift's instant: see [join.Rows].
func Analyse(t measure.Trace, o Options) (Findings, error) {
	if o.Told == 0 {
		o.Told = t.Resolution
	}
	a := NewAnalysis(o)
	a.Add(t.Readings, t.Notes)
	return a.Findings()
}

// Analysis is [Analyse] for a trace that comes piece by piece, as out of a file
// longer than memory. It finds the same.
type Analysis struct {
	g     *Segmenter
	f     Findings
	first measure.Stamp
	any   bool              // a reading has come
	seen  bool              // one with a lift
	bits  bits.Seen         // of its figures
	swept bool              // a sweep was among the readings
	notes []measure.Note    // to come
	tail  []measure.Reading // as late as the last: a note may still come before them
	rows  join.Rows         // whose angles may stand on rows of their own
	news  []News
	out   []LeftOut

	// Until the readings have shown the indicator's step they wait.
	waits []measure.Reading
	steps step.Finder
	begun bool
}

// NewAnalysis returns one that has seen nothing.
func NewAnalysis(o Options) *Analysis {
	a := &Analysis{g: NewSegmenter(o), out: o.LeaveOut}
	a.g.patient, a.g.room = true, &room{}
	a.begun = o.Resolution > 0
	for i := range a.g.tracks {
		a.g.tracks[i].pts.most = finishedPoints
	}
	a.f = Findings{Openings: []Opening{}, Faults: []Fault{}} // in JSON [] and not null
	return a
}

// Add takes the next readings, and the notes that belong before, among or right
// behind them, in order of time.
func (a *Analysis) Add(readings []measure.Reading, notes []measure.Note) {
	a.notes = append(a.notes, notes...)
	if len(readings) == 0 {
		return
	}
	if !a.any {
		a.any, a.first = true, readings[0].At
	}
	a.step(a.tail)
	n := len(readings)
	for n > 0 && readings[n-1].At == readings[len(readings)-1].At {
		n--
	}
	a.tail = append(a.tail[:0], readings[n:]...)
	a.step(readings[:n])
}

// enoughChanges of the reading tell its step better than anything said before:
// the first trace of an indicator knew the least when it began. mostWaiting bounds
// the readings in which they are looked for.
const enoughChanges, mostWaiting = 128, 8192

// step takes the next readings; the first wait until they have shown the
// indicator's step.
func (a *Analysis) step(readings []measure.Reading) {
	for _, r := range readings {
		switch {
		case !a.rows.Passes(&r):
			a.takeAll(a.rows.Add(&r))
		case a.begun:
			a.count(&r)
		default:
			a.take(&r)
		}
	}
}

func (a *Analysis) takeAll(readings []measure.Reading) {
	a.g.stream.between = a.rows.Between()
	for i := range readings {
		a.take(&readings[i])
	}
}

// take takes a reading with all that stands beside it.
func (a *Analysis) take(r *measure.Reading) {
	if a.begun {
		a.count(r)
		return
	}
	if r.Has&measure.HasLift != 0 {
		a.steps.See(int64(r.Lift))
	}
	a.waits = append(a.waits, *r)
	if a.steps.Changes() >= enoughChanges || len(a.waits) >= mostWaiting {
		a.begin()
	}
}

// begin follows what has waited, with the step that it has shown or else the one
// that was told.
func (a *Analysis) begin() {
	a.begun = true
	if a.steps.Changes() >= enoughChanges {
		a.g.steps = a.steps
	} else {
		a.g.steps.Fixed = int64(a.g.o.Told)
	}
	a.g.relimit()
	for i := range a.waits {
		a.count(&a.waits[i])
	}
	a.waits = nil
}

func (a *Analysis) count(r *measure.Reading) {
	for len(a.notes) > 0 && a.notes[0].At <= r.At {
		a.g.Note(a.notes[0])
		a.notes = a.notes[1:]
	}
	if r.Has&measure.HasLift != 0 {
		a.seen = true
		a.bits.See(int64(r.Lift), a.g.steps.Step())
	}
	a.swept = a.swept || r.Has&measure.HasSweep != 0
	if a.g.step(r) {
		a.told()
	}
}

// told keeps the faults that have been told; the openings stay with the
// segmenter until all are known.
func (a *Analysis) told() {
	a.news = a.g.Take(a.news[:0])
	for _, n := range a.news {
		if n.Fault != nil {
			a.f.Faults = append(a.f.Faults, *n.Fault)
		}
	}
}

// Findings says that nothing follows, and returns what was found. The error is
// [ErrNoLift].
func (a *Analysis) Findings() (Findings, error) {
	a.step(a.tail)
	a.takeAll(a.rows.End())
	if !a.begun {
		a.begin()
	}
	if !a.seen && a.swept { // a gauge across the stem, and nothing on the valve
		return Findings{Openings: []Opening{}, Faults: []Fault{}}, nil
	}
	if !a.seen {
		return Findings{}, ErrNoLift
	}
	for _, n := range a.notes {
		a.g.Note(n)
	}
	a.g.Finish()
	a.told()
	f := a.f
	var counting []measured
	counting, f.Faults, f.LeftOut = leaveOut(a.g.all, f.Faults, a.out)
	pool(counting)
	a.g.judgeWhole(counting)
	a.g.judgeAccount(a.g.all)
	a.judgeBits()
	for _, n := range a.g.Take(nil) {
		if n.Fault != nil {
			f.Faults = append(f.Faults, *n.Fault)
		}
	}
	var mean meanLift
	for _, m := range counting {
		f.Openings = append(f.Openings, m.Opening)
		mean.add(&m)
	}
	f.Resolution = measure.Length(a.g.steps.Step())
	f.Held, f.Drive = a.g.holds, a.g.drive
	f.Doubted, f.Doubts = a.g.doubts.counts, a.g.doubts.shown
	if mean.n > 0 {
		f.Sign = a.g.sign
	}
	if mean.n == 0 && len(f.LeftOut) > 0 {
		f.Faults = append(f.Faults, Fault{Kind: PartTurn, At: f.LeftOut[0].Opening.Open, Says: sayf("every opening of this trace was left out: turn once more, or take one back")})
	} else if mean.n == 0 && a.g.noLift {
		// The openings that there are were told of.
	} else if mean.n == 0 {
		f.Faults = append(f.Faults, Fault{Kind: PartTurn, At: a.first, Says: sayf("no whole opening is in this trace: begin with the valve shut, turn through until it is shut again, and a little further")})
	} else {
		f.MaxLift, f.MaxLiftU, f.HalfLift, f.Spread = mean.results()
	}
	slices.SortStableFunc(f.Faults, func(a, b Fault) int { return cmp.Compare(a.At, b.At) })
	return f, nil
}

// judgeBits tells of a bit of the indicator's figure that is stuck. Where zero was pressed its
// figures are no counts of one scale.
func (a *Analysis) judgeBits() {
	if off := a.bits.Stuck(); off > 0 && len(a.g.all) > 0 && !a.g.stream.jumped {
		a.g.fault(Misread, a.g.all[0].Open, "every other stretch of %v is missing from the figures: one bit of the indicator's figure is stuck, and lifts are off by up to as much. Check its plug and cable, or use another indicator, and turn again", length(float64(off)))
	}
}

// meanLift is the mean max lift of several openings with its uncertainty.
type meanLift struct {
	n, sum              float64
	own2, common, alike float64
	least, most         float64
}

func (m *meanLift) add(one *measured) {
	lift := float64(one.MaxLift)
	if m.n == 0 {
		m.least, m.most = lift, lift
	}
	m.least, m.most = min(m.least, lift), max(m.most, lift)
	m.n++
	m.sum += lift
	m.own2 += one.own * one.own
	m.common = max(m.common, one.common)
	m.alike += one.alike
}

// results returns the mean over the openings, its expanded uncertainty, half of
// it and the spread. What the openings do not share averages out, what they do
// share stays, and of what each has its own amount of the mean; if they scatter more
// than they should, that counts instead.
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
	alike := m.alike / m.n
	u = measure.Length(math.Ceil(2 * math.Sqrt(own2+m.common*m.common+alike*alike)))
	return mean, u, measure.Length(math.Round(m.sum / m.n / 2)), measure.Length(m.most - m.least)
}
