package dashboard

import (
	"encoding/json"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What names a field twice is refused: RFC 8259, section 4, calls what a reader
// makes of it unpredictable, and ours would keep one and lose the other unsaid.
func TestAFieldThatStandsTwiceIsRefused(t *testing.T) {
	s := serve(t, nil)
	status, text := s.ask("POST", "/api/v1/engines", `{"name":"one","name":"two","type":"x"}`)
	assert.Equal(t, 400, status, text)
	assert.Contains(t, text, `stands there twice`)

	for text, want := range map[string]string{
		`{"a":1,"b":{"a":2},"c":[{"a":3},{"a":4}]}`: "",
		`{"a":"a","b":"a\":1,\"a"}`:                 "",
		`{"a":1 , "b":2,"a" : 3}`:                   "a",
		`{"a":1,"\u0061":2}`:                        "a",
		`[{"x":[{"b":1,"b":2}]}]`:                   "x.b",
		`["a","a"]`:                                 "",
		`}}"`:                                       "",
		`{"a`:                                       "",
		`{"\`:                                       "",
	} {
		name, many := doubled([]byte(text))
		assert.Equal(t, want, name, text)
		assert.False(t, many)
	}
	wide := map[string]int{}
	for i := range mostFields + 1 {
		wide[strconv.Itoa(i)] = i
	}
	body, err := json.Marshal(wide)
	require.NoError(t, err)
	_, many := doubled(body)
	assert.True(t, many)
	name, many := doubled([]byte(strings.Repeat(`"`, 1001)))
	assert.Empty(t, name)
	assert.False(t, many)
}
