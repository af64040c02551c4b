package dashboard

import (
	"math"
	"net/http"
	"slices"
	"strings"

	"lobescribe/capture/timing"
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
	// Spread is largest minus least. SpreadU is its expanded uncertainty, k = 2,
	// of the two that make it (JCGM 100:2008, 5.1.2).
	Spread  measure.Length `json:"spread_mm"`
	SpreadU measure.Length `json:"spread_u_mm"`
	// Least is what a difference must come to before it is worth a word: 0.05 mm,
	// or what two readings may differ by their own uncertainty.
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
	// Outlier: it stands out by the same rule as a valve among its neighbours,
	// see timing.Member; never with fewer than three.
	Outlier bool `json:"outlier"`
}

// leastWorth is the least difference worth a word: 0.05 mm, 0.002 in; common
// practice, no source.
const leastWorth = 50 * measure.Micrometre

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
	v := valveSpread{Valve: valve, Count: len(members), Members: members}
	low, high, largest := members[0], members[0], measure.Length(0)
	figures := make([]timing.Figures, len(members))
	for i, m := range members {
		figures[i] = timing.Figures{Name: m.Engine, MaxLift: m.MaxLift}
		largest = max(largest, m.U)
		if m.MaxLift < low.MaxLift {
			low = m
		}
		if m.MaxLift > high.MaxLift {
			high = m
		}
	}
	v.Spread = high.MaxLift - low.MaxLift
	if len(members) > 1 {
		v.SpreadU = hypot(high.U, low.U)
	}
	v.Least = max(leastWorth, hypot(largest, largest))
	c, err := timing.CompareValves(figures, timing.CompareOptions{LiftU: v.Least})
	if err != nil {
		return v, err
	}
	g := c.Groups[0] // nothing but max lift was given
	v.Median = measure.FromMillimetres(g.Median)
	for i, m := range g.Members {
		v.Members[i].Off, v.Members[i].Outlier = measure.FromMillimetres(m.Off), m.Outlier
	}
	return v, nil
}

func hypot(a, b measure.Length) measure.Length {
	return measure.Length(math.Ceil(math.Hypot(float64(a), float64(b))))
}
