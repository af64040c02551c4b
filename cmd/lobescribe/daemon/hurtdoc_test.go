package daemon

import (
	"context"
	"encoding/json"
	"net"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/capture/prove"
	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
	"lobescribe/storage"
)

// A document of each kind that does not read any more: the daemon starts all the
// same, a list has the others or says what is wrong and is never empty, the store
// is repaired behind that, and the record of the repair names the document.
func TestHurtDocumentOfEachKind(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		key   string // of the document that is hurt
		lists []string
		left  int // in each list besides
	}{
		{"engine/a", []string{"/api/v1/engines"}, 1},
		{"trial/t000001", []string{"/api/v1/engines/a/trials"}, 1},
		{"trial/t000003", []string{"/api/v1/engines/b/trials"}, 0},
		{"work/w000004", []string{"/api/v1/engines/a/works"}, 1},
		{"work/", []string{"/api/v1/engines/a/works"}, 0}, // all of them
		{"photograph/t000001.", []string{"/api/v1/trials/t000001/photographs"}, 0},
		{"bench/", nil, 0},
		{"indicator/", nil, 0},
	} {
		t.Run(strings.ReplaceAll(c.key, "/", " "), func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), "s")
			s, err := storage.Open(path, storage.Options{})
			require.NoError(t, err)
			must := func(_ any, err error) { t.Helper(); require.NoError(t, err) }
			for _, id := range []string{"a", "b"} {
				e, err := s.PutEngine(storage.Engine{ID: id, Cylinders: 1, ValvesPerCylinder: 2})
				require.NoError(t, err)
				e.Notes = "changed"
				must(s.PutEngine(e))
			}
			for _, engine := range []string{"a", "a", "b"} {
				must(s.PutTrial(storage.Trial{Engine: engine, Valve: "1I"}))
			}
			for range 2 {
				must(s.PutWork(storage.Work{Engine: "a", Kind: storage.WorkSpring, Question: json.RawMessage(`{}`)}))
			}
			must(s.PutPhotograph(storage.Photograph{Trial: "t000001", JPEG: []byte{0xff, 0xd8}, Width: 1, Height: 1}))
			must(s.PutBench(storage.Bench{Engine: "a", Valve: "1I"}))
			must(nil, s.PutIndicator(storage.Indicator{ID: "usb:1", Proof: prove.Proof{}}))
			require.NoError(t, s.Close())

			hit := map[string]bool{}
			s, err = storage.Open(path, storage.Options{Opened: func(db *bbolt.DB) {
				if len(hit) > 0 {
					return // it is the repaired one
				}
				require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
					docs := tx.Bucket([]byte("docs"))
					return docs.ForEach(func(k, v []byte) error {
						if !strings.HasPrefix(string(k), c.key) {
							return nil
						}
						hit[string(k)] = true
						b := append([]byte{}, v...)
						b[len(b)/2] ^= 1
						return docs.Put(append([]byte{}, k...), b)
					})
				}))
			}})
			require.NoError(t, err)
			require.NotEmpty(t, hit)

			// Before anybody has looked the store through.
			hub := live.NewHub(live.HubOptions{})
			web, err := dashboard.New(dashboard.Options{Hub: hub, Store: s, Bench: new(Daemon)})
			require.NoError(t, err)
			ask := func(path string) (int, string) {
				here := context.WithValue(t.Context(), http.LocalAddrContextKey, &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8417})
				r := httptest.NewRequestWithContext(here, http.MethodGet, "http://127.0.0.1:8417"+path, nil)
				r.RemoteAddr = "127.0.0.1:54321"
				w := httptest.NewRecorder()
				web.Handler().ServeHTTP(w, r)
				return w.Code, w.Body.String()
			}
			for _, list := range c.lists {
				status, text := ask(list)
				if c.left == 0 {
					assert.Equal(t, 500, status, text)
					assert.Contains(t, text, "does not read")
					continue
				}
				var got []any
				require.Equal(t, 200, status, text)
				require.NoError(t, json.Unmarshal([]byte(text), &got))
				assert.Len(t, got, c.left)
			}
			hub.Close()

			ctx, stop := context.WithCancel(t.Context())
			hub = live.NewHub(live.HubOptions{})
			d := New(ctx, Options{Store: s, Hub: hub, Source: SourceLive})
			require.NoError(t, d.Restore(), "it starts")
			require.NoError(t, s.Proved(ctx))
			records, err := s.Repairs(true)
			require.NoError(t, err)
			told := map[string]bool{}
			for _, r := range records {
				for _, name := range append(r.Documents, r.Older...) {
					told[name] = true
				}
			}
			for key := range hit {
				assert.True(t, told[key], "the record of the repair names %s: %+v", key, records)
			}
			for _, list := range c.lists {
				status, text := ask(list)
				assert.Contains(t, []int{200, 404}, status, "once it is repaired: %s", text)
			}
			stop()
			require.NoError(t, d.Wait())
			hub.Close()
			require.NoError(t, s.Close())
		})
	}
}
