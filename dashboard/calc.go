package dashboard

import (
	"bytes"
	"errors"
	"io"
	"net/http"

	"lobescribe/capture/clearance"
	"lobescribe/capture/rocker"
	"lobescribe/capture/rocker/photo"
	"lobescribe/capture/rocker/pushrod"
	"lobescribe/capture/rocker/shims"
	"lobescribe/capture/rocker/sweep"
	"lobescribe/capture/timing"
	"lobescribe/capture/valve"
	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/question"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// calculation answers a question in JSON: the same question and the same
// answer as on the command line. limit, which may be nil, is given a pointer to
// the question before it is answered.
type calculation struct {
	solve         func(question io.Reader, limit func(any)) (any, error)
	asks, answers any // zero values of both
}

// asked makes a calculation of the function that does it.
func asked[Q, A any](solve func(Q) (A, error)) calculation {
	do := func(r io.Reader, limit func(any)) (any, error) {
		var q Q
		if err := worksheet.Read(r, &q); err != nil {
			return nil, err
		}
		if limit != nil {
			limit(&q)
		}
		return solve(q)
	}
	return calculation{solve: do, asks: *new(Q), answers: *new(A)}
}

func calculations() map[string]calculation {
	return map[string]calculation{
		"shims":     asked(shims.Next),
		"pushrod":   asked(pushrod.Solve),
		"rocker":    asked(rocker.Solve),
		"photo":     asked(photo.Solve),
		"sweep":     asked(sweep.Solve),
		"timing":    asked(timing.Compute),
		"clearance": asked(clearance.Solve),
		"spring":    asked(clearance.SolveSpring),
		"cosine":    asked(rocker.Lean),
	}
}

func (s *Server) calculate(w http.ResponseWriter, r *http.Request) error {
	do, ok := s.calc[r.PathValue("what")]
	if !ok {
		return &problem{status: http.StatusNotFound, says: "There is no calculation of this name."}
	}
	body, err := body(w, r, worksheet.MostBytes)
	if err != nil {
		return err
	}
	done, err := s.alone(r.Context())
	if err != nil {
		return err
	}
	defer done()
	limit, err := s.limits(r)
	if err != nil {
		return err
	}
	result, err := do.solve(bytes.NewReader(body), limit)
	if err != nil {
		return unanswered(err)
	}
	answerIn(w, r, result)
	return nil
}

// answerIn writes an answer with its sentences in the unit of ?unit=; without it
// in millimetres. Figures are not touched: their keys say their unit.
func answerIn(w http.ResponseWriter, r *http.Request, v any) {
	u, _ := measure.ParseUnit(r.URL.Query().Get("unit"))
	answer(w, http.StatusOK, worksheet.InUnit(v, u))
}

// limits returns what puts the limits of the engine that ?engine= names, for the
// valve of ?valve=, into a question; nil where none is named.
func (s *Server) limits(r *http.Request) (func(any), error) {
	id, name := r.URL.Query().Get("engine"), r.URL.Query().Get("valve")
	if id == "" {
		return nil, nil
	}
	e, err := s.store.Engine(id)
	if err != nil {
		return nil, err
	}
	if name != "" {
		if err := e.CheckValve(nil, name); err != nil {
			return nil, err
		}
	}
	return func(q any) { question.Limit(q, e, valve.KindOf(name)) }, nil
}

// nextStack answers which stack a valve's trials ask for.
func (s *Server) nextStack(w http.ResponseWriter, r *http.Request) error {
	return s.ofValve(w, r, func(f question.Facts) any { return f.Next() })
}

// rockerOf answers how a valve's rocker moves.
func (s *Server) rockerOf(w http.ResponseWriter, r *http.Request) error {
	poses, err := wholeNumber(r.URL.Query().Get("poses"), "poses", 0, 0, 500)
	if err != nil {
		return err
	}
	return s.ofValve(w, r, func(f question.Facts) any { return f.Rocker(poses) })
}

// sweepOf answers where a valve's rocker is square, out of its sweep traces: those
// that are named, or the newest that go together.
func (s *Server) sweepOf(w http.ResponseWriter, r *http.Request) error {
	ask := r.URL.Query()
	pick := question.SweepTraces{Engine: r.PathValue("id"), Valve: ask.Get("valve"), NoReference: ask.Get("reference") == "none"}
	if _, err := question.Gather(s.store, pick.Engine, pick.Valve); err != nil {
		return err
	}
	for _, one := range []struct {
		field string
		to    *storage.ID
	}{{"turn", &pick.Turn}, {"reference", &pick.Reference}, {"lift_turn", &pick.LiftTurn}} {
		text := ask.Get(one.field)
		if text == "" || text == "none" && pick.NoReference {
			continue
		}
		id, err := storage.ParseID(text)
		if err != nil {
			return wrong(one.field, "%s", sentence(err))
		}
		*one.to = id
	}
	done, err := s.alone(r.Context())
	if err != nil {
		return err
	}
	defer done()
	a, err := question.AskSweep(s.store, pick)
	if err != nil {
		return err
	}
	answerIn(w, r, a)
	return nil
}

// ofValve answers what is asked about the valve of ?valve=, out of what is
// stored of it.
func (s *Server) ofValve(w http.ResponseWriter, r *http.Request, ask func(question.Facts) any) error {
	facts, err := question.Gather(s.store, r.PathValue("id"), r.URL.Query().Get("valve"))
	if err != nil {
		return err
	}
	done, err := s.alone(r.Context())
	if err != nil {
		return err
	}
	defer done()
	answerIn(w, r, ask(facts))
	return nil
}

// unanswered tells a question that was not well put (400, with the field) from
// one that is well put and has no answer (422).
func unanswered(err error) error {
	var p *worksheet.Problem
	if errors.As(err, &p) {
		return wrong(p.Field, "%s", sentence(p))
	}
	return &problem{status: http.StatusUnprocessableEntity, says: sentence(err)}
}
