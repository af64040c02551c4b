package dashboard

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The map of the valves says what the builder calls each; a name that is another
// valve's is refused, with its field.
func TestOwnNamesComeWithTheValves(t *testing.T) {
	s := serve(t, nil)
	status, text := s.ask("POST", "/api/v1/engines", `{"name":"four","cylinders":4,"valves_per_cylinder":2,"valve_names":{"3I":"A3"}}`)
	require.Equal(t, 201, status, text)
	status, text = s.ask("GET", "/api/v1/engines/four/valves", "")
	require.Equal(t, 200, status, text)
	own := map[string]string{}
	for _, v := range into[[]valveState](s, text) {
		own[v.Valve] = v.Own
	}
	require.Len(t, own, 8)
	assert.Equal(t, "A3", own["3I"])
	assert.Empty(t, own["3E"])
	status, text = s.ask("POST", "/api/v1/engines", `{"name":"other","cylinders":4,"valves_per_cylinder":2,"valve_names":{"3I":"3 exhaust"}}`)
	assert.Equal(t, 400, status, text)
	assert.Contains(t, text, `"field":"valve_names"`)
	assert.Contains(t, text, "another valve's name")
}
