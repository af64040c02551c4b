package dashboard

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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
	require.NoError(t, os.Truncate(s.store.Path(), 9000))
	for err := error(nil); err == nil; {
		_, err = s.store.Traces(storage.Query{})
		if err == nil {
			_, err = s.store.Begin(storage.Head{})
		}
	}
	_, err := s.store.Mend(t.Context())
	require.NoError(t, err)
	status, text = s.ask("GET", "/api/v1/repairs", "")
	require.Equal(t, 200, status)
	var list []storage.Repaired
	require.NoError(t, json.Unmarshal([]byte(text), &list))
	require.Len(t, list, 1, text)
	s.hub.Publish(RepairsOf(list), 0)
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
