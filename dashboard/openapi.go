package dashboard

import (
	"cmp"
	_ "embed"
	"fmt"
	"maps"
	"net/http"
	"reflect"
	"slices"
	"strings"

	"lobescribe/capture/lift"
	"lobescribe/capture/prove"
	"lobescribe/dashboard/openapi"
	"lobescribe/storage"
)

// apiText is where the OpenAPI document has its words and its query parameters
// from.
//
//go:embed API.md
var apiText string

// described are the types that dashboard/schema describes, where they stand in
// answers.
var described = map[reflect.Type]openapi.Named{
	reflect.TypeFor[storage.Summary](): "traces.json#/$defs/summary",
	reflect.TypeFor[lift.Findings]():   "findings.json",
	reflect.TypeFor[lift.Opening]():    "findings.json#/$defs/opening",
	reflect.TypeFor[lift.Fault]():      "findings.json#/$defs/fault",
	reflect.TypeFor[prove.Proof]():     "proof.json",
}

// calls are the routes as the document has them: the one that all calculations
// share stands there once for each.
func (s *Server) calls() []openapi.Call {
	var all []openapi.Call
	for _, r := range s.routes() {
		call := openapi.Call{Pattern: r.pattern, Asks: r.asks, Answers: r.answers, Status: r.status}
		if before, ok := strings.CutSuffix(r.pattern, "{what}"); ok {
			for _, what := range slices.Sorted(maps.Keys(s.calc)) {
				all = append(all, openapi.Call{Pattern: before + what, Words: r.pattern, Asks: s.calc[what].asks, Answers: s.calc[what].answers})
			}
			continue
		}
		if r.pattern == "GET /healthz" {
			call.Also = http.StatusServiceUnavailable
		}
		all = append(all, call)
	}
	return all
}

// showOpenAPI answers with the OpenAPI document of this API.
func (s *Server) showOpenAPI(w http.ResponseWriter, _ *http.Request) error {
	text, err := openapi.Document(cmp.Or(s.o.Version, "development"), apiText, s.calls(), described)
	if err != nil {
		return fmt.Errorf("writing the OpenAPI document: %w", err)
	}
	send(w, http.StatusOK, text)
	return nil
}
