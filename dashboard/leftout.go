package dashboard

import (
	"cmp"
	"net/http"
	"slices"
	"strings"

	"lobescribe/capture/lift"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// scratched is the reason of an opening that was struck without one being
// said, as by a pedal.
const scratched = "scratched on the bench"

// strike is what is asked about an opening: which one, by a moment in it, and
// why.
type strike struct {
	At  *measure.Stamp `json:"t_s"`
	Why string         `json:"why"`
}

// nowLeftOut answers what is left out of a trace, and its new findings: null
// while it is under way.
type nowLeftOut struct {
	live.LeftOut
	Findings *lift.Findings `json:"findings"`
}

// leaveOut strikes an opening of a trace.
func (s *Server) leaveOut(w http.ResponseWriter, r *http.Request) error {
	id, err := traceID(r)
	if err != nil {
		return err
	}
	var ask strike
	if err := read(w, r, &ask); err != nil {
		return err
	}
	if ask.At == nil {
		return wrong("t_s", "Say with t_s which opening: a moment in it, in seconds of the trace.")
	}
	o, err := s.openingAt(r, id, *ask.At)
	if err != nil {
		return err
	}
	return s.strike(w, r, id, o, ask.Why)
}

// takeBack makes an opening count again that was left out.
func (s *Server) takeBack(w http.ResponseWriter, r *http.Request) error {
	id, err := traceID(r)
	if err != nil {
		return err
	}
	var at measure.Stamp
	if err := at.UnmarshalJSON([]byte(r.URL.Query().Get("t_s"))); err != nil {
		return wrong("t_s", "Say with ?t_s= which opening: a moment in it, in seconds of the trace.")
	}
	found := false
	return s.changeLeftOut(w, r, id, func(list []lift.LeftOut) []lift.LeftOut {
		return slices.DeleteFunc(slices.Clone(list), func(l lift.LeftOut) bool {
			in := l.From <= at && at <= l.Until
			found = found || in
			return in
		})
	}, func() error {
		if !found {
			return wrong("t_s", "No opening that was left out lies at %s.", at)
		}
		return nil
	})
}

// scratch strikes the last opening of the trace under way that still counts:
// the second press of a pedal.
func (s *Server) scratch(w http.ResponseWriter, r *http.Request) error {
	var ask strike
	if r.ContentLength != 0 {
		if err := read(w, r, &ask); err != nil {
			return err
		}
	}
	now := s.hub.Now()
	if now.Trace == nil || now.Trace.ID == 0 {
		return &problem{status: http.StatusConflict, says: "No trace is under way: an opening of an older one is left out on its own page."}
	}
	for _, o := range slices.Backward(now.Openings) {
		if !slices.ContainsFunc(now.LeftOut, func(l lift.LeftOut) bool { return l.From <= o.Nose && o.Nose <= l.Until }) {
			return s.strike(w, r, storage.ID(now.Trace.ID), o, ask.Why)
		}
	}
	return &problem{status: http.StatusConflict, says: "There is no opening yet that could be scratched."}
}

// unscratch takes back what was struck last in the trace under way.
func (s *Server) unscratch(w http.ResponseWriter, r *http.Request) error {
	now := s.hub.Now()
	if now.Trace == nil || len(now.LeftOut) == 0 {
		return &problem{status: http.StatusConflict, says: "Nothing was scratched in the trace under way."}
	}
	return s.changeLeftOut(w, r, storage.ID(now.Trace.ID), func(list []lift.LeftOut) []lift.LeftOut {
		return slices.Clone(list[:max(0, len(list)-1)])
	}, nil)
}

// strike adds one opening to what is left out.
func (s *Server) strike(w http.ResponseWriter, r *http.Request, id storage.ID, o lift.Opening, why string) error {
	if why = strings.TrimSpace(why); len(why) > longestRemark {
		return wrong("why", "why is longer than %d letters.", longestRemark)
	}
	return s.changeLeftOut(w, r, id, func(list []lift.LeftOut) []lift.LeftOut {
		kept := slices.DeleteFunc(slices.Clone(list), func(l lift.LeftOut) bool { return l.From <= o.Nose && o.Nose <= l.Until })
		return append(kept, lift.LeftOut{From: o.Open, Until: o.Close, Why: cmp.Or(why, scratched)})
	}, nil)
}

// openingAt finds the opening of a trace that a moment lies in, whether it
// counts or not.
func (s *Server) openingAt(r *http.Request, id storage.ID, at measure.Stamp) (lift.Opening, error) {
	var all []lift.Opening
	if now := s.hub.Now(); now.Trace != nil && storage.ID(now.Trace.ID) == id {
		all = append(all, now.Openings...) // told in the trace's own time
	}
	if sum, err := s.store.Summary(id); err != nil {
		return lift.Opening{}, err
	} else if !sum.Recording {
		f, err := s.findings(r, id)
		if err != nil {
			return lift.Opening{}, err
		}
		all = append(all, f.Openings...)
		for _, o := range f.LeftOut {
			all = append(all, o.Opening)
		}
	}
	for _, o := range all {
		if o.Open <= at && at <= o.Close {
			return o, nil
		}
	}
	return lift.Opening{}, wrong("t_s", "No opening of trace %s lies at %s.", id, at)
}

// changeLeftOut changes what is left out of a trace, works it out again, and
// tells every page. check, which may be nil, refuses what the change found.
func (s *Server) changeLeftOut(w http.ResponseWriter, r *http.Request, id storage.ID, change func([]lift.LeftOut) []lift.LeftOut, check func() error) error {
	head, err := s.store.Head(id)
	if err != nil {
		return err
	}
	change(head.LeftOut)
	if check != nil {
		if err := check(); err != nil {
			return err
		}
	}
	var list []lift.LeftOut
	if err := s.store.Amend(id, func(h *storage.Head) {
		list = change(h.LeftOut)
		h.LeftOut = list
	}); err != nil {
		return err
	}
	s.series.forget(id)
	if list == nil {
		list = []lift.LeftOut{}
	}
	sum, err := s.store.Summary(id)
	if err != nil {
		return err
	}
	out := nowLeftOut{LeftOut: live.LeftOut{Trace: id, List: list}}
	if !sum.Recording { // else they come when it ends
		f, err := s.bench.Findings(r.Context(), id)
		if err != nil {
			return err
		}
		out.Findings = &f
		if now := s.hub.Now(); now.Findings != nil && now.Findings.Trace == uint64(id) {
			s.hub.Publish(live.FindingsOf{Trace: uint64(id), Findings: f}, 0)
		}
	}
	s.hub.Publish(out.LeftOut, 0)
	answer(w, http.StatusOK, out)
	return nil
}

// findings of a trace as they are stored, or worked out now.
func (s *Server) findings(r *http.Request, id storage.ID) (lift.Findings, error) {
	return s.findingsOf(r, id, s.stored(id))
}

// stored are the findings of a trace as the store gives them.
type stored struct {
	findings lift.Findings
	err      error
}

func (s *Server) stored(id storage.ID) (of stored) {
	of.findings, of.err = s.store.Findings(id)
	return of
}

// findingsOf are the stored ones, or else worked out now.
func (s *Server) findingsOf(r *http.Request, id storage.ID, of stored) (lift.Findings, error) {
	if of.err != nil {
		// None were stored, or they do not read: the readings still hold them.
		return s.bench.Findings(r.Context(), id)
	}
	return of.findings, nil
}
