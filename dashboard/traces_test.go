package dashboard

import (
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/valve"
	"lobescribe/storage"
)

func TestTraces(t *testing.T) {
	s := serve(t, nil)
	status, text := s.ask("GET", "/api/v1/traces", "")
	assert.Equal(t, 200, status)
	assert.Equal(t, "[]", text)

	id := s.record(storage.Head{Engine: "demo", Valve: "3E"}, 5000)
	s.record(storage.Head{Engine: "demo", Valve: "3I"}, 10)
	_, text = s.ask("GET", "/api/v1/traces?engine=demo&valve=3E", "")
	list := into[[]storage.Summary](s, text)
	require.Len(t, list, 1)
	assert.Equal(t, id, list[0].ID)
	assert.EqualValues(t, 5000, list[0].Readings)
	_, text = s.ask("GET", "/api/v1/traces?limit=1", "")
	require.Len(t, into[[]storage.Summary](s, text), 1)
	_, text = s.ask("GET", "/api/v1/traces?before=2", "")
	require.Len(t, into[[]storage.Summary](s, text), 1)

	status, text = s.ask("GET", "/api/v1/traces/1", "")
	assert.Equal(t, 200, status)
	shown := into[map[string]any](s, text)
	assert.EqualValues(t, 10.668, shown["findings"].(map[string]any)["max_lift_mm"])
	assert.Len(t, shown["notes"], 1)
	assert.Equal(t, "3E", shown["valve"])

	status, text = s.ask("PATCH", "/api/v1/traces/1", `{"remark":"after the shim"}`)
	assert.Equal(t, 200, status)
	sum := into[storage.Summary](s, text)
	assert.Equal(t, "after the shim", sum.Remark)
	assert.Equal(t, "3E", sum.Valve, "what was not named stays")
	_, text = s.ask("GET", "/api/v1/traces/1", "")
	assert.Contains(t, text, `"remark":"after the shim"`)

	r, err := http.NewRequest("GET", s.url+"/api/v1/traces/1/export?format=jsonl", nil)
	require.NoError(t, err)
	answer, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer answer.Body.Close()
	assert.Equal(t, "attachment; filename=trace-1-demo-3E.jsonl", answer.Header.Get("Content-Disposition"))
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	assert.Equal(t, "t_s,lift_mm\n1,jsonl\n", string(body))

	status, text = s.ask("POST", "/api/v1/traces?name=..%2F..%2Fetc%2Fturn%20one.csv", "t_s,lift_mm\n")
	assert.Equal(t, 201, status)
	assert.JSONEq(t, `{"id":1}`, text)
	assert.Equal(t, "import turn_one.csv 12", s.bench.last())
}

func TestFileNames(t *testing.T) {
	for name, want := range map[string]string{
		"turn.csv": "turn.csv", "../../etc/passwd": "passwd", `C:\Users\x\turn 2.csv`: "turn_2.csv",
		"": "trace.csv", ".": "trace.csv", "..": "trace.csv", "...": "trace.csv", "/": "trace.csv",
		".bashrc": "bashrc", "-rf": "rf", "a\x00b\r\n\x1b[31m.csv": "ab31m.csv", `x";rm -rf *.csv`: "xrm_-rf_.csv",
		"NUL": "_NUL", "com1.csv": "_com1.csv", "turn\u202evsc.exe": "turnvsc.exe", "Übermaß.csv": "Übermaß.csv",
		strings.Repeat("x", 300) + ".csv": strings.Repeat("x", 96) + ".csv",
	} {
		assert.Equal(t, want, fileName(name, "trace.csv"), "%q", name)
	}
}

// Half a file must not look like a whole one.
func TestAnExportThatFails(t *testing.T) {
	s := serve(t, nil)
	s.record(storage.Head{}, 10)
	s.bench.refuse = fmt.Errorf("reading trace 1: the disk does not answer")
	status, text := s.ask("GET", "/api/v1/traces/1/export", "")
	assert.Equal(t, 500, status)
	assert.Contains(t, text, "Reading trace 1: the disk does not answer.")
	s.bench.late = true
	answer, err := http.Get(s.url + "/api/v1/traces/1/export")
	if err == nil {
		_, err = io.ReadAll(answer.Body)
		answer.Body.Close()
	}
	assert.Error(t, err, "the connection breaks off")
}

func TestUploadsHavePlaces(t *testing.T) {
	s := serve(t, nil)
	for range uploadsAtOnce {
		s.server.uploads <- struct{}{}
	}
	status, text := s.ask("POST", "/api/v1/traces?name=x.csv", "t_s")
	assert.Equal(t, 503, status, text)
}

// A trace is of an engine and a valve that are there; what it is of already may
// stay when the engine is gone.
func TestLabelsAreChecked(t *testing.T) {
	s := serve(t, nil)
	e, err := s.store.PutEngine(storage.Engine{ID: "mule", Cylinders: 4, ValvesPerCylinder: 2})
	require.NoError(t, err)
	s.record(storage.Head{}, 10)
	for body, says := range map[string]string{
		`{"engine":"mull"}`:                             "did you mean mule?",
		`{"engine":"mule","valve":"5I"}`:                `valve cannot be`,
		`{"valve":"third from the left"}`:               `as in \"3I\" or \"3E\"`,
		`{"engine":"mule","valve":"1I","trial":"t999"}`: "no trial",
	} {
		status, text := s.ask("PATCH", "/api/v1/traces/1", body)
		assert.Equal(t, 400, status, body)
		assert.Contains(t, text, says)
	}
	h, err := s.store.Head(1)
	require.NoError(t, err)
	assert.Empty(t, h.Engine+h.Valve, "nothing was changed")
	status, text := s.ask("PATCH", "/api/v1/traces/1", `{"engine":"mule","valve":"4E"}`)
	require.Equal(t, 200, status, text)
	sum := into[storage.Summary](s, text)
	assert.Equal(t, 4, sum.Cylinder)
	assert.Equal(t, valve.Exhaust, sum.Kind)
	require.NoError(t, s.store.DeleteEngine("mule", e.Rev))
	status, text = s.ask("PATCH", "/api/v1/traces/1", `{"remark":"of the engine that was sold","engine":"mule"}`)
	assert.Equal(t, 200, status, text)
}
