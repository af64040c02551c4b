package dashboard

import (
	"lobescribe/dashboard/live"
	"net/http"
)

// listRepairs tells which repairs the store has had; with ?all also those that
// somebody has dismissed.
func (s *Server) listRepairs(w http.ResponseWriter, r *http.Request) error {
	all, err := s.store.Repairs(!r.URL.Query().Has("all"))
	if err != nil {
		return err
	}
	answer(w, http.StatusOK, all)
	return nil
}

// dismissRepair notes that somebody has read what a repair has cost. The record
// stays in the store.
func (s *Server) dismissRepair(w http.ResponseWriter, r *http.Request) error {
	if err := s.store.DismissRepair(r.PathValue("id"), s.o.Clock()); err != nil {
		return err
	}
	open, err := s.store.Repairs(true)
	if err != nil {
		return err
	}
	s.hub.Publish(live.RepairsOf(open), 0)
	w.WriteHeader(http.StatusNoContent)
	return nil
}
