package dashboard

import (
	"net/http"

	"lobescribe/dashboard/schema"
)

// listSchemas tells which schemas there are.
func (s *Server) listSchemas(w http.ResponseWriter, _ *http.Request) error {
	answer(w, http.StatusOK, schema.All())
	return nil
}

// showSchema answers with one schema, as it stands in the source.
func (s *Server) showSchema(w http.ResponseWriter, r *http.Request) error {
	found, err := schema.Named(r.PathValue("name"))
	if err != nil {
		return &problem{status: http.StatusNotFound, says: sentence(err)}
	}
	w.Header().Set("Content-Type", "application/schema+json")
	_, err = w.Write(found.Text)
	return err
}
