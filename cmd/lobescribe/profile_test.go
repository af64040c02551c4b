package main

import (
	"io"
	"net"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheProfilerIsForThisMachineAlone(t *testing.T) {
	for _, addr := range []string{"0.0.0.0:6060", ":6060", "192.0.2.1:6060", "localhost", "6060"} {
		_, err := profile(addr)
		assert.ErrorContains(t, err, "as in 127.0.0.1:6060", addr)
	}
}

func TestTheProfilerHasTheSameDoor(t *testing.T) {
	addr := freeAddress(t)
	stop, err := profile(addr)
	require.NoError(t, err)
	get := func(change func(*http.Request)) (int, string) {
		q, err := http.NewRequest(http.MethodGet, "http://"+addr+"/debug/pprof/goroutine?debug=1", nil)
		require.NoError(t, err)
		change(q)
		r, err := http.DefaultClient.Do(q)
		require.NoError(t, err)
		defer r.Body.Close()
		b, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		return r.StatusCode, string(b)
	}
	code, text := get(func(*http.Request) {})
	assert.Equal(t, http.StatusOK, code)
	assert.Contains(t, text, "goroutine profile")
	code, text = get(func(q *http.Request) { q.Host = "rebound.example" })
	assert.GreaterOrEqual(t, code, 400, "a rebound name")
	assert.NotContains(t, text, "goroutine profile")
	code, text = get(func(q *http.Request) { q.Header.Set("Origin", "https://elsewhere.example") })
	assert.GreaterOrEqual(t, code, 400, "a page elsewhere")
	assert.NotContains(t, text, "goroutine profile")
	require.NoError(t, stop())
	_, err = net.Dial("tcp", addr)
	assert.Error(t, err, "it is gone when the daemon is")
}
