package dashboard

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func TestAnOpeningIsLeftOutAndTakenBack(t *testing.T) {
	s := serve(t, nil)
	s.bench.analyses = true
	id := s.record(storage.Head{Engine: "demo", Valve: "3E"}, 5000)
	type shown struct {
		Openings int           `json:"openings"`
		LeftOut  int           `json:"left_out"`
		Findings lift.Findings `json:"findings"`
	}
	look := func() shown {
		status, text := s.ask("GET", "/api/v1/traces/1", "")
		require.Equal(t, 200, status, text)
		return into[shown](s, text)
	}
	_, err := s.bench.Findings(t.Context(), id)
	require.NoError(t, err)
	before := look()
	n := before.Openings
	require.GreaterOrEqual(t, n, 3)
	raw, err := readings(s, id)
	require.NoError(t, err)

	second := before.Findings.Openings[1]
	status, text := s.ask("POST", "/api/v1/traces/1/left-out", fmt.Sprintf(`{"t_s":%v,"why":" a rag under it "}`, second.Nose.Seconds()))
	require.Equal(t, 200, status, text)
	after := look()
	assert.Equal(t, n-1, after.Openings)
	assert.Equal(t, 1, after.LeftOut)
	require.Len(t, after.Findings.LeftOut, 1)
	assert.Equal(t, "a rag under it", after.Findings.LeftOut[0].Why)
	assert.Equal(t, second.Nose, after.Findings.LeftOut[0].Opening.Nose)
	again, err := readings(s, id)
	require.NoError(t, err)
	assert.Equal(t, raw, again, "the readings stay")

	// The other openings are struck as well: the valve has no max lift any more.
	for _, o := range after.Findings.Openings {
		status, text = s.ask("POST", "/api/v1/traces/1/left-out", fmt.Sprintf(`{"t_s":%v}`, o.Nose.Seconds()))
		require.Equal(t, 200, status, text)
	}
	_, text = s.ask("GET", "/api/v1/traces?engine=demo", "")
	list := into[[]storage.Summary](s, text)
	require.Len(t, list, 1)
	assert.Nil(t, list[0].MaxLift)
	assert.Equal(t, scratched, look().Findings.LeftOut[0].Why)

	for _, o := range before.Findings.Openings {
		status, text = s.ask("DELETE", fmt.Sprintf("/api/v1/traces/1/left-out?t_s=%v", o.Nose.Seconds()), "")
		require.Equal(t, 200, status, text)
	}
	assert.Equal(t, before, look(), "taken back, all is as it was")

	for path, body := range map[string]string{"POST /api/v1/traces/1/left-out": `{"t_s":-5}`, "POST /api/v1/traces/1/left-out ": `{}`} {
		status, text = s.ask("POST", path[len("POST "):len("POST /api/v1/traces/1/left-out")], body)
		assert.Equal(t, 400, status, text)
	}
	status, text = s.ask("DELETE", "/api/v1/traces/1/left-out?t_s=2", "")
	assert.Equal(t, 400, status)
	assert.Contains(t, text, "No opening that was left out lies at")
}

func TestATraceIsPutAwayAndBroughtBack(t *testing.T) {
	s := serve(t, nil)
	s.bench.analyses = true
	e, err := s.store.PutEngine(storage.Engine{ID: "demo", Cylinders: 4, ValvesPerCylinder: 2})
	require.NoError(t, err)
	s.record(storage.Head{Engine: e.ID, Valve: "3E"}, 3000)
	look := func(query string) int {
		_, text := s.ask("GET", "/api/v1/traces"+query, "")
		return len(into[[]storage.Summary](s, text))
	}
	status, text := s.ask("PATCH", "/api/v1/traces/1", `{"put_away":"wrong valve"}`)
	require.Equal(t, 200, status, text)
	assert.Zero(t, look(""))
	assert.Equal(t, 1, look("?away=with"))
	_, text = s.ask("GET", "/api/v1/engines/demo/valves", "")
	for _, v := range into[[]valveState](s, text) {
		assert.Zero(t, v.Traces, v.Valve)
	}
	status, text = s.ask("PATCH", "/api/v1/traces/1", `{"put_away":""}`)
	require.Equal(t, 200, status, text)
	assert.Equal(t, 1, look(""))
}

// The pedal's second press strikes the last opening that counts. The live side
// tells it in the trace's own time, whatever its clock was when the trace began.
func TestScratch(t *testing.T) {
	s := serve(t, nil)
	s.bench.analyses = true
	status, text := s.ask("POST", "/api/v1/trace/left-out", "")
	assert.Equal(t, 409, status, text)

	id := s.record(storage.Head{Engine: "demo", Valve: "3E"}, 5000)
	f, err := s.bench.Findings(t.Context(), id)
	require.NoError(t, err)
	const began = 77_000_000
	s.hub.Publish(keep.State{ID: uint64(id), State: "kept", Began: began}, 0)
	for _, o := range f.Openings {
		s.hub.Publish(capture.Opened{Opening: o}, 0)
	}
	for left := 1; left <= 2; left++ {
		status, text = s.ask("POST", "/api/v1/trace/left-out", "")
		require.Equal(t, 200, status, text)
		got := s.hub.Now().LeftOut
		require.Len(t, got, left)
		o := f.Openings[len(f.Openings)-left]
		assert.Equal(t, o.Open, got[left-1].From)
		assert.Equal(t, o.Close, got[left-1].Until)
	}
	status, text = s.ask("DELETE", "/api/v1/trace/left-out", "")
	require.Equal(t, 200, status, text)
	require.Len(t, s.hub.Now().LeftOut, 1)
	h, err := s.store.Head(id)
	require.NoError(t, err)
	assert.Equal(t, s.hub.Now().LeftOut, h.LeftOut)

	s.hub.Publish(keep.State{ID: uint64(id) + 1, State: "recording", Began: 2 * began}, 0)
	assert.Empty(t, s.hub.Now().LeftOut, "of another trace")
}

func readings(s *site, id storage.ID) ([]measure.Reading, error) {
	_, t, err := s.store.Load(id)
	return t.Readings, err
}
