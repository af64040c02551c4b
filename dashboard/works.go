package dashboard

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"net/http"
	"strings"

	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/sheet"
	"lobescribe/storage"
)

func (s *Server) listWorks(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if _, err := s.store.Engine(id); err != nil && sheet.Damaged(err) == nil {
		return err
	}
	all, err := s.store.Works(id)
	kind, valve := r.URL.Query().Get("kind"), r.URL.Query().Get("valve")
	list := []storage.Work{}
	for _, one := range all {
		if (kind == "" || string(one.Kind) == kind) && (valve == "" || one.Valve == valve) {
			list = append(list, one)
		}
	}
	if err := partly(err, len(list)); err != nil {
		return err
	}
	answer(w, http.StatusOK, list)
	return nil
}

func (s *Server) addWork(w http.ResponseWriter, r *http.Request) error {
	var work storage.Work
	if err := read(w, r, &work); err != nil {
		return err
	}
	work.Rev = 0
	if work.ID != "" {
		return wrong("id", "A new work is given its id: leave it out.")
	}
	engine := r.PathValue("id")
	if work.Engine = cmp.Or(work.Engine, engine); work.Engine != engine {
		return wrong("engine", "The engine is %q and the address says %q: which is meant?", work.Engine, engine)
	}
	return s.putWork(w, r, work, http.StatusCreated)
}

func (s *Server) changeWork(w http.ResponseWriter, r *http.Request) error {
	var work storage.Work
	if err := read(w, r, &work); err != nil {
		return err
	}
	if err := sameID(&work.ID, r.PathValue("id")); err != nil {
		return err
	}
	if _, err := s.store.Work(work.ID); err != nil && sheet.Damaged(err) == nil {
		return err // a new one is given its id by the store
	}
	if work.Rev == 0 {
		return wrong("rev", "rev is missing: send the work as it was read, with its revision.")
	}
	return s.putWork(w, r, work, http.StatusOK)
}

func (s *Server) putWork(w http.ResponseWriter, r *http.Request, work storage.Work, status int) error {
	if work.At.IsZero() {
		work.At = s.o.Clock().UTC()
	}
	check := work
	check.ID = cmp.Or(check.ID, "new")
	if err := check.Validate(); err != nil {
		return err
	}
	e, err := s.store.Engine(work.Engine)
	if err != nil {
		return err
	}
	if work.Valve != "" {
		if err := e.CheckValve(nil, work.Valve); err != nil {
			return err
		}
	}
	if err := s.wellPut(r.Context(), work); err != nil {
		return err
	}
	if work, err = s.store.PutWork(work); err != nil {
		return err
	}
	answer(w, status, work)
	return nil
}

// wellPut refuses a question that its calculation would not read or would not
// take. One that is well put and has no answer is kept: it is what was typed,
// and the build sheet says why there is none.
func (s *Server) wellPut(ctx context.Context, work storage.Work) error {
	done, err := s.alone(ctx)
	if err != nil {
		return err
	}
	defer done()
	_, err = s.calc[string(work.Kind)].solve(bytes.NewReader(work.Question), nil)
	var p *worksheet.Problem
	if errors.As(err, &p) {
		return wrong(strings.TrimSuffix("question."+p.Field, "."), "%s", sentence(p))
	}
	return nil
}

func (s *Server) deleteWork(w http.ResponseWriter, r *http.Request) error {
	rev, err := revision(r)
	if err != nil {
		return err
	}
	if err := s.store.DeleteWork(r.PathValue("id"), rev); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
