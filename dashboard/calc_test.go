package dashboard

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The arithmetic has its own tests; here it is that the question goes in and
// the answer comes out, and what a person reads when it does not.
func TestCalculations(t *testing.T) {
	s := serve(t, nil)
	status, text := s.ask("POST", "/api/v1/calc/shims", `{"rocker_ratio":1.5,"trials":[{"stack_mm":1.5,"adjuster_below_valve_mm":-1}]}`)
	require.Equal(t, 200, status, text)
	assert.Contains(t, into[map[string]any](s, text), "wanted_mm")
	status, text = s.ask("POST", "/api/v1/calc/rocker", `{"rocker_ratio":1.5,"lift_mm":10.668}`)
	require.Equal(t, 200, status, text)

	for _, c := range []struct {
		what, body string
		status     int
		field      string
	}{
		{"shims", `{"rocker_ratio":1.5,"trials":[{"stak_mm":1.5}]}`, 400, "trials[0].stak_mm"},
		{"shims", `{"rocker_ratio":null}`, 400, "rocker_ratio"},
		{"rocker", `{"rocker_ratio":99,"lift_mm":10}`, 400, "rocker_ratio"},
		{"rocker", `{`, 400, ""},
		{"telepathy", `{}`, 404, ""},
	} {
		status, text := s.ask("POST", "/api/v1/calc/"+c.what, c.body)
		assert.Equal(t, c.status, status, text)
		assert.Equal(t, c.field, into[map[string]string](s, text)["field"], text)
	}
}
