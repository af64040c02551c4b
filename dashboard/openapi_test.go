// The library that checks the document takes minutes to build, with the race detector
// and for every other system,
// and nothing here runs at the same time or differs between systems.

//go:build !race && !othersystem

package dashboard

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"strings"
	"testing"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/pb33f/libopenapi-validator/config"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
)

// document reads the OpenAPI document of a running server. What is returned with
// it holds requests and answers against it, strictly: a key or a query parameter
// that is not described is an error, too. Both libraries are Princess Beef Heavy
// Industries' libopenapi, which has the schemas of the OpenAPI Initiative in it.
func document(s *site) (text string, against validator.Validator) {
	s.Helper()
	status, text := s.ask("GET", "/api/v1/openapi.json", "")
	require.Equal(s, 200, status, text)
	doc, err := libopenapi.NewDocument([]byte(text))
	require.NoError(s, err)
	against, errs := validator.NewValidator(doc, config.WithStrictMode(), config.WithFormatAssertions(),
		config.WithStrictIgnorePaths("$.headers.**",
			// A question of any calculation, and what live.json leaves open.
			"$.body.question.**", "$.body[*].question.**", "$.body.bench.**"))
	require.Empty(s, errs)
	return text, against
}

// The document is sound by the OpenAPI Initiative's own schema of version 3.1,
// and has every route that is registered, and no other.
func TestTheOpenAPIDocumentHasEveryRoute(t *testing.T) {
	s := serve(t, nil)
	text, against := document(s)
	ok, errs := against.ValidateDocument()
	require.True(t, ok, "%v", errs)

	var doc struct {
		OpenAPI string
		Paths   map[string]map[string]struct{ Description string }
	}
	require.NoError(t, json.Unmarshal([]byte(text), &doc))
	assert.Equal(t, "3.1.1", doc.OpenAPI)
	var in, served []string
	for path, calls := range doc.Paths {
		for method, call := range calls {
			in = append(in, strings.ToUpper(method)+" "+path)
			assert.NotEmpty(t, call.Description, "%s %s", method, path)
		}
	}
	for _, r := range s.server.routes() {
		if r.pattern != "POST /api/v1/calc/{what}" {
			served = append(served, r.pattern)
			continue
		}
		for what := range s.server.calc {
			served = append(served, "POST /api/v1/calc/"+what)
		}
	}
	assert.ElementsMatch(t, served, in)

	bad, err := libopenapi.NewDocument([]byte(strings.Replace(text, `"paths":`, `"ways":`, 1)))
	require.NoError(t, err)
	broken, errs2 := validator.NewValidator(bad)
	require.Empty(t, errs2)
	ok, _ = broken.ValidateDocument()
	assert.False(t, ok, "the check can fail")
}

// hold makes a request and holds it and its answer against the document. It
// returns the answer.
func hold(s *site, against validator.Validator, method, path, body string) (*http.Request, *http.Response, string) {
	s.Helper()
	ask := func() *http.Request {
		r, err := http.NewRequest(method, s.url+path, strings.NewReader(body))
		require.NoError(s, err)
		r.Header.Set("Origin", s.url)
		if body != "" {
			r.Header.Set("Content-Type", "application/json")
		}
		return r
	}
	answer, err := http.DefaultClient.Do(ask())
	require.NoError(s, err)
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	require.NoError(s, err)
	answer.Body = io.NopCloser(bytes.NewReader(text))
	ok, errs := against.ValidateHttpRequestResponse(ask(), answer)
	for _, e := range errs {
		s.Errorf("%s %s: %s: %s", method, path, e.Message, e.Reason)
		for _, why := range e.SchemaValidationErrors {
			s.Logf("  %s at %s", why.Reason, why.FieldPath)
		}
	}
	assert.True(s, ok, "%s %s answers %.600s", method, path, text)
	return ask(), answer, string(text)
}

// What a server with a little in it answers is as the document says, and what is
// asked of it as well: every call that reads JSON, and every calculation.
func TestAnswersAreAsTheOpenAPIDocumentSays(t *testing.T) {
	s := serve(t, nil)
	s.bench.ports = []Port{{Address: "serial:/dev/odd", Name: "odd", ByID: "/dev/by/id"}}
	_, against := document(s)
	good := func(method, path, body string) string {
		t.Helper()
		_, answer, text := hold(s, against, method, path, body)
		assert.Less(t, answer.StatusCode, 300, "%s %s: %s", method, path, text)
		return text
	}
	good("POST", "/api/v1/engines", `{"id":"demo","name":"demo","cylinders":4,"valves_per_cylinder":2,"firing_order":[1,3,4,2],"type":"four",
		"rocker_ratio":{"intake":1.4,"exhaust":1.4},"tdc":{"angle_deg":15,"u_deg":0.5,"method":"positive stop","on":"2026-11-25"}}`)
	intake := s.turn(storage.Head{Engine: "demo", Valve: "1I"}, 110+15)
	exhaust := s.turn(storage.Head{Engine: "demo", Valve: "1E"}, -110+15)
	trial := into[storage.Trial](s, good("POST", "/api/v1/engines/demo/trials", `{"valve":"1I","max_lift_mm":10.6}`)).ID
	good("POST", "/api/v1/engines/demo/works", `{"kind":"pushrod","question":{"checking_rod_mm":221.2}}`)
	good("PATCH", fmt.Sprintf("/api/v1/traces/%d", intake), `{"remark":"warm"}`)
	good("PUT", "/api/v1/bench", `{"engine":"demo","valve":"1I"}`)
	good("PUT", "/api/v1/settings", `{"units":"mm"}`)
	good("POST", "/api/v1/devices/preview", `{"address":"serial:COM3"}`)
	good("PUT", "/api/v1/devices/indicator", `{"address":"serial:COM3"}`)
	good("POST", "/api/v1/replay", fmt.Sprintf(`{"trace":%d,"rate":2}`, intake))

	for _, path := range []string{"/healthz", "/api/v1/state", "/api/v1/traces", "/api/v1/traces?engine=demo&limit=1", "/api/v1/bench", "/api/v1/settings",
		"/api/v1/engines", "/api/v1/engines/demo", "/api/v1/engines/demo/valves", "/api/v1/engines/demo/next?valve=1I", "/api/v1/engines/demo/rocker?valve=1I&poses=5",
		"/api/v1/engines/demo/gate", "/api/v1/engines/demo/sheet?units=in", "/api/v1/engines/demo/csv", "/api/v1/engines/demo/trials?valve=1I", "/api/v1/engines/demo/works",
		"/api/v1/trials/" + trial + "/photographs", "/api/v1/schema", "/api/v1/schema/live.json", "/api/v1/repairs?all=", "/api/v1/spread?type=four",
		"/api/v1/ports", "/api/v1/devices", "/api/v1/proof", "/api/v1/openapi.json",
		fmt.Sprintf("/api/v1/traces/%d", exhaust), fmt.Sprintf("/api/v1/traces/%d/series?columns=20", intake), fmt.Sprintf("/api/v1/traces/%d/timing?checking=1mm", intake),
		fmt.Sprintf("/api/v1/timing?intake=%d&exhaust=%d&tolerance_deg=2", intake, exhaust), fmt.Sprintf("/api/v1/difference?first=%d&second=%d", intake, intake),
	} {
		good("GET", path, "")
	}

	for what, question := range questions() {
		body, err := json.Marshal(question)
		require.NoError(t, err)
		good("POST", "/api/v1/calc/"+what, string(body))
	}
	for what := range s.server.calc {
		assert.Contains(t, questions(), what)
	}

	// Refusals are as it says, and it refuses what is not.
	_, answer, _ := hold(s, against, "GET", "/api/v1/traces/99", "")
	assert.Equal(t, 404, answer.StatusCode)
	for _, path := range []string{"/api/v1/state", "/api/v1/engines/demo", fmt.Sprintf("/api/v1/traces/%d", exhaust)} {
		r, answer, text := hold(s, against, "GET", path, "")
		var v map[string]any
		require.NoError(t, json.Unmarshal([]byte(text), &v))
		for key := range v {
			bent := map[string]any{}
			require.NoError(t, json.Unmarshal([]byte(text), &bent))
			bent[key] = []any{map[string]any{"bent": true}}
			body, err := json.Marshal(bent)
			require.NoError(t, err)
			answer.Body = io.NopCloser(bytes.NewReader(body))
			ok, _ := against.ValidateHttpResponse(r, answer)
			assert.False(t, ok, "%s with a bent %s", path, key)
		}
	}
	r, err := http.NewRequest("POST", s.url+"/api/v1/calc/shims", strings.NewReader(`{"rocker_ratoi":1.4}`))
	require.NoError(t, err)
	r.Header.Set("Content-Type", "application/json")
	ok, _ := against.ValidateHttpRequest(r)
	assert.False(t, ok, "a misspelt key")
}

// questions are one for each calculation.
func questions() map[string]any {
	type m = map[string]any
	turn, side := m{"lift_mm": []float64{}, "sweep_mm": []float64{}}, m{"lift_mm": []float64{}, "sweep_mm": []float64{}}
	for i := range 200 { // an arm of 41 mm that is square at 6 mm
		v := 12 * math.Sin(math.Pi*(float64(i)+0.5)/200)
		turn["lift_mm"], side["lift_mm"] = append(turn["lift_mm"].([]float64), v), append(side["lift_mm"].([]float64), v)
		turn["sweep_mm"], side["sweep_mm"] = append(turn["sweep_mm"].([]float64), math.Sqrt(41*41-(6-v)*(6-v))-38), append(side["sweep_mm"].([]float64), 1)
	}
	return map[string]any{
		"shims":   m{"rocker_ratio": 1.4, "trials": []m{{"stack_mm": 0.381, "adjuster_below_valve_mm": 3.5}}},
		"pushrod": m{"checking_rod_mm": 221.2, "rocker_ratio": 1.4},
		"rocker":  m{"rocker_ratio": 1.4, "lift_mm": 10.668, "adjuster_below_valve_mm": 3.5},
		"photo": m{"lift_mm": 12, "valve_arm_mm": 38, "photographs": []m{{"width_px": 1600, "height_px": 1600, "at_lift_mm": 6,
			"stem_a_px": [][]float64{{800, 820}}, "stem_b_px": [][]float64{{800, 1420}}, "pivot_px": [][]float64{{202.28, 747.7}}, "tip_px": [][]float64{{800, 800}}}}},
		"sweep":     m{"turn": turn, "reference": side, "lift_mm": 12, "valve_arm_mm": 41},
		"timing":    m{"intake": m{"opens": 12, "closes": "44 ABDC"}, "exhaust": m{"opens": 50, "closes": 6}},
		"clearance": m{"coil_bind": m{"installed_height_mm": 44, "lift_mm": 11, "solid_height_mm": 30, "limit_mm": 1}},
		"spring":    m{"loads": []m{{"height_mm": 45, "load_n": 500}, {"height_mm": 33, "load_n": 1400}}, "installed_height_mm": 45, "lift_mm": 12, "solid_height_mm": 29},
		"cosine":    m{"reading_mm": 10.668, "lean_deg": 8},
	}
}
