package dashboard

import (
	"context"
	"encoding/json"
	"net"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/time/rate"

	"lobescribe/dashboard/live"
	"lobescribe/storage"
)

// FuzzBodies sends any text as the body of every call that takes one. Whatever
// it is, the answer is one the client can act on: never a fault of the server,
// and a refusal is JSON that says why.
func FuzzBodies(f *testing.F) {
	paths := []string{
		"PATCH /api/v1/traces/1", "POST /api/v1/replay", "PATCH /api/v1/replay", "PUT /api/v1/bench", "PUT /api/v1/settings",
		"POST /api/v1/engines", "PUT /api/v1/engines/demo", "POST /api/v1/engines/demo/trials", "PUT /api/v1/trials/t000001",
		"POST /api/v1/devices/preview", "PUT /api/v1/devices/indicator", "POST /api/v1/simulator",
		"POST /api/v1/calc/shims", "POST /api/v1/calc/pushrod", "POST /api/v1/calc/rocker",
	}
	for i, body := range []string{
		`{"engine":"demo","valve":"1I","trial":"","remark":"x"}`, `{"trace":1,"rate":2,"from_s":0.5}`, `{"rate":1,"paused":true,"at_s":1e3}`,
		`{"engine":"demo"}`, `{"units":"mm"}`, demoEngine, demoEngine, `{"valve":"1I","stack_mm":[1,0.5]}`, `{"engine":"demo","valve":"1I","rev":1}`,
		`{"address":"serial:COM3"}`, `{"address":"tcp://127.0.0.1:4001"}`, `{"on":true}`,
		`{"rocker_ratio":1.5,"trials":[{"stack_mm":[1.5],"adjuster_below_valve_mm":-1e-3}]}`, `{}`, `{"rocker_ratio":1.5,"lift_mm":10.668}`,
	} {
		f.Add(uint8(i), body)
	}
	f.Add(uint8(0), `{"remark":null}`)
	f.Add(uint8(5), `{"cylinders":1e999}`)
	f.Add(uint8(5), strings.Repeat(`{"cam_card":`, 100))
	f.Add(uint8(12), `[[[[`)

	store, err := storage.Open(filepath.Join(f.TempDir(), "fuzz.lobescribe"), storage.Options{})
	require.NoError(f, err)
	f.Cleanup(func() { store.Close() })
	w, err := store.Begin(storage.Head{})
	require.NoError(f, err)
	require.NoError(f, w.End())
	hub := live.NewHub(live.HubOptions{})
	f.Cleanup(hub.Close)
	s, err := New(Options{Hub: hub, Store: store, Bench: &bench{store: store}, Page: wholePage()})
	require.NoError(f, err)
	s.rate.SetLimit(rate.Inf)
	h := s.Handler()

	f.Fuzz(func(t *testing.T, which uint8, body string) {
		method, path, _ := strings.Cut(paths[int(which)%len(paths)], " ")
		r := httptest.NewRequest(method, path, strings.NewReader(body))
		r.Host, r.RemoteAddr = "127.0.0.1:8417", "127.0.0.1:50000"
		r.Header.Set("Origin", "http://127.0.0.1:8417")
		r.Header.Set("Content-Type", "application/json")
		r = r.WithContext(context.WithValue(r.Context(), http.LocalAddrContextKey, net.Addr(&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8417})))
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code >= 500 {
			t.Fatalf("%s %s with %q: %d %s", method, path, body, w.Code, w.Body)
		}
		if w.Code >= 400 {
			var said struct{ Error string }
			if json.Unmarshal(w.Body.Bytes(), &said) != nil || said.Error == "" {
				t.Fatalf("%s %s with %q: %d says nothing: %s", method, path, body, w.Code, w.Body)
			}
		}
	})
}
