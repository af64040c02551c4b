package dashboard

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/dashboard/sheet"
	"lobescribe/storage"
)

func TestAPointIsWaivedByNameAndTakenBack(t *testing.T) {
	s := serve(t, nil)
	_, err := s.store.PutEngine(storage.Engine{ID: "demo", Cylinders: 1, ValvesPerCylinder: 2})
	require.NoError(t, err)
	open := func(text string) (n int) {
		for _, c := range into[sheet.Gate](s, text).Checks {
			if !c.Passed() {
				n++
			}
		}
		return n
	}
	status, text := s.ask("GET", "/api/v1/engines/demo/gate", "")
	require.Equal(t, 200, status, text)
	before := open(text)
	require.Greater(t, before, 3)
	assert.True(t, into[sheet.Gate](s, text).Draft)

	for body, field := range map[string]string{`{}`: "by", `{"by":"A. Fitter"}`: "why", `{"by":" ","why":"x"}`: "by"} {
		status, text = s.ask("PUT", "/api/v1/engines/demo/gate/tdc", body)
		assert.Equal(t, 400, status, text)
		assert.Contains(t, text, `"field":"`+field+`"`)
	}
	status, text = s.ask("PUT", "/api/v1/engines/demo/gate/nothing", `{"by":"a","why":"b"}`)
	assert.Equal(t, 404, status, text)

	status, text = s.ask("PUT", "/api/v1/engines/demo/gate/tdc", `{"by":"A. Fitter","why":"no encoder on this one"}`)
	require.Equal(t, 200, status, text)
	assert.Equal(t, before-1, open(text))
	status, text = s.ask("PUT", "/api/v1/engines/demo/gate/tdc", `{"by":"B. Fitter","why":"again"}`)
	require.Equal(t, 200, status, text)
	assert.Equal(t, before-1, open(text), "once, not twice")
	e, err := s.store.Engine("demo")
	require.NoError(t, err)
	require.Len(t, e.Waived, 1)
	assert.Equal(t, "B. Fitter", e.Waived[0].By)
	status, text = s.ask("DELETE", "/api/v1/engines/demo/gate/tdc", "")
	require.Equal(t, 200, status, text)
	assert.Equal(t, before, open(text))
}
