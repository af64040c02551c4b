package dashboard

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/clearance"
	"lobescribe/capture/lift"
	"lobescribe/capture/rocker"
	"lobescribe/capture/rocker/shims"
	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/question"
	"lobescribe/dashboard/sheet"
	"lobescribe/storage"
)

// The page and the build sheet have the next stack of the same builder: one
// engine, one answer, also where the arms do not make the ratio that is written
// down.
func TestOneAnswerToOneQuestion(t *testing.T) {
	s := serve(t, nil)
	_, text := s.ask("POST", "/api/v1/engines", `{"id":"demo","cylinders":4,"valves_per_cylinder":2,"rocker_ratio":{"intake":1.55,"exhaust":1.55},
		"rocker_arm_mm":38,"adjuster_arm_mm":27,"limits":{"coil_bind_mm":1.5,"square_mm":0.2}}`)
	require.Contains(t, text, `"rev":1`)
	status, text := s.ask("POST", "/api/v1/engines/demo/trials", `{"valve":"3I","stack_mm":[0.5],"adjuster_below_valve_mm":3.2,"max_lift_mm":10.5}`)
	require.Equal(t, 201, status, text)

	status, text = s.ask("GET", "/api/v1/engines/demo/next?valve=3I", "")
	require.Equal(t, 200, status, text)
	page := into[question.Asked[shims.Question, shims.Answer]](s, text)
	require.NotNil(t, page.Answer, text)
	require.Len(t, page.Notes, 1)
	d, err := sheet.Gather(s.store, "demo", sheet.Options{})
	require.NoError(t, err)
	var paper *shims.Answer
	for _, v := range d.Valves {
		if v.Name == "3I" {
			paper = v.Next
		}
	}
	require.NotNil(t, paper)
	onPaper, err := json.Marshal(paper)
	require.NoError(t, err)
	onPage, err := json.Marshal(page.Answer)
	require.NoError(t, err)
	assert.JSONEq(t, string(onPaper), string(onPage))
	_, text = s.ask("GET", "/api/v1/engines/demo/next?valve=3I&unit=in", "")
	assert.NotContains(t, strings.Join(worksheet.In(into[question.Asked[shims.Question, shims.Answer]](s, text).Answer.Says, 0), " "), " mm")

	status, text = s.ask("GET", "/api/v1/engines/demo/rocker?valve=3I&poses=5", "")
	require.Equal(t, 200, status, text)
	assert.Equal(t, []string{question.LacksLift}, into[question.Asked[rocker.Question, rocker.Answer]](s, text).Lacks)
	id := s.record(storage.Head{Engine: "demo", Valve: "3I"}, 2000)
	require.NoError(t, s.store.PutFindings(id, lift.Findings{MaxLift: 10_500_000, Openings: make([]lift.Opening, 1)}))
	status, text = s.ask("GET", "/api/v1/engines/demo/rocker?valve=3I&poses=5", "")
	require.Equal(t, 200, status, text)
	drawn := into[question.Asked[rocker.Question, rocker.Answer]](s, text)
	require.NotNil(t, drawn.Answer, text)
	assert.Len(t, drawn.Question.AtLift, 5)

	for _, path := range []string{"next?valve=5I", "next", "rocker?valve=left", "rocker?valve=3I&poses=many"} {
		status, text = s.ask("GET", "/api/v1/engines/demo/"+path, "")
		assert.Equal(t, 400, status, path+text)
	}
	status, _ = s.ask("GET", "/api/v1/engines/gone/next?valve=3I", "")
	assert.Equal(t, 404, status)

	// The engine's limits, put in by the daemon.
	coil := `{"coil_bind":{"installed_height_mm":44,"lift_mm":11,"solid_height_mm":30,"limit_mm":1}}`
	_, text = s.ask("POST", "/api/v1/calc/clearance?engine=demo&valve=3I", coil)
	assert.Equal(t, 1.5, into[clearance.Answer](s, text).CoilBind.Limit.Millimetres())
	_, text = s.ask("POST", "/api/v1/calc/clearance", coil)
	assert.Equal(t, 1.0, into[clearance.Answer](s, text).CoilBind.Limit.Millimetres())
}
