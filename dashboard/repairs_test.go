package dashboard

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/keep"
	"lobescribe/dashboard/live"
	"lobescribe/storage"
)

// What a repair has cost is told until somebody dismisses it.
func TestRepairsAreToldUntilDismissed(t *testing.T) {
	s := serve(t, nil)
	status, text := s.ask("GET", "/api/v1/repairs", "")
	require.Equal(t, 200, status)
	assert.JSONEq(t, "[]", text)

	for range 3 {
		w, err := s.store.Begin(storage.Head{})
		require.NoError(t, err)
		require.NoError(t, w.End())
	}
	f, err := os.OpenFile(s.store.Path(), os.O_WRONLY, 0)
	require.NoError(t, err)
	defer f.Close()
	info, err := f.Stat()
	require.NoError(t, err)
	_, err = f.WriteAt(make([]byte, info.Size()-9000), 9000)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	for err := error(nil); err == nil; {
		_, err = s.store.Traces(storage.Query{})
		if err == nil {
			_, err = s.store.Begin(storage.Head{})
		}
	}
	_, err = s.store.Mend(t.Context())
	require.NoError(t, err)
	status, text = s.ask("GET", "/api/v1/repairs", "")
	require.Equal(t, 200, status)
	var list []storage.Repaired
	require.NoError(t, json.Unmarshal([]byte(text), &list))
	require.Len(t, list, 1, text)
	s.hub.Publish(live.RepairsOf(list), 0)
	require.Len(t, s.hub.Now().Repairs, 1)
	assert.Contains(t, s.hub.Now().Repairs[0].Says, "The store was found hurt")

	status, _ = s.ask("DELETE", "/api/v1/repairs/none", "")
	assert.Equal(t, 404, status)
	status, _ = s.ask("DELETE", "/api/v1/repairs/"+list[0].ID, "")
	assert.Equal(t, 204, status)
	assert.Empty(t, s.hub.Now().Repairs)
	_, text = s.ask("GET", "/api/v1/repairs", "")
	assert.JSONEq(t, "[]", text)
	_, text = s.ask("GET", "/api/v1/repairs?all", "")
	assert.Contains(t, text, list[0].ID)
}

// What is nested deeper than anything needs is refused before it costs memory,
// and no answer is as long as what was sent.
func TestWhatIsNestedDeepIsRefused(t *testing.T) {
	s := serve(t, nil)
	for _, body := range []string{strings.Repeat("[", 1<<20), strings.Repeat(`{"a":`, 100_000), `{"` + strings.Repeat("x", 1<<19) + `":1}`} {
		status, text := s.ask("POST", "/api/v1/calc/shims", body)
		assert.Equal(t, 400, status)
		assert.Less(t, len(text), 5000)
	}
	assert.False(t, tooDeep([]byte(`{"a":"[[[[\"[[[`+strings.Repeat("[", 100)+`"}`)))
	assert.True(t, tooDeep([]byte(strings.Repeat("[", deepest+1))))
	assert.False(t, tooDeep([]byte(strings.Repeat("[]", 1000))))
}

// A trace that fails is a fault of the health.
func TestReadingsBeingLostAreAFault(t *testing.T) {
	s := serve(t, nil)
	s.hub.Publish(keep.State{ID: 1, State: keep.StateFailed, Says: "Memory is full too"}, 0)
	status, text := s.ask("GET", "/healthz", "")
	assert.Equal(t, 503, status)
	assert.Contains(t, text, "eadings are being lost. Memory is full too")
}
