package dashboard

import "net/http"

func (s *Server) showProof(w http.ResponseWriter, _ *http.Request) error {
	answer(w, http.StatusOK, s.bench.ProofNow())
	return nil
}

func (s *Server) beginProving(w http.ResponseWriter, r *http.Request) error {
	return s.proving(w, s.bench.BeginProving(r.Context()))
}

func (s *Server) finishProving(w http.ResponseWriter, r *http.Request) error {
	return s.proving(w, s.bench.FinishProving(r.Context()))
}

func (s *Server) dropProving(w http.ResponseWriter, _ *http.Request) error {
	s.bench.DropProving()
	return s.proving(w, nil)
}

// proving answers that it is so, or why it cannot be now. How it goes from there
// comes over the live socket.
func (s *Server) proving(w http.ResponseWriter, err error) error {
	if err != nil {
		return &problem{status: http.StatusConflict, says: sentence(err)}
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
