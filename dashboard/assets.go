package dashboard

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"sync"
)

// The page's libraries are fetched by the lock file beside its tooling, which
// stands outside of what is embedded.
//
//go:generate npm ci --prefix ui --no-audit --no-fund
//go:generate node ui/vendor.mjs

//go:embed page
var embedded embed.FS

// libraries are the files without which the page cannot start.
var libraries = []string{"lib/preact.js", "lib/hooks.js", "lib/htm.js", "lib/uplot.js", "lib/uplot.css"}

// assets serves the page's files. From the binary they are read, packed and
// numbered once; from a folder every request reads them afresh, since somebody
// is working on them.
type assets struct {
	files fs.FS
	fresh bool

	mu   sync.Mutex
	kept map[string]*asset
}

type asset struct {
	body, packed []byte // packed is nil where packing gains nothing
	kind, tag    string
}

// newAssets takes the files under override, or the embedded ones when it is
// nil. A folder wins whole: two halves of different versions would be nobody's
// page.
func newAssets(override fs.FS) (*assets, error) {
	if override != nil {
		return &assets{files: override, fresh: true}, nil
	}
	page, err := fs.Sub(embedded, "page")
	if err != nil {
		return nil, fmt.Errorf("opening the embedded page: %w", err)
	}
	return &assets{files: page, kept: make(map[string]*asset)}, nil
}

// missing lists the libraries that have not been fetched.
func (a *assets) missing() []string {
	var names []string
	for _, name := range libraries {
		if _, err := fs.Stat(a.files, name); err != nil {
			names = append(names, name)
		}
	}
	return names
}

func (a *assets) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		http.Error(w, "Pages can only be read.", http.StatusMethodNotAllowed)
		return
	}
	name := strings.TrimPrefix(path.Clean("/"+r.URL.Path), "/")
	if name == "" {
		name = "index.html"
	}
	if name == "index.html" {
		if missing := a.missing(); len(missing) > 0 {
			tellWhatToRun(w, missing)
			return
		}
	}
	f, err := a.load(name)
	if err != nil {
		http.Error(w, "There is no such page. Lobescribe's page is at /", http.StatusNotFound)
		return
	}
	h := w.Header()
	h.Set("Content-Type", f.kind)
	h.Set("Cache-Control", "no-cache") // ask each time; the tag makes that cheap
	h.Set("Vary", "Accept-Encoding")
	h.Set("ETag", f.tag)
	if strings.HasPrefix(f.kind, "text/javascript") || strings.HasPrefix(f.kind, "text/css") {
		partOfAPage(h)
	}
	body := f.body
	if f.packed != nil && strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		h.Set("ETag", strings.TrimSuffix(f.tag, `"`)+`-gz"`)
		body = f.packed
	}
	for tag := range strings.SplitSeq(r.Header.Get("If-None-Match"), ",") {
		if strings.TrimSpace(tag) == h.Get("ETag") {
			w.WriteHeader(http.StatusNotModified)
			return
		}
	}
	h.Set("Content-Length", fmt.Sprint(len(body)))
	if r.Method != http.MethodHead {
		_, _ = w.Write(body) // the client has gone: nothing to do about it
	}
}

// partOfAPage narrows the headers of what is no document: the page's policy is its
// document's, and told again with each of some ninety modules it is an eighth of all
// that a phone fetches. Whoever opens a module by itself gets one that allows nothing.
func partOfAPage(h http.Header) {
	h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
	for _, of := range []string{"Permissions-Policy", "Cross-Origin-Opener-Policy", "X-Frame-Options"} {
		h.Del(of) // they govern documents
	}
}

func (a *assets) load(name string) (*asset, error) {
	if !a.fresh {
		a.mu.Lock()
		defer a.mu.Unlock()
		if f, ok := a.kept[name]; ok {
			return f, nil
		}
	}
	body, err := fs.ReadFile(a.files, name)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(body)
	f := &asset{body: body, kind: kindOf(name), tag: `"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`}
	if a.fresh {
		return f, nil
	}
	if packed := pack(body); len(packed) < len(body)*9/10 {
		f.packed = packed
	}
	a.kept[name] = f
	return f, nil
}

func pack(body []byte) []byte {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		return body
	}
	_, err = z.Write(body)
	if err != nil || z.Close() != nil {
		return body
	}
	return b.Bytes()
}

// kindOf does not ask the system for the types that matter: a registry entry
// on somebody's machine must not turn a module into plain text.
func kindOf(name string) string {
	switch path.Ext(name) {
	case ".html":
		return "text/html; charset=utf-8"
	case ".js", ".mjs":
		return "text/javascript; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	case ".json", ".webmanifest":
		return "application/json"
	case ".txt":
		return "text/plain; charset=utf-8"
	}
	return cmp.Or(mime.TypeByExtension(path.Ext(name)), "application/octet-stream")
}

// whatToRun lacks the names of what is missing.
const whatToRun = `<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>Lobescribe</title></head>
<body><h1>Lobescribe is running, but its page is not complete</h1>
<p>The libraries of the page were not there when this program was built. In the source folder, with Node installed, run</p>
<pre>go generate ./...</pre>
<p>then build again and reload this page. The daemon itself works: readings are being taken and kept, and everything on the command line is there.</p>
<p>Missing: %s.</p></body></html>
`

func tellWhatToRun(w http.ResponseWriter, missing []string) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(http.StatusServiceUnavailable)
	_, _ = fmt.Fprintf(w, whatToRun, html.EscapeString(strings.Join(missing, ", "))) // the client has gone: nothing to do about it
}
