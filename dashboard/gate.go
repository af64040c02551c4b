package dashboard

import (
	"net/http"
	"slices"
	"strings"

	"lobescribe/dashboard/sheet"
	"lobescribe/storage"
)

// showGate answers what must hold before metal is cut, as the sheet has it.
func (s *Server) showGate(w http.ResponseWriter, r *http.Request) error {
	done, err := s.alone(r.Context())
	if err != nil {
		return err
	}
	defer done()
	d, err := sheet.Gather(s.store, r.PathValue("id"), sheet.Options{Made: s.o.Clock(), Version: s.o.Version})
	if err != nil {
		return err
	}
	answer(w, http.StatusOK, d.Gate())
	return nil
}

// waiver says who takes a point on themselves, and why.
type waiver struct {
	By  string `json:"by"`
	Why string `json:"why"`
}

// waive keeps that somebody takes a point of the gate on themselves.
func (s *Server) waive(w http.ResponseWriter, r *http.Request) error {
	var by waiver
	if err := read(w, r, &by); err != nil {
		return err
	}
	item, who, why := r.PathValue("item"), strings.TrimSpace(by.By), strings.TrimSpace(by.Why)
	if !slices.ContainsFunc(sheet.Data{}.Gate().Checks, func(c sheet.Check) bool { return c.Item == item }) {
		return &problem{status: http.StatusNotFound, says: "There is no such point before metal is cut."}
	}
	if who == "" {
		return wrong("by", "Say who takes it on themselves: by is missing.")
	}
	if why == "" {
		return wrong("why", "Say why: a point is waived with a reason.")
	}
	return s.changeWaivers(w, r, func(list []storage.Waiver) []storage.Waiver {
		list = slices.DeleteFunc(slices.Clone(list), func(v storage.Waiver) bool { return v.Item == item })
		return append(list, storage.Waiver{Item: item, By: who, Why: why, At: s.o.Clock().UTC()})
	})
}

// unwaive takes a waiver back.
func (s *Server) unwaive(w http.ResponseWriter, r *http.Request) error {
	item := r.PathValue("item")
	return s.changeWaivers(w, r, func(list []storage.Waiver) []storage.Waiver {
		return slices.DeleteFunc(slices.Clone(list), func(v storage.Waiver) bool { return v.Item == item })
	})
}

func (s *Server) changeWaivers(w http.ResponseWriter, r *http.Request, change func([]storage.Waiver) []storage.Waiver) error {
	e, err := s.store.Engine(r.PathValue("id"))
	if err != nil {
		return err
	}
	e.Waived = change(e.Waived)
	if _, err := s.store.PutEngine(e); err != nil {
		return err
	}
	return s.showGate(w, r)
}
