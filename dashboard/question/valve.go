package question

import (
	"fmt"
	"math"

	"lobescribe/capture/clearance"
	"lobescribe/capture/rocker"
	"lobescribe/capture/rocker/photo"
	"lobescribe/capture/rocker/shims"
	"lobescribe/capture/rocker/sweep"
	"lobescribe/capture/valve"
	"lobescribe/capture/verdict"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// Store is where everything about a valve stands; storage.Store is one.
type Store interface {
	Engine(id string) (storage.Engine, error)
	Trials(engine string) ([]storage.Trial, error)
	Traces(storage.Query) ([]storage.Summary, error)
}

// Facts are what is stored of one valve. Whoever asks about its rocker (page,
// build sheet, command line, programs) asks through them, so that one engine has
// one answer.
type Facts struct {
	Engine storage.Engine
	Valve  valve.Valve
	Trials []storage.Trial // of this valve, oldest first
	// MaxLift is that of the newest trace that has one; nil: none has.
	MaxLift *measure.Length
}

// Gather reads the facts of a valve. The error is a [*storage.FieldError] for a
// valve that the engine does not have. Documents that are damaged are left out.
func Gather(s Store, engine, name string) (Facts, error) {
	e, err := s.Engine(engine)
	if err != nil {
		return Facts{}, err
	}
	if err := e.CheckValve(nil, name); err != nil {
		return Facts{}, err
	}
	v, err := valve.Parse(name)
	if err != nil {
		return Facts{}, err
	}
	f := Facts{Engine: e, Valve: v}
	trials, err := s.Trials(engine)
	if err != nil && len(storage.DamagesIn(err)) == 0 {
		return f, err
	}
	f.Trials = TrialsOf(trials, v)
	traces, err := s.Traces(storage.Query{Engine: engine, Valve: name})
	if err != nil {
		return f, err
	}
	f.MaxLift = MaxLiftOf(traces, v)
	return f, nil
}

// TrialsOf returns the trials of one valve.
func TrialsOf(all []storage.Trial, v valve.Valve) []storage.Trial {
	var of []storage.Trial
	for _, t := range all {
		if t.Valve == v.String() {
			of = append(of, t)
		}
	}
	return of
}

// MaxLiftOf returns the max lift of a valve's newest trace (the first of the
// list) that has one.
func MaxLiftOf(traces []storage.Summary, v valve.Valve) *measure.Length {
	for _, t := range traces {
		if t.Valve == v.String() && t.MaxLift != nil && !t.Recording {
			return t.MaxLift
		}
	}
	return nil
}

// What an answer can lack.
const (
	LacksTrial = "trial" // with a height difference at half lift
	LacksRatio = "ratio" // the rocker's, or both its arms
	LacksLift  = "lift"  // a max lift, measured or of the card
	LacksPad   = "pad"   // the radius of a pad, without which its height says nothing
)

// Asked is a question about a valve, put together of what is stored, and its
// answer.
type Asked[Q, A any] struct {
	Question Q `json:"question"`
	// Answer is null while there is none: then Lacks says what is missing, or
	// NoAnswer why there can be none.
	Answer   *A       `json:"answer"`
	Lacks    []string `json:"lacks"`
	NoAnswer string   `json:"no_answer,omitempty"`
	// Notes say what of the documents does not go together, and what was used.
	Notes []string `json:"notes"`
}

// Next asks for the next stack.
func (f Facts) Next() Asked[shims.Question, shims.Answer] {
	var out Asked[shims.Question, shims.Answer]
	out.Lacks, out.Notes = []string{}, []string{}
	q := &out.Question
	var doubt string
	q.ValveArm, q.AdjusterArm, q.RockerRatio, doubt = f.arms()
	q.Tip, q.TipRadius = f.Engine.RockerTip, f.Engine.RockerTipRadius
	q.BallAboveLine = f.Engine.BallAboveLine
	if f.Engine.Limits.Square != 0 {
		q.Tolerance = &f.Engine.Limits.Square
	}
	q.Lift = f.lift()
	for _, t := range f.Trials {
		if t.AdjusterBelowValve == nil {
			continue
		}
		one := shims.Trial{Stack: shims.Stack(t.Stack), AdjusterBelowValve: t.AdjusterBelowValve}
		if q.Lift != 0 { // without it the marks say nothing
			one.Mark, one.OpenVsClosed = t.Sweep, t.OpenVsClosed
		}
		q.Trials = append(q.Trials, one)
	}
	for _, s := range f.Engine.ShimsOnHand {
		if s.Count > 0 {
			q.OnHand = append(q.OnHand, shims.Thickness{Thickness: s.Thickness, Count: s.Count})
		}
	}
	if len(q.Trials) == 0 {
		out.Lacks = append(out.Lacks, LacksTrial)
	}
	if q.RockerRatio == 0 && (q.ValveArm == 0 || q.AdjusterArm == 0) {
		out.Lacks = append(out.Lacks, LacksRatio)
	}
	out.Lacks = append(out.Lacks, f.lacksPad()...)
	if doubt != "" {
		out.Notes = append(out.Notes, doubt)
	}
	if len(out.Lacks) > 0 {
		return out
	}
	a, err := shims.Next(*q)
	if err != nil {
		out.NoAnswer = err.Error()
		return out
	}
	if doubt != "" {
		a.Verdict = verdict.Not(verdict.Doubtful, "%s", doubt)
	}
	out.Answer = &a
	return out
}

// lacksPad says that the rocker has a pad whose radius is not set down.
func (f Facts) lacksPad() []string {
	if f.Engine.RockerTip == rocker.Pad && f.Engine.RockerTipRadius == 0 {
		return []string{LacksPad}
	}
	return nil
}

// mostPoses bounds what a picture may ask for.
const mostPoses = 500

// Rocker asks how the rocker moves, as the newest trial with a height difference
// has it, and how it would when square; with so many poses between closed and
// full lift, for a picture.
func (f Facts) Rocker(poses int) Asked[rocker.Question, rocker.Answer] {
	var out Asked[rocker.Question, rocker.Answer]
	out.Lacks, out.Notes = []string{}, []string{}
	q := &out.Question
	var doubt string
	q.ValveArm, q.AdjusterArm, q.RockerRatio, doubt = f.arms()
	q.Tip, q.TipRadius = f.Engine.RockerTip, f.Engine.RockerTipRadius
	q.Bend, q.BendU = bend(f.Engine.BallAboveLine, q.ValveArm, q.AdjusterArm, q.RockerRatio)
	if f.Engine.Limits.Square != 0 {
		q.Tolerance = &f.Engine.Limits.Square
	}
	q.Lift = f.drawnLift()
	q.Lash = f.Engine.CamCard.Lash().Of(f.Valve.Kind)
	for _, t := range f.Trials {
		if t.AdjusterBelowValve != nil {
			q.AdjusterBelowValve = t.AdjusterBelowValve
			if t.Lash != 0 {
				q.Lash = t.Lash
			}
		}
	}
	for i := range min(max(poses, 0), mostPoses) {
		q.AtLift = append(q.AtLift, q.Lift*measure.Length(i)/measure.Length(max(poses-1, 1)))
	}
	if q.RockerRatio == 0 && (q.ValveArm == 0 || q.AdjusterArm == 0) {
		out.Lacks = append(out.Lacks, LacksRatio)
	}
	out.Lacks = append(out.Lacks, f.lacksPad()...)
	if q.Lift == 0 {
		out.Lacks = append(out.Lacks, LacksLift)
	}
	if doubt != "" {
		out.Notes = append(out.Notes, doubt)
	}
	if len(out.Lacks) > 0 {
		return out
	}
	a, err := rocker.Solve(*q)
	if err != nil {
		out.NoAnswer = err.Error()
		return out
	}
	out.Answer = &a
	return out
}

// arms are those of the rocker. Where both were measured they say the ratio, and
// the ratio that is written down goes only into a note, if the two do not agree:
// a measured arm goes before a figure on a box, and somebody has to look.
func (f Facts) arms() (valveArm, adjusterArm measure.Length, ratio float64, doubt string) {
	e := f.Engine
	valveArm, adjusterArm, ratio = e.RockerArm, e.AdjusterArm, e.RockerRatio.Of(f.Valve.Kind)
	if valveArm == 0 || adjusterArm == 0 {
		return valveArm, adjusterArm, ratio, ""
	}
	made := float64(valveArm) / float64(adjusterArm)
	if ratio != 0 && math.Abs(ratio/made-1) > disagreeing {
		doubt = fmt.Sprintf("the arms make a rocker ratio of %.3g, and %.4g is written down for this engine: the arms were used; measure them again, or correct the ratio", made, ratio)
	}
	return valveArm, adjusterArm, 0, doubt
}

// bend is that of the rocker, from how far the adjuster's ball stands above the
// line through tip and pivot: sin(bend) = height / adjuster's arm. Without an arm
// it cannot be told and is nil.
func bend(above *measure.Length, valveArm, adjusterArm measure.Length, ratio float64) (angle, u *measure.Angle) {
	arm := adjusterArm.Millimetres()
	if arm == 0 && ratio != 0 {
		arm = valveArm.Millimetres() / ratio
	}
	if above == nil || arm <= 0 || above.Abs().Millimetres() >= arm {
		return nil, nil
	}
	deg := func(mm float64) *measure.Angle {
		return new(measure.FromDegrees(math.Asin(min(mm/arm, 1)) * 180 / math.Pi))
	}
	const ballU = 0.3 // mm, k = 2: a straight edge and a depth gauge; as the next shim takes it
	return deg(above.Millimetres()), deg(ballU)
}

// disagreeing is by how much of itself a nominal ratio may differ from what the
// arms make: 10 %, since a caliper on rounded ends is right to some 2 % an arm
// and a stamped ratio to 3 %. Common practice, no source.
const disagreeing = 0.10

// lift is the valve's full lift: of the newest trial that has one, else
// measured, else of the card; 0: not known.
func (f Facts) lift() measure.Length {
	for i := len(f.Trials) - 1; i >= 0; i-- {
		if l := f.Trials[i].MaxLift; l != nil && f.Trials[i].AdjusterBelowValve != nil {
			return *l
		}
	}
	return f.drawnLift()
}

// drawnLift is the lift as it was measured last, else of the card.
func (f Facts) drawnLift() measure.Length {
	if f.MaxLift != nil {
		return *f.MaxLift
	}
	return f.Engine.CamCard.MaxLift().Of(f.Valve.Kind)
}

// Limit puts the engine's limits into a question about clearances or a spring: of
// two limits for one gap, the question's and the engine's, the stricter holds,
// since the builder may have set either one later. Anything else stays.
func Limit(q any, e storage.Engine, kind valve.Kind) {
	l := e.Limits
	switch q := q.(type) {
	case *clearance.Question:
		if p := q.Piston; p != nil {
			if p.Valve == "" {
				p.Valve = string(kind)
			}
			of := valve.Kind(p.Valve)
			if of == "" {
				of = valve.Intake // as the calculation takes it
			}
			p.Limit = stricter(p.Limit, l.Piston().Of(of))
		}
		if c := q.CoilBind; c != nil {
			c.Limit = stricter(c.Limit, l.CoilBind)
		}
		if r := q.Retainer; r != nil {
			r.Limit = stricter(r.Limit, l.Retainer)
		}
		if s := q.Slot; s != nil {
			s.Limit = stricter(s.Limit, l.Rocker)
		}
	case *clearance.SpringQuestion:
		q.Limit = stricter(q.Limit, l.CoilBind)
	case *sweep.Question:
		if l.Square > 0 && (q.Tolerance == nil || *q.Tolerance > l.Square) {
			q.Tolerance = &l.Square
		}
	case *photo.Question:
		if l.Square > 0 && (q.Tolerance == nil || *q.Tolerance > l.Square) {
			q.Tolerance = &l.Square
		}
	}
}

// stricter is the greater of a question's least gap and the engine's; 0: none.
func stricter(asked *measure.Length, engine measure.Length) *measure.Length {
	if engine == 0 {
		return asked
	}
	own := verdict.Limits[measure.Length]{Least: asked}
	return own.Stricter(verdict.AtLeast(engine)).Least
}
