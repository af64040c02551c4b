package dashboard

import (
	"cmp"
	"math"
	"net/http"

	"lobescribe/capture/replay"
	"lobescribe/dashboard/sheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// The speeds a replay can have: from a crawl to a day's work in a minute.
const (
	slowest = 0.01
	fastest = 1000.0
)

func goodRate(rate float64) error {
	if math.IsNaN(rate) || rate < slowest || rate > fastest {
		return wrong("rate", "rate should be a number from %v to %v: 1 is as fast as the engine was turned.", slowest, fastest)
	}
	return nil
}

// replayStart asks for a replay. A rate of 0 is the engine's own.
type replayStart struct {
	Trace storage.ID    `json:"trace"`
	Rate  float64       `json:"rate"`
	From  measure.Stamp `json:"from_s"`
}

func (s *Server) startReplay(w http.ResponseWriter, r *http.Request) error {
	var ask replayStart
	if err := read(w, r, &ask); err != nil {
		return err
	}
	if ask.Trace == 0 {
		return wrong("trace", "trace is missing: give the number of a trace.")
	}
	ask.Rate = cmp.Or(ask.Rate, 1)
	if err := goodRate(ask.Rate); err != nil {
		return err
	}
	if ask.From < 0 || ask.From > longest {
		return wrong("from_s", "from_s should be a number of seconds into the trace.")
	}
	if _, err := s.store.Head(ask.Trace); err != nil {
		if sheet.Damaged(err) == nil {
			return err
		}
	}
	if err := s.bench.StartReplay(r.Context(), ask.Trace, ask.Rate, ask.From); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (s *Server) adjustReplay(w http.ResponseWriter, r *http.Request) error {
	var change replay.Change
	if err := read(w, r, &change); err != nil {
		return err
	}
	if change.Rate != nil {
		if err := goodRate(*change.Rate); err != nil {
			return err
		}
	}
	if change.At != nil && (*change.At < 0 || *change.At > longest) {
		return wrong("at_s", "at_s should be a number of seconds into the trace.")
	}
	if err := s.bench.AdjustReplay(change); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (s *Server) stopReplay(w http.ResponseWriter, _ *http.Request) error {
	s.bench.StopReplay()
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (s *Server) mark(w http.ResponseWriter, _ *http.Request) error {
	s.bench.Mark()
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (s *Server) unmark(w http.ResponseWriter, _ *http.Request) error {
	s.bench.Unmark()
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (s *Server) endTrace(w http.ResponseWriter, _ *http.Request) error {
	s.bench.EndTrace()
	w.WriteHeader(http.StatusNoContent)
	return nil
}
