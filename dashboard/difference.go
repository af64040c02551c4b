package dashboard

import (
	"net/http"

	"lobescribe/capture/timing"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// difference answers where a trace's lift curve differs from another's.
func (s *Server) difference(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	var ids []storage.ID
	for _, field := range []string{"first", "second"} {
		id, err := storage.ParseID(q.Get(field))
		if err != nil {
			return wrong(field, "%s", sentence(err))
		}
		ids = append(ids, id)
	}
	unit, _ := measure.ParseUnit(q.Get("unit"))
	return s.remembered(w, r, ids, func() (any, error) {
		var in [2]*timing.ValveInput
		for i, id := range ids {
			v, err := s.valveInput(id, "")
			if err != nil {
				return nil, err
			}
			if err := setEncoder(&v.options, q.Get); err != nil {
				return nil, err
			}
			o := v.options
			in[i] = &timing.ValveInput{Trace: &v.trace, TDC: o.TDC, TDCU: o.TDCU, Wraps: o.Wraps, OnCam: o.OnCam, CountsDown: o.CountsDown}
		}
		out, err := timing.Compute(timing.Request{Compare: &timing.CompareInput{First: in[0], Second: in[1]}})
		if err != nil {
			return nil, unanswered(err)
		}
		return worksheet.InUnit(out, unit), nil
	})
}
