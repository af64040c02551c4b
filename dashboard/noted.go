package dashboard

import (
	"net/http"
	"slices"
	"strings"
	"unicode/utf8"

	"lobescribe/capture/lift"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// notedAt is what somebody writes about an opening: which one, by a moment in it.
type notedAt struct {
	At   *measure.Stamp `json:"t_s"`
	Says string         `json:"says"`
}

// note writes something beside an opening of a trace, in place of what stood
// there; nothing takes that away. The opening counts as it did before.
func (s *Server) note(w http.ResponseWriter, r *http.Request) error {
	id, err := traceID(r)
	if err != nil {
		return err
	}
	var ask notedAt
	if err := read(w, r, &ask); err != nil {
		return err
	}
	if ask.At == nil {
		return wrong("t_s", "Say with t_s which opening: a moment in it, in seconds of the trace.")
	}
	says := strings.TrimSpace(ask.Says)
	if utf8.RuneCountInString(says) > longestRemark {
		return wrong("says", "The note is longer than %d letters.", longestRemark)
	}
	if strings.ContainsFunc(says, storage.Unprintable) {
		return wrong("says", "The note holds control characters; leave them out.")
	}
	o, err := s.openingAt(r, id, *ask.At)
	if err != nil {
		return err
	}
	var list []storage.OpeningNote
	if err := s.store.Amend(id, func(h *storage.Head) {
		list = notedOf(h.Noted, o, says)
		h.Noted = list
	}); err != nil {
		return err
	}
	s.series.forget(id)
	out := live.Noted{Trace: id, List: list}
	s.hub.Publish(out, 0)
	answer(w, http.StatusOK, out)
	return nil
}

// notedOf is list with says at the opening, in order of time; never nil.
func notedOf(list []storage.OpeningNote, o lift.Opening, says string) []storage.OpeningNote {
	out := []storage.OpeningNote{}
	for _, n := range list {
		if !n.Covers(o.Nose) {
			out = append(out, n)
		}
	}
	if says != "" {
		out = append(out, storage.OpeningNote{From: o.Open, Until: o.Close, Says: says})
	}
	slices.SortFunc(out, func(a, b storage.OpeningNote) int { return int(a.From - b.From) })
	return out
}
