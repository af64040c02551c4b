package dashboard

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/dashboard/live"
	"lobescribe/storage"
)

const demoEngine = `{"name":"Demo Four, 2nd build","cylinders":4,"valves_per_cylinder":2,"layout":"inline","firing_order":[1,3,4,2],
	"rocker_ratio":{"intake":1.5,"exhaust":1.5},"units":"in"}`

func TestEngines(t *testing.T) {
	s := serve(t, nil)
	_, text := s.ask("GET", "/api/v1/engines", "")
	assert.Equal(t, "[]", text)

	status, text := s.ask("POST", "/api/v1/engines", demoEngine)
	require.Equal(t, 201, status, text)
	e := into[storage.Engine](s, text)
	assert.Equal(t, "demo-four-2nd-build", e.ID)
	assert.EqualValues(t, 1, e.Rev)
	_, text = s.ask("POST", "/api/v1/engines", demoEngine)
	assert.Equal(t, "demo-four-2nd-build-2", into[storage.Engine](s, text).ID)

	path := "/api/v1/engines/demo-four-2nd-build"
	change := func(rev int, name string) (int, string) {
		return s.ask("PUT", path, fmt.Sprintf(`{"name":%q,"cylinders":4,"valves_per_cylinder":2,"rocker_ratio":{"intake":0,"exhaust":0},"rev":%d}`, name, rev))
	}
	status, text = change(1, "first")
	require.Equal(t, 200, status, text)
	assert.EqualValues(t, 2, into[storage.Engine](s, text).Rev)
	status, text = change(1, "second, from a page that had not seen the first")
	assert.Equal(t, 409, status)
	assert.Contains(t, text, `"field":"rev"`)
	status, _ = change(0, "without a revision")
	assert.Equal(t, 400, status)
	_, text = s.ask("GET", path, "")
	assert.Equal(t, "first", into[storage.Engine](s, text).Name)

	for body, field := range map[string]string{
		`{"id":"Not A Slug","cylinders":4,"valves_per_cylinder":2}`:                                  "id",
		`{"name":"x","cylinders":0,"valves_per_cylinder":2}`:                                         "cylinders",
		`{"name":"x","cylinders":4,"valves_per_cylinder":2,"cam_card":{"checking_lift_mm":-1}}`:      "cam_card.checking_lift_mm",
		`{"name":"x","cylinders":4,"valves_per_cylinder":2,"cylnders":4}`:                            "cylnders",
		`{"name":"x","cylinders":"four","valves_per_cylinder":2}`:                                    "cylinders",
		`{"name":"x","cylinders":4,"valves_per_cylinder":2,"rocker_ratio":{"intake":9,"exhaust":1}}`: "rocker_ratio.intake",
	} {
		status, text := s.ask("POST", "/api/v1/engines", body)
		assert.Equal(t, 400, status, text)
		assert.Equal(t, field, into[map[string]string](s, text)["field"], text)
	}
	status, _ = s.ask("PUT", path, `{"id":"another","cylinders":4,"valves_per_cylinder":2,"rev":2}`)
	assert.Equal(t, 400, status)
	status, _ = s.ask("DELETE", path, "")
	assert.Equal(t, 400, status)
	status, _ = s.ask("DELETE", path+"?rev=1", "")
	assert.Equal(t, 409, status)
	status, _ = s.ask("DELETE", path+"?rev=2", "")
	assert.Equal(t, 204, status)
	status, _ = s.ask("GET", path, "")
	assert.Equal(t, 404, status)
}

func TestTrialsAndTheMapOfValves(t *testing.T) {
	s := serve(t, nil)
	_, text := s.ask("POST", "/api/v1/engines", demoEngine)
	id := into[storage.Engine](s, text).ID
	path := "/api/v1/engines/" + id
	status, text := s.ask("POST", path+"/trials", `{"valve":"3E","stack_mm":[1.5,0.254],"adjuster_below_valve_mm":-0.3}`)
	require.Equal(t, 201, status, text)
	trial := into[storage.Trial](s, text)
	assert.NotEmpty(t, trial.ID)
	assert.False(t, trial.At.IsZero())
	assert.EqualValues(t, 1_754_000, trial.Height())

	for body, field := range map[string]string{
		`{"valve":"9E"}`: "valve", `{"valve":"3E","stack_mm":[0]}`: "stack_mm[0]", `{"valve":"3E","id":"mine"}`: "id", `{"valve":"3E","lash_mm":-1}`: "lash_mm",
		`{"valve":"3E","engine":"other"}`: "engine",
	} {
		status, text := s.ask("POST", path+"/trials", body)
		assert.Equal(t, 400, status, text)
		assert.Equal(t, field, into[map[string]string](s, text)["field"])
	}
	change := fmt.Sprintf(`{"engine":%q,"valve":"3E","sweep_mm":0.9,"rev":1}`, id)
	status, text = s.ask("PUT", "/api/v1/trials/"+trial.ID, change)
	require.Equal(t, 200, status, text)
	status, _ = s.ask("PUT", "/api/v1/trials/"+trial.ID, change)
	assert.Equal(t, 409, status)
	status, _ = s.ask("PUT", "/api/v1/trials/unheard-of", change)
	assert.Equal(t, 404, status)

	_, text = s.ask("GET", path+"/trials?valve=3I", "")
	assert.Equal(t, "[]", text)
	_, text = s.ask("GET", path+"/trials?valve=3E", "")
	assert.Len(t, into[[]storage.Trial](s, text), 1)

	trace := s.record(storage.Head{Engine: id, Valve: "3E"}, 2000)
	require.NoError(t, s.store.PutFindings(trace, lift.Findings{MaxLift: 10_668_000, Openings: make([]lift.Opening, 1)}))
	s.record(storage.Head{Engine: id, Valve: "3E"}, 10) // a later part turn says nothing of the lift
	_, text = s.ask("GET", path+"/valves", "")
	list := into[[]valveState](s, text)
	require.Len(t, list, 8)
	assert.Equal(t, "1I", list[0].Valve)
	assert.Equal(t, []string{missingLift, missingAngle, missingTrial, missingHeight}, list[0].Missing)
	for _, v := range list {
		if v.Valve == "3E" {
			assert.Equal(t, 2, v.Traces)
			assert.Equal(t, 1, v.Trials)
			require.NotNil(t, v.MaxLift)
			assert.EqualValues(t, 10_668_000, *v.MaxLift)
			assert.Equal(t, trace, v.Trace)
			assert.Equal(t, []string{missingHeight}, v.Missing, "the change left the height out")
		}
	}
	status, _ = s.ask("DELETE", "/api/v1/trials/"+trial.ID+"?rev=2", "")
	assert.Equal(t, 204, status)
}

func TestTheSelection(t *testing.T) {
	s := serve(t, nil)
	_, text := s.ask("POST", "/api/v1/engines", demoEngine)
	id := into[storage.Engine](s, text).ID
	_, err := s.store.PutBench(storage.Bench{Devices: map[string]string{"indicator": "serial:COM3"}})
	require.NoError(t, err)

	put := func(body string) (int, live.Selection) {
		status, text := s.ask("PUT", "/api/v1/bench", body)
		if status != 200 {
			return status, live.Selection{}
		}
		return status, into[live.Selection](s, text)
	}
	status, _ := put(`{"valve":"3E"}`)
	assert.Equal(t, 400, status, "a valve of no engine")
	status, _ = put(`{"engine":"unheard-of"}`)
	assert.Equal(t, 400, status)
	_, now := put(`{"engine":"` + id + `","valve":"3E"}`)
	assert.Equal(t, live.SelectionOf(storage.Bench{Engine: id, Valve: "3E"}), now)
	assert.Equal(t, now, s.hub.Now().Bench, "every page is told")
	_, text = s.ask("POST", "/api/v1/engines/"+id+"/trials", `{"valve":"3E"}`)
	trial := into[storage.Trial](s, text).ID
	_, now = put(`{"trial":"` + trial + `"}`)
	assert.Equal(t, trial, now.Trial)
	status, _ = put(`{"valve":"3X"}`)
	assert.Equal(t, 400, status)
	_, now = put(`{"valve":"3I"}`)
	assert.Equal(t, live.Selection{Engine: id, Valve: "3I", Cylinder: 3, Kind: "intake"}, now, "the trial was of the other valve")
	_, text = s.ask("GET", "/api/v1/bench", "")
	assert.Equal(t, now, into[live.Selection](s, text))
	_, again := put(text)
	assert.Equal(t, now, again, "what was read can be sent back")

	b, err := s.store.Bench()
	require.NoError(t, err)
	assert.Equal(t, "serial:COM3", b.Devices["indicator"], "the devices stay")
	restarted, err := New(Options{Hub: live.NewHub(live.HubOptions{}), Store: s.store, Bench: s.bench})
	require.NoError(t, err)
	assert.Equal(t, now, restarted.hub.Now().Bench, "and are there after a restart")
	restarted.hub.Close()

	// What is deleted is not selected any more.
	put(`{"valve":"3E","trial":"` + trial + `"}`)
	status, text = s.ask("DELETE", "/api/v1/trials/"+trial+"?rev=1", "")
	require.Equal(t, 204, status, text)
	assert.Equal(t, live.SelectionOf(storage.Bench{Engine: id, Valve: "3E"}), s.hub.Now().Bench)
	status, text = s.ask("DELETE", "/api/v1/engines/"+id+"?rev=1", "")
	require.Equal(t, 204, status, text)
	assert.Equal(t, live.Selection{}, s.hub.Now().Bench)

	status, text = s.ask("PUT", "/api/v1/settings", `{"units":"mm"}`)
	assert.Equal(t, 200, status, text)
	assert.Equal(t, "keep mm", s.bench.last())
	assert.Equal(t, "mm", s.hub.Now().Units)
	status, _ = s.ask("PUT", "/api/v1/settings", `{"units":"cubits"}`)
	assert.Equal(t, 400, status)
}
