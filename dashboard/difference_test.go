package dashboard

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/timing"
	"lobescribe/storage"
)

func TestDifferenceOfTwoTraces(t *testing.T) {
	s := serve(t, nil)
	a, b := s.turn(storage.Head{Valve: "1I"}, 110), s.turn(storage.Head{Valve: "2I"}, 113)
	status, text := s.ask("GET", fmt.Sprintf("/api/v1/difference?first=%d&second=%d&unit=in", a, b), "")
	require.Equal(t, 200, status, text)
	d := into[timing.Result](s, text).Difference
	require.NotNil(t, d)
	assert.Equal(t, "same", d.Is)
	assert.InDelta(t, 3, d.Turned.Degrees(), 0.1, "113 less 110")
	assert.Contains(t, d.Says.String(), " in ", "in the unit asked for")
	status, text = s.ask("GET", fmt.Sprintf("/api/v1/difference?first=%d", a), "")
	assert.Equal(t, 400, status, text)
	assert.Contains(t, text, "second")
}
