package question

import (
	"errors"
	"fmt"
	"time"

	"lobescribe/capture/lift"
	"lobescribe/capture/rocker/sweep"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// TraceStore is a Store with the traces themselves; storage.Store is one.
type TraceStore interface {
	Store
	Load(storage.ID) (storage.Head, measure.Trace, error)
	Summary(storage.ID) (storage.Summary, error)
}

// SweepTraces names the passes of a sweep. What is 0 is looked for among the
// traces of the valve.
type SweepTraces struct {
	Engine      string     `json:"engine,omitempty"` // of the newest turn, where Turn is 0
	Valve       string     `json:"valve,omitempty"`  // likewise
	Turn        storage.ID `json:"turn,omitempty"`
	Reference   storage.ID `json:"reference,omitempty"`
	NoReference bool       `json:"no_reference,omitempty"` // none is looked for
	LiftTurn    storage.ID `json:"lift_turn,omitempty"`
}

// LacksTurn: no trace of the valve has a sweep against the rocker's tip.
const LacksTurn = "turn"

var errNoTurn = worksheet.Wrongf("turn", "there is none of this valve with a gauge across the stem: connect one as sweep gauge, lay it against the rocker's tip and turn the engine over the valve's opening")

// AskSweep is Sweep for whoever shows what is lacking. The error is of a trace
// that there is not, or of the store.
func AskSweep(s TraceStore, pick SweepTraces) (Asked[SweepTraces, SweepOf], error) {
	out := Asked[SweepTraces, SweepOf]{Question: pick, Lacks: []string{}, Notes: []string{}}
	a, err := Sweep(s, pick, sweep.Question{})
	switch {
	case err == nil:
		out.Answer = &a
	case errors.Is(err, errNoTurn):
		out.Lacks = append(out.Lacks, LacksTurn)
	case errors.Is(err, storage.ErrNotFound):
		return out, err
	default:
		out.NoAnswer = err.Error()
	}
	return out, nil
}

// SweepOf is what a valve's sweep traces say, and which they are.
type SweepOf struct {
	Turn      storage.ID  `json:"turn"`
	Reference *storage.ID `json:"reference,omitempty"`
	// LiftTurn is the turn of lift against angle, where one indicator was moved.
	LiftTurn *storage.ID `json:"lift_turn,omitempty"`
	sweep.Answer
}

// oneSetUp is how far apart passes may be started to be taken for those of one
// set-up without being named.
const oneSetUp = 12 * time.Hour

// Sweep asks where the rocker is square, of stored traces; what q tells goes before
// what is stored of the engine. Every person and program asks through it.
func Sweep(s TraceStore, pick SweepTraces, q sweep.Question) (out SweepOf, err error) {
	if pick.Turn == 0 {
		list, err := s.Traces(storage.Query{Engine: pick.Engine, Valve: pick.Valve, Counting: true})
		if err != nil {
			return out, err
		}
		for _, t := range list { // newest first
			if t.HasSweep && t.Against != storage.AgainstSide && !t.Recording {
				pick.Turn = t.ID
				break
			}
		}
		if pick.Turn == 0 {
			return out, errNoTurn
		}
	}
	turn, err := s.Summary(pick.Turn)
	if err != nil {
		return out, err
	}
	if turn.Engine != "" {
		f, err := Gather(s, turn.Engine, turn.Valve)
		if field := (*storage.FieldError)(nil); err != nil && !errors.As(err, &field) && !errors.Is(err, storage.ErrNotFound) {
			return out, err
		} else if err == nil {
			f.fillSweep(&q)
		}
	}
	if err := pick.find(s, turn); err != nil {
		return out, err
	}
	out.Turn = pick.Turn
	var r sweep.Recordings
	if r.Turn, err = recorded(s, turn, pick.Turn, "turn"); err != nil {
		return out, err
	}
	for _, one := range []struct {
		id    storage.ID
		field string
		to    **sweep.Recorded
		said  **storage.ID
	}{{pick.Reference, "reference", &r.Reference, &out.Reference}, {pick.LiftTurn, "lift_turn", &r.LiftTurn, &out.LiftTurn}} {
		if one.id == 0 {
			continue
		}
		got, err := recorded(s, turn, one.id, one.field)
		if err != nil {
			return out, err
		}
		*one.to, *one.said = &got, &one.id
	}
	q, says, err := sweep.FromTraces(q, r)
	if err != nil {
		return out, err
	}
	if out.Answer, err = sweep.Solve(q); err != nil {
		return out, err
	}
	out.Says = append(out.Says, says...)
	return out, nil
}

// fillSweep puts what is stored of the valve into what q leaves open.
func (f Facts) fillSweep(q *sweep.Question) {
	if q.ValveArm == 0 {
		q.ValveArm = f.Engine.RockerArm
	}
	Limit(q, f.Engine, f.Valve.Kind)
	if q.Bend == nil {
		valveArm, adjusterArm, ratio, _ := f.arms()
		q.Bend, q.BendU = bend(f.Engine.BallAboveLine, valveArm, adjusterArm, ratio)
	}
}

// find looks for what goes with a turn and was not named.
func (p *SweepTraces) find(s TraceStore, turn storage.Summary) error {
	list, err := s.Traces(storage.Query{Engine: turn.Engine, Valve: turn.Valve, Counting: true})
	if err != nil {
		return err
	}
	goesWith := func(t storage.Summary) bool {
		apart := t.Started.Sub(turn.Started).Abs()
		return t.ID != turn.ID && t.Trial == turn.Trial && !t.Recording && apart < oneSetUp
	}
	for _, t := range list {
		if p.Reference == 0 && !p.NoReference && goesWith(t) && t.HasSweep && t.Against == storage.AgainstSide {
			p.Reference = t.ID
		}
		// A turn with a whole opening has its lift beside its sweep.
		if p.LiftTurn == 0 && turn.MaxLift == nil && goesWith(t) && !t.HasSweep && t.HasAngle && t.MaxLift != nil {
			p.LiftTurn = t.ID
		}
	}
	return nil
}

// recorded loads a pass of the same valve as a turn.
func recorded(s TraceStore, turn storage.Summary, id storage.ID, field string) (sweep.Recorded, error) {
	r := sweep.Recorded{Name: fmt.Sprintf("trace %s", id)}
	head, trace, err := s.Load(id)
	switch {
	case err != nil && len(storage.DamagesIn(err)) > 0:
		return r, worksheet.Wrongf(field, "trace %s is damaged, and an answer from a part of it would not be one: record the pass again", id)
	case err != nil:
		return r, err
	case head.PutAway != "":
		return r, worksheet.Wrongf(field, "trace %s was put away (%s): take it back, or name another", id, head.PutAway)
	case head.Engine != turn.Engine || head.Valve != turn.Valve:
		return r, worksheet.Wrongf(field, "trace %s is of another valve than the turn", id)
	}
	r.Trace = trace
	r.Findings, err = lift.Analyse(trace, lift.Options{LeaveOut: head.LeftOut, Proof: head.Proof})
	return r, err
}
