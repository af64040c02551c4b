package dashboard

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestThePageOnDiskGoesBeforeTheEmbeddedOne(t *testing.T) {
	embeddedPage, err := newAssets(nil)
	require.NoError(t, err)
	_, err = embeddedPage.load("index.html")
	require.NoError(t, err, "the page is in the binary")
	_, err = embeddedPage.load("node_modules/preact/package.json")
	require.Error(t, err, "and its tooling is not")

	dir := t.TempDir()
	for name, f := range wholePage() {
		writeFile(t, filepath.Join(dir, name), string(f.Data))
	}
	s := serve(t, func(o *Options) { o.Page = os.DirFS(dir) })
	_, text := s.ask("GET", "/", "")
	assert.Contains(t, text, "<title>page</title>")
	writeFile(t, filepath.Join(dir, "index.html"), "changed")
	_, text = s.ask("GET", "/", "")
	assert.Equal(t, "changed", text, "a change shows at once")
	writeFile(t, filepath.Join(dir, "..", "secret.txt"), "secret")
	status, _ := s.ask("GET", "/../secret.txt", "")
	assert.Equal(t, 404, status)
}

func TestAPageWithoutItsLibrariesSaysWhatToRun(t *testing.T) {
	page := wholePage()
	delete(page, "lib/htm.js")
	s := serve(t, func(o *Options) { o.Page = page })
	status, text := s.ask("GET", "/", "")
	assert.Equal(t, 503, status)
	assert.Contains(t, text, "go generate ./...")
	assert.Contains(t, text, "lib/htm.js")
	status, _ = s.ask("GET", "/api/v1/state", "")
	assert.Equal(t, 200, status, "the daemon works all the same")
}

func TestOnlyDocumentsCarryThePagesPolicy(t *testing.T) {
	page := wholePage()
	for _, name := range []string{"app.js", "views/bench.js", "style.css", "icon.svg"} {
		page[name] = &fstest.MapFile{Data: []byte("x")}
	}
	s := serve(t, func(o *Options) { o.Page = page })
	policy := func(path string) (string, http.Header) {
		answer, err := http.Get(s.url + path)
		require.NoError(t, err)
		answer.Body.Close()
		assert.Equal(t, 200, answer.StatusCode, path)
		assert.Equal(t, "nosniff", answer.Header.Get("X-Content-Type-Options"), path)
		assert.Equal(t, "no-referrer", answer.Header.Get("Referrer-Policy"), path)
		assert.Equal(t, "same-origin", answer.Header.Get("Cross-Origin-Resource-Policy"), path)
		return answer.Header.Get("Content-Security-Policy"), answer.Header
	}
	for _, path := range []string{"/app.js", "/views/bench.js", "/style.css"} {
		p, _ := policy(path)
		assert.Equal(t, "default-src 'none'; frame-ancestors 'none'", p, "%s opened by itself may do nothing", path)
	}
	for _, path := range []string{"/icon.svg", "/api/v1/settings"} {
		p, h := policy(path)
		assert.Contains(t, p, "script-src 'self'", path)
		assert.Equal(t, "DENY", h.Get("X-Frame-Options"), path)
	}
}

func TestAssetsArePackedAndTagged(t *testing.T) {
	page := fstest.MapFS{"app.js": {Data: []byte(strings.Repeat("export const lift = 1;\n", 100))}}
	a := &assets{files: page, kept: map[string]*asset{}}
	get := func(header map[string]string) *http.Response {
		r, err := http.NewRequest("GET", "/app.js", nil)
		require.NoError(t, err)
		for k, v := range header {
			r.Header.Set(k, v)
		}
		w := httptest.NewRecorder()
		a.ServeHTTP(w, r)
		return w.Result()
	}
	plain := get(nil)
	assert.Equal(t, "text/javascript; charset=utf-8", plain.Header.Get("Content-Type"))
	assert.Empty(t, plain.Header.Get("Content-Encoding"))
	packed := get(map[string]string{"Accept-Encoding": "gzip, br"})
	assert.Equal(t, "gzip", packed.Header.Get("Content-Encoding"))
	assert.Less(t, packed.ContentLength, plain.ContentLength/5)
	assert.NotEqual(t, plain.Header.Get("ETag"), packed.Header.Get("ETag"))
	assert.Equal(t, 304, get(map[string]string{"If-None-Match": plain.Header.Get("ETag")}).StatusCode)
	assert.Equal(t, 200, get(map[string]string{"If-None-Match": `"other"`}).StatusCode)
}
