package dashboard

import (
	"context"
	"errors"
	"net/http"

	"lobescribe/dashboard/live"
	"lobescribe/dashboard/sheet"
	"lobescribe/storage"
)

func (s *Server) showBench(w http.ResponseWriter, _ *http.Request) error {
	answer(w, http.StatusOK, s.hub.Now().Bench)
	return nil
}

// benchChange is what to select; nil leaves it.
type benchChange struct {
	Engine *string `json:"engine"`
	Valve  *string `json:"valve"`
	Trial  *string `json:"trial"`
	// Against is what the sweep gauge lies against: "tip" or "side".
	Against *string `json:"against"`
	// Cylinder and Kind may be sent back as they were read; Valve says them.
	Cylinder any `json:"cylinder"`
	Kind     any `json:"kind"`
}

func (s *Server) changeBench(w http.ResponseWriter, r *http.Request) error {
	var change benchChange
	if err := read(w, r, &change); err != nil {
		return err
	}
	now, err := s.choose(r.Context(), change)
	if err != nil {
		return err
	}
	answer(w, http.StatusOK, now)
	return nil
}

// choose changes the selection, keeps it, and tells every page.
func (s *Server) choose(ctx context.Context, change benchChange) (live.Selection, error) {
	// The devices are remembered in the same document, by somebody else: try
	// again when that got in between. The selection is not worth a conflict.
	for {
		b, err := s.store.Bench()
		if err != nil && sheet.Damaged(err) == nil {
			return live.Selection{}, err
		}
		if err := s.apply(change, &b); err != nil {
			return live.Selection{}, err
		}
		_, err = s.store.PutBench(b)
		if (errors.Is(err, storage.ErrStale) || errors.Is(err, storage.ErrExists)) && ctx.Err() == nil {
			continue
		}
		if err != nil {
			return live.Selection{}, err
		}
		now := live.SelectionOf(b)
		s.bench.Selected(now)
		s.hub.Publish(now, 0)
		return now, nil
	}
}

// apply changes the selection of b, in the order engine, valve, trial: what
// was chosen of another engine does not stay.
func (s *Server) apply(change benchChange, b *storage.Bench) error {
	if change.Engine != nil && *change.Engine != b.Engine {
		b.Engine, b.Valve, b.Trial = *change.Engine, "", ""
	}
	if change.Valve != nil && *change.Valve != b.Valve {
		b.Valve, b.Trial = *change.Valve, ""
	}
	if change.Trial != nil {
		b.Trial = *change.Trial
	}
	if change.Against != nil {
		a, err := storage.ParseAgainst(*change.Against)
		if err != nil {
			return wrong("against", "%s", sentence(err))
		}
		b.Against = a
	}
	var e storage.Engine
	if b.Engine != "" {
		var err error
		if e, err = s.store.Engine(b.Engine); err != nil {
			return wrong("engine", "There is no engine %q.", b.Engine)
		}
	}
	if b.Valve != "" {
		if b.Engine == "" {
			return wrong("valve", "A valve is of an engine: choose the engine first.")
		}
		if err := e.CheckValve(nil, b.Valve); err != nil {
			return err
		}
	}
	return s.isTrial(b.Trial, b.Engine, b.Valve)
}

// isTrial says whether a trial ("" for none) is one of a valve.
func (s *Server) isTrial(id, engine, valve string) error {
	if id == "" {
		return nil
	}
	t, err := s.store.Trial(id)
	if err != nil || t.Engine != engine || t.Valve != valve {
		return wrong("trial", "There is no trial %q of this valve.", id)
	}
	return nil
}

func (s *Server) showSettings(w http.ResponseWriter, _ *http.Request) error {
	answer(w, http.StatusOK, live.Settings{Units: s.hub.Now().Units})
	return nil
}

func (s *Server) changeSettings(w http.ResponseWriter, r *http.Request) error {
	var want live.Settings
	if err := read(w, r, &want); err != nil {
		return err
	}
	if want.Units != "in" && want.Units != "mm" {
		return wrong("units", `units should be "in" or "mm", not %q.`, want.Units)
	}
	if err := s.bench.KeepSettings(r.Context(), want); err != nil {
		return err
	}
	s.hub.Publish(want, 0)
	answer(w, http.StatusOK, want)
	return nil
}

// greetHub tells the hub what the store remembers.
func (s *Server) greetHub() error {
	b, err := s.store.Bench()
	if err != nil && sheet.Damaged(err) == nil {
		return err
	}
	s.hub.Publish(live.SelectionOf(b), 0)
	return nil
}
