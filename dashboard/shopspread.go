package dashboard

import (
	"net/http"
	"slices"
	"strings"

	"lobescribe/capture/spread"
	"lobescribe/capture/valve"
	"lobescribe/dashboard/sheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// typeSpread compares the engines of one type, valve by valve.
type typeSpread struct {
	Type    string        `json:"type"`
	Engines []string      `json:"engines"`
	Valves  []valveSpread `json:"valves"`
}

// valveSpread is one valve's max lift over the engines.
type valveSpread struct {
	Valve  string         `json:"valve"`
	Count  int            `json:"count"` // engines that have it measured
	Median measure.Length `json:"median_mm"`
	// Spread and SpreadU, Least, Off and Outlier are those of package spread.
	Spread  measure.Length `json:"spread_mm"`
	SpreadU measure.Length `json:"spread_u_mm"`
	Least   measure.Length `json:"least_mm"`
	Members []spreadMember `json:"members"`
}

// spreadMember is one engine's newest max lift of a valve.
type spreadMember struct {
	Engine  string         `json:"engine"`
	Trace   storage.ID     `json:"trace"`
	MaxLift measure.Length `json:"max_lift_mm"`
	U       measure.Length `json:"max_lift_u_mm"`
	Off     measure.Length `json:"off_mm"` // from the median
	Outlier bool           `json:"outlier"`
}

// showSpread answers with the engines of one type against each other. It is of
// any store: one bench's, or a shop's.
func (s *Server) showSpread(w http.ResponseWriter, r *http.Request) error {
	kind := strings.TrimSpace(r.URL.Query().Get("type"))
	if kind == "" {
		return wrong("type", "Which type? Write ?type= as the engines have it.")
	}
	done, err := s.alone(r.Context())
	if err != nil {
		return err
	}
	defer done()
	all, err := s.store.Engines()
	if err != nil && sheet.Damaged(err) == nil {
		return err
	}
	out := typeSpread{Type: kind, Engines: []string{}, Valves: []valveSpread{}}
	lifts := map[string][]spreadMember{} // by valve
	var valves []string
	for _, e := range all {
		if !sameType(e.Type, kind) {
			continue
		}
		out.Engines = append(out.Engines, e.ID)
		newest, err := s.newestLifts(e)
		if err != nil {
			return err
		}
		for _, name := range valve.Names(e.Valves()) {
			m, ok := newest[name]
			if !ok {
				continue
			}
			if lifts[name] == nil {
				valves = append(valves, name)
			}
			lifts[name] = append(lifts[name], m)
		}
	}
	slices.SortFunc(valves, valve.CompareNames)
	for _, name := range valves {
		v, err := spreadOf(name, lifts[name])
		if err != nil {
			return err
		}
		out.Valves = append(out.Valves, v)
	}
	answer(w, http.StatusOK, out)
	return nil
}

// sameType says whether two types are one: people write them by hand.
func sameType(a, b string) bool {
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

// newestLifts returns each valve's newest max lift, and what it is of.
func (s *Server) newestLifts(e storage.Engine) (map[string]spreadMember, error) {
	traces, err := s.store.Traces(storage.Query{Engine: e.ID})
	if err != nil {
		return nil, err
	}
	newest := map[string]spreadMember{}
	for _, t := range traces { // newest first
		if _, had := newest[t.Valve]; had || t.MaxLift == nil {
			continue
		}
		m := spreadMember{Engine: e.ID, Trace: t.ID, MaxLift: *t.MaxLift}
		if f, err := s.store.Findings(t.ID); err == nil {
			m.MaxLift, m.U = f.MaxLift, f.MaxLiftU
		}
		newest[t.Valve] = m
	}
	return newest, nil
}

// spreadOf compares one valve over the engines.
func spreadOf(valve string, members []spreadMember) (valveSpread, error) {
	lifts := make([]spread.Lift, len(members))
	for i, m := range members {
		lifts[i] = spread.Lift{Engine: m.Engine, Max: m.MaxLift, U: m.U}
	}
	s, err := spread.Of(lifts)
	v := valveSpread{Valve: valve, Count: len(members), Median: s.Median, Spread: s.Range, SpreadU: s.RangeU, Least: s.Least, Members: members}
	for i, at := range s.Each {
		v.Members[i].Off, v.Members[i].Outlier = at.Off, at.Outlier
	}
	return v, err
}
