package dashboard

import (
	"bytes"
	"fmt"
	"io"
	"net/http"

	"lobescribe/dashboard/sheet"
	"lobescribe/device/measure"
)

// A sheet is a page by itself: it runs no script and loads nothing, but its
// style stands in it.
const sheetPolicy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

func (s *Server) showSheet(w http.ResponseWriter, r *http.Request) error {
	text, err := s.sheet(r, sheet.Write)
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Security-Policy", sheetPolicy)
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	_, _ = w.Write(text) // the client has gone: nothing to do about it
	return nil
}

func (s *Server) showNumbers(w http.ResponseWriter, r *http.Request) error {
	text, err := s.sheet(r, sheet.WriteCSV)
	if err != nil {
		return err
	}
	download(w, "text/csv; charset=utf-8", fileName(r.PathValue("id")+".csv", "engine.csv"))
	_, _ = w.Write(text) // as above
	return nil
}

// sheet gathers an engine and writes it whole before anything is sent, so that
// a fault is an answer and not half a sheet.
func (s *Server) sheet(r *http.Request, write func(io.Writer, sheet.Data) error) ([]byte, error) {
	o := sheet.Options{Made: s.o.Clock(), Version: s.o.Version}
	switch units := r.URL.Query().Get("units"); units {
	case "":
	case "in":
		o.Units = measure.InInches
	case "mm":
		o.Units = measure.InMillimetres
	default:
		return nil, wrong("units", "units should be in or mm, not %q.", units)
	}
	done, err := s.alone(r.Context())
	if err != nil {
		return nil, err
	}
	defer done()
	data, err := sheet.Gather(s.store, r.PathValue("id"), o)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := write(&b, data); err != nil {
		return nil, fmt.Errorf("the build sheet: %w", err)
	}
	return b.Bytes(), nil
}
