package dashboard

import (
	"cmp"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"lobescribe/capture/valve"
	"lobescribe/dashboard/sheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func (s *Server) listEngines(w http.ResponseWriter, _ *http.Request) error {
	list, err := s.store.Engines()
	if err := partly(err, len(list)); err != nil {
		return err
	}
	answer(w, http.StatusOK, list)
	return nil
}

// partly lets a list of n pass of which something does not read, which must not
// hide the others; but not an empty one, which would say that there is nothing.
// What does not read is repaired, and told of by the record of that.
func partly(err error, n int) error {
	if err != nil && n > 0 && sheet.Damaged(err) != nil {
		return nil
	}
	return err
}

func (s *Server) addEngine(w http.ResponseWriter, r *http.Request) error {
	var e storage.Engine
	if err := read(w, r, &e); err != nil {
		return err
	}
	e.Rev = 0
	if e.ID != "" {
		return s.putEngine(w, e, http.StatusCreated)
	}
	// Named by its name, and by a number behind it when that is taken.
	stem := cmp.Or(slugOf(e.Name), "engine")
	for n := 1; n < 100; n++ {
		e.ID = stem
		if n > 1 {
			e.ID += "-" + strconv.Itoa(n)
		}
		if _, err := s.store.Engine(e.ID); errors.Is(err, storage.ErrNotFound) {
			return s.putEngine(w, e, http.StatusCreated)
		}
	}
	return wrong("id", "There are many engines of this name already: give this one an id of its own.")
}

// slugOf makes an id of a name: small letters, digits and single hyphens.
func slugOf(name string) string {
	var b strings.Builder
	for _, c := range strings.ToLower(name) {
		switch {
		case c < unicode.MaxASCII && (unicode.IsLetter(c) || unicode.IsDigit(c)):
			b.WriteRune(c)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() == 48 {
			break
		}
	}
	return strings.Trim(b.String(), "-")
}

func (s *Server) changeEngine(w http.ResponseWriter, r *http.Request) error {
	var e storage.Engine
	if err := read(w, r, &e); err != nil {
		return err
	}
	if err := sameID(&e.ID, r.PathValue("id")); err != nil {
		return err
	}
	if e.Rev == 0 {
		if _, err := s.store.Engine(e.ID); err == nil {
			return wrong("rev", "rev is missing: send the engine as it was read, with its revision.")
		}
	}
	return s.putEngine(w, e, http.StatusOK)
}

// sameID fills in the id of the address, and refuses another.
func sameID(id *string, path string) error {
	*id = cmp.Or(*id, path)
	if *id != path {
		return wrong("id", "The id is %q and the address says %q: which is meant?", *id, path)
	}
	return nil
}

func (s *Server) putEngine(w http.ResponseWriter, e storage.Engine, status int) error {
	e, err := s.store.PutEngine(e)
	if err != nil {
		return err
	}
	answer(w, status, e)
	return nil
}

func (s *Server) showEngine(w http.ResponseWriter, r *http.Request) error {
	e, err := s.store.Engine(r.PathValue("id"))
	if err != nil {
		return err
	}
	answer(w, http.StatusOK, e)
	return nil
}

func (s *Server) deleteEngine(w http.ResponseWriter, r *http.Request) error {
	rev, err := revision(r)
	if err != nil {
		return err
	}
	id := r.PathValue("id")
	if err := s.store.DeleteEngine(id, rev); err != nil {
		return err
	}
	if s.hub.Now().Bench.Engine == id {
		if _, err := s.choose(r.Context(), benchChange{Engine: new("")}); err != nil {
			return err
		}
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// revision is the ?rev= of a deletion: what was looked at before.
func revision(r *http.Request) (storage.Rev, error) {
	v, err := strconv.ParseUint(r.URL.Query().Get("rev"), 10, 64)
	if err != nil {
		return 0, wrong("rev", "rev is missing: say with ?rev= which revision is to be deleted.")
	}
	return storage.Rev(v), nil
}

// valveState is what is known of a valve, for the map of the engine.
type valveState struct {
	Valve    string          `json:"valve"` // its name, "3I"
	Cylinder int             `json:"cylinder"`
	Kind     valve.Kind      `json:"kind"`
	Own      string          `json:"own,omitempty"` // what the builder calls it
	Traces   int             `json:"traces"`
	Trials   int             `json:"trials"`
	MaxLift  *measure.Length `json:"max_lift_mm"` // of the newest trace that has one
	Trace    storage.ID      `json:"trace,omitempty"`
	// MaxLiftU is its expanded uncertainty. Off is how far it is from the median of
	// the others of its kind, Beyond that this is more than both uncertainties
	// explain; absent where nothing is there to compare with.
	MaxLiftU *measure.Length `json:"max_lift_u_mm,omitempty"`
	Off      *measure.Length `json:"off_mm,omitempty"`
	Beyond   bool            `json:"beyond,omitempty"`
	// Again says what was changed since that trace, so that it is to be measured
	// again.
	Again   string   `json:"again,omitempty"`
	Missing []string `json:"missing"`
}

// What can be missing of a valve, in the order of the work.
const (
	missingLift   = "max lift"
	missingAngle  = "crank angle"
	missingTrial  = "trial"
	missingHeight = "height at half lift"
)

func (s *Server) valves(w http.ResponseWriter, r *http.Request) error {
	e, err := s.store.Engine(r.PathValue("id"))
	if err != nil {
		return err
	}
	traces, err := s.store.Traces(storage.Query{Engine: e.ID, Counting: true})
	if err != nil {
		return err
	}
	trials, err := s.store.Trials(e.ID)
	if err != nil && sheet.Damaged(err) == nil {
		return err
	}
	list := []valveState{}
	var lifts []sheet.KindLift
	for _, v := range e.Valves() {
		one := stateOf(v, traces, trials)
		one.Own = e.ValveNames[one.Valve]
		if one.Trace != 0 {
			if f, err := s.store.Findings(one.Trace); err == nil { // a damaged one is compared with nothing
				one.MaxLiftU = &f.MaxLiftU
				one.Again = changedSince(one, traces, trials)
				lifts = append(lifts, sheet.KindLift{Valve: one.Valve, Kind: one.Kind, MaxLift: f.MaxLift, U: f.MaxLiftU})
			}
		}
		list = append(list, one)
	}
	off := sheet.OffKind(lifts)
	for i := range list {
		if o, ok := off[list[i].Valve]; ok {
			list[i].Off, list[i].Beyond = &o.By, o.Beyond
		}
	}
	answer(w, http.StatusOK, list)
	return nil
}

// changedSince says what of the set-up was changed after the trace that a valve's
// max lift stands on.
func changedSince(v valveState, traces []storage.Summary, trials []storage.Trial) string {
	own := slices.DeleteFunc(slices.Clone(trials), func(t storage.Trial) bool { return t.Valve != v.Valve })
	for _, t := range traces {
		if t.ID == v.Trace {
			return sheet.Since(t.Started, own, time.Local)
		}
	}
	return ""
}

// stateOf sums up a valve from the traces (newest first) and trials of its
// engine.
func stateOf(one valve.Valve, traces []storage.Summary, trials []storage.Trial) valveState {
	name := one.String()
	v := valveState{Valve: name, Cylinder: one.Cylinder, Kind: one.Kind, Missing: []string{}}
	angle, height := false, false
	for _, t := range traces {
		if t.Valve != name {
			continue
		}
		v.Traces++
		if t.MaxLift != nil {
			angle = angle || t.HasAngle
			if v.MaxLift == nil {
				v.MaxLift, v.Trace = t.MaxLift, t.ID
			}
		}
	}
	for _, t := range trials {
		if t.Valve == name {
			v.Trials++
			height = height || t.AdjusterBelowValve != nil
		}
	}
	for _, m := range []struct {
		word string
		have bool
	}{{missingLift, v.MaxLift != nil}, {missingAngle, angle}, {missingTrial, v.Trials > 0}, {missingHeight, height}} {
		if !m.have {
			v.Missing = append(v.Missing, m.word)
		}
	}
	return v
}

func (s *Server) listTrials(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if _, err := s.store.Engine(id); err != nil && sheet.Damaged(err) == nil {
		return err
	}
	all, err := s.store.Trials(id)
	of := r.URL.Query().Get("valve")
	list := []storage.Trial{}
	for _, t := range all {
		if of == "" || t.Valve == of {
			list = append(list, t)
		}
	}
	if err := partly(err, len(list)); err != nil {
		return err
	}
	answer(w, http.StatusOK, list)
	return nil
}

func (s *Server) addTrial(w http.ResponseWriter, r *http.Request) error {
	var t storage.Trial
	if err := read(w, r, &t); err != nil {
		return err
	}
	t.Rev = 0
	if t.ID != "" {
		return wrong("id", "A new trial is given its id: leave it out.")
	}
	engine := r.PathValue("id")
	if t.Engine = cmp.Or(t.Engine, engine); t.Engine != engine {
		return wrong("engine", "The engine is %q and the address says %q: which is meant?", t.Engine, engine)
	}
	if t.At.IsZero() {
		t.At = s.o.Clock().UTC()
	}
	return s.putTrial(w, t, http.StatusCreated)
}

func (s *Server) changeTrial(w http.ResponseWriter, r *http.Request) error {
	var t storage.Trial
	if err := read(w, r, &t); err != nil {
		return err
	}
	if err := sameID(&t.ID, r.PathValue("id")); err != nil {
		return err
	}
	if _, err := s.store.Trial(t.ID); err != nil && sheet.Damaged(err) == nil {
		return err // a new one is given its id by the store
	}
	if t.Rev == 0 {
		return wrong("rev", "rev is missing: send the trial as it was read, with its revision.")
	}
	return s.putTrial(w, t, http.StatusOK)
}

func (s *Server) putTrial(w http.ResponseWriter, t storage.Trial, status int) error {
	e, err := s.store.Engine(t.Engine)
	if err != nil {
		return err
	}
	if err := e.CheckValve(nil, t.Valve); err != nil {
		return err
	}
	check := t
	check.ID = cmp.Or(check.ID, "new")
	if err := check.Validate(); err != nil {
		return err
	}
	t, err = s.store.PutTrial(t)
	if err != nil {
		return err
	}
	answer(w, status, t)
	return nil
}

func (s *Server) deleteTrial(w http.ResponseWriter, r *http.Request) error {
	rev, err := revision(r)
	if err != nil {
		return err
	}
	id := r.PathValue("id")
	if err := s.store.DeleteTrial(id, rev); err != nil {
		return err
	}
	if s.hub.Now().Bench.Trial == id {
		if _, err := s.choose(r.Context(), benchChange{Trial: new("")}); err != nil {
			return err
		}
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
