package dashboard

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
)

func TestWorks(t *testing.T) {
	now := time.Date(2026, 3, 14, 10, 0, 0, 0, time.UTC)
	s := serve(t, func(o *Options) { o.Clock = func() time.Time { return now } })
	_, text := s.ask("POST", "/api/v1/engines", demoEngine)
	id := into[storage.Engine](s, text).ID
	path := "/api/v1/engines/" + id + "/works"
	_, text = s.ask("GET", path, "")
	assert.Equal(t, "[]", text)
	status, _ := s.ask("GET", "/api/v1/engines/unheard-of/works", "")
	assert.Equal(t, 404, status)

	rods := `{"rods":[{"valve":"1I","checking_rod_mm":200.5}]}`
	status, text = s.ask("POST", path, `{"kind":"pushrod","question":`+rods+`}`)
	require.Equal(t, 201, status, text)
	list := into[storage.Work](s, text)
	assert.Equal(t, now, list.At)
	assert.Equal(t, id, list.Engine)
	assert.JSONEq(t, rods, string(list.Question))
	for _, body := range []string{
		`{"kind":"clearance","valve":"3E","question":{"coil_bind":{"installed_height_mm":45,"lift_mm":10,"solid_height_mm":30}}}`,
		`{"kind":"spring","question":{"loads":[{"height_mm":45,"load_n":500},{"height_mm":35,"load_n":1000}]}}`,
		`{"kind":"rocker","valve":"3E","question":{"rocker_ratio":1.5,"lift_mm":10.668}}`,
		// Well put and without an answer: what was typed is kept all the same.
		`{"kind":"pushrod","valve":"1I","question":{"checking_rod_mm":200,"adjuster_down_mm":3,"thread_left_mm":1}}`,
	} {
		status, text := s.ask("POST", path, body)
		require.Equal(t, 201, status, text)
	}
	for query, want := range map[string]int{"": 5, "?kind=pushrod": 2, "?valve=3E": 2, "?kind=clearance&valve=3E": 1, "?kind=spring&valve=3E": 0} {
		_, text := s.ask("GET", path+query, "")
		assert.Len(t, into[[]storage.Work](s, text), want, query)
	}

	for body, field := range map[string]string{
		`{"kind":"pushrod","question":` + rods + `,"answer":{}}`:                                 "answer",
		`{"kind":"pushrod","id":"mine","question":` + rods + `}`:                                 "id",
		`{"kind":"pushrod","engine":"other","question":` + rods + `}`:                            "engine",
		`{"kind":"shims","question":{}}`:                                                         "kind",
		`{"question":{}}`:                                                                        "kind",
		`{"kind":"pushrod","valve":"9I","question":` + rods + `}`:                                "valve",
		`{"kind":"pushrod"}`:                                                                     "question",
		`{"kind":"pushrod","question":null}`:                                                     "question",
		`{"kind":"pushrod","question":[]}`:                                                       "question",
		`{"kind":"pushrod","question":{"rods":[{"valve":"1I","checking_rod":200}]}}`:             "question.rods[0].checking_rod",
		`{"kind":"pushrod","question":{"rods":[{"valve":"1I","checking_rod_mm":-1}]}}`:           "question.rods[0].checking_rod_mm",
		`{"kind":"pushrod","question":{"step_mm":1,"step_mm":2,"checking_rod_mm":200}}`:          "question.step_mm",
		`{"kind":"clearance","question":{}}`:                                                     "question",
		`{"kind":"clearance","question":{"piston":{"stroke_mm":86,"rod_mm":143,"curve":[]}}}`:    "question.piston.curve",
		`{"kind":"spring","question":{"wire_mm":null}}`:                                          "question.wire_mm",
		`{"kind":"rocker","question":{"rocker_ratio":99,"lift_mm":10}}`:                          "question.rocker_ratio",
		`{"kind":"clearance","question":{"coil_bind":{"installed_height_mm":45,"lift_mm":"x"}}}`: "question.coil_bind.lift_mm",
	} {
		status, text := s.ask("POST", path, body)
		assert.Equal(t, 400, status, "%s: %s", body, text)
		said := into[map[string]string](s, text)
		assert.Equal(t, field, said["field"], body)
		assert.Regexp(t, `[.?]$`, said["error"], "a sentence")
	}
	status, _ = s.ask("POST", path, `{"kind":"spring","question":{"ends":"`+strings.Repeat("x", maxBody)+`"}}`)
	assert.Equal(t, 413, status)

	one := "/api/v1/works/" + list.ID
	change := fmt.Sprintf(`{"engine":%q,"kind":"pushrod","question":{"checking_rod_mm":201},"rev":1,"at":"2026-03-14T11:00:00Z"}`, id)
	status, text = s.ask("PUT", one, change)
	require.Equal(t, 200, status, text)
	assert.EqualValues(t, 2, into[storage.Work](s, text).Rev)
	status, text = s.ask("PUT", one, change)
	assert.Equal(t, 409, status)
	assert.Equal(t, "rev", into[map[string]string](s, text)["field"])
	status, _ = s.ask("PUT", "/api/v1/works/unheard-of", change)
	assert.Equal(t, 404, status)
	for body, field := range map[string]string{
		strings.Replace(change, `"rev":1,`, "", 1):                                 "rev",
		strings.Replace(change, `{`, `{"id":"other",`, 1):                          "id",
		strings.Replace(change, fmt.Sprintf(`"engine":%q,`, id), "", 1):            "engine",
		strings.Replace(change, `"checking_rod_mm":201`, `"checking_rod_mm":0`, 1): "question.checking_rod_mm",
	} {
		status, text := s.ask("PUT", one, body)
		assert.Equal(t, 400, status, text)
		assert.Equal(t, field, into[map[string]string](s, text)["field"], body)
	}
	status, _ = s.ask("DELETE", one, "")
	assert.Equal(t, 400, status)
	status, _ = s.ask("DELETE", one+"?rev=1", "")
	assert.Equal(t, 409, status)
	status, _ = s.ask("DELETE", one+"?rev=2", "")
	assert.Equal(t, 204, status)
	status, _ = s.ask("DELETE", one+"?rev=2", "")
	assert.Equal(t, 404, status)
}

// Every kind of work has a calculation, or its question could not be checked.
func TestEveryKindOfWorkIsCalculated(t *testing.T) {
	for _, kind := range storage.WorkKinds() {
		assert.Contains(t, calculations(), string(kind))
		assert.Regexp(t, "engines/.id./works` \\| keeps [^|]*`"+string(kind)+"`", apiText)
	}
}

// What was set down for the engine counts for its timing, and a query goes
// before it.
func TestTimingFromTheEnginesTopDeadCentre(t *testing.T) {
	s := serve(t, nil)
	_, text := s.ask("POST", "/api/v1/engines", `{"id":"demo","cylinders":4,"valves_per_cylinder":2,"firing_order":[1,3,4,2],
		"rocker_ratio":{"intake":1,"exhaust":1},"tdc":{"angle_deg":15,"u_deg":0.5,"method":"positive stop","on":"2026-11-25"}}`)
	require.Contains(t, text, `"rev":1`)
	first := s.turn(storage.Head{Engine: "demo", Valve: "1I"}, 110+15)
	third := s.turn(storage.Head{Engine: "demo", Valve: "3I"}, 110+15+180)
	nose := func(id storage.ID, query string) (float64, string) {
		t.Helper()
		status, text := s.ask("GET", fmt.Sprintf("/api/v1/traces/%d/timing%s", id, query), "")
		require.Equal(t, 200, status, text)
		out := into[shownTiming](s, text)
		return out.Timing.Nose.Angle.Degrees(), out.Note
	}
	got, note := nose(first, "")
	assert.InDelta(t, 110, got, 0.2)
	assert.Contains(t, note, "15 deg at the top dead centre of cylinder 1")
	got, note = nose(third, "")
	assert.InDelta(t, 110, got, 0.2)
	assert.Contains(t, note, "cylinder 3, 180 deg later")
	got, note = nose(first, "?tdc_deg=5")
	assert.InDelta(t, 120, got, 0.2)
	assert.Empty(t, note)
	got, _ = nose(first, "?tdc_deg=0")
	assert.InDelta(t, 125, got, 0.2)

	_, text = s.ask("GET", fmt.Sprintf("/api/v1/timing?intake=%d", third), "")
	assert.Contains(t, text, "cylinder 3, 180 deg later")

	// Set down again, the remembered answer does not count any more.
	status, text := s.ask("PUT", "/api/v1/engines/demo", `{"cylinders":4,"valves_per_cylinder":2,"rocker_ratio":{"intake":1,"exhaust":1},"tdc":{"angle_deg":10},"rev":1}`)
	require.Equal(t, 200, status, text)
	got, _ = nose(first, "")
	assert.InDelta(t, 115, got, 0.2)
	status, text = s.ask("PUT", "/api/v1/engines/demo", `{"cylinders":4,"valves_per_cylinder":2,"tdc":{"angle_deg":1e7},"rev":2}`)
	assert.Equal(t, 400, status)
	assert.Equal(t, "tdc.angle_deg", into[map[string]string](s, text)["field"])
}
