package photo

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestMarkIsTwoNumbers(t *testing.T) {
	var p Point
	require.NoError(t, json.Unmarshal([]byte("[230, 12.5]"), &p))
	assert.Equal(t, Point{230, 12.5}, p)
	for _, text := range []string{"[230, null]", "[null, 1]", "[230]", "[1, 2, 3]", "[]", `["1", 2]`, "{}"} {
		assert.ErrorContains(t, json.Unmarshal([]byte(text), &p), "expected a mark as [x, y]", text)
	}
}
