package dashboard

import (
	"bytes"
	"errors"
	"io"
	"net/http"

	"lobescribe/capture/clearance"
	"lobescribe/capture/rocker"
	"lobescribe/capture/rocker/pushrod"
	"lobescribe/capture/rocker/shims"
	"lobescribe/capture/timing"
	"lobescribe/capture/worksheet"
)

// calculation answers a question in JSON: the same question and the same
// answer as on the command line.
type calculation func(question io.Reader) (any, error)

// asked makes a calculation of the function that does it.
func asked[Q, A any](solve func(Q) (A, error)) calculation {
	return func(r io.Reader) (any, error) {
		var q Q
		if err := worksheet.Read(r, &q); err != nil {
			return nil, err
		}
		return solve(q)
	}
}

func calculations() map[string]calculation {
	return map[string]calculation{
		"shims":     asked(shims.Next),
		"pushrod":   asked(pushrod.Solve),
		"rocker":    asked(rocker.Solve),
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
	result, err := do(bytes.NewReader(body))
	if err != nil {
		return unanswered(err)
	}
	answer(w, http.StatusOK, result)
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
