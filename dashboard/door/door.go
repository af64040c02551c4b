package door

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"
)

// Options says how wide the door stands. The zero value lets in this machine
// only.
type Options struct {
	// LAN lets in other machines, with the key. Key must be set then.
	LAN bool
	Key Key
	// Names are further host names this machine goes by on the network, such
	// as "bench.local". Default: none.
	Names []string
	// Refuse writes an answer to somebody who stays out. Default: plain text.
	Refuse func(w http.ResponseWriter, r *http.Request, status int, says string)
	// Log gets a line for every refusal, at most some a second; see Spare. Default:
	// none are written.
	Log *slog.Logger
	// Known is told of each request that came with the key, so that whoever
	// counts connections knows a guest from a stranger. Default: nobody is.
	Known func(context.Context)
}

// Door guards a handler.
type Door struct {
	lan     bool
	key     Key
	names   []string
	refuse  func(http.ResponseWriter, *http.Request, int, string)
	log     *slog.Logger
	guesses *guesses
	known   func(context.Context)
}

// ErrNoKey refuses to open the door to the network without a key.
var ErrNoKey = errors.New("opening to the local network needs a key: make one with door.NewKey")

// New returns a door.
func New(o Options) (*Door, error) {
	if o.LAN && o.Key.IsZero() {
		return nil, ErrNoKey
	}
	d := &Door{lan: o.LAN, key: o.Key, refuse: o.Refuse, log: o.Log, guesses: newGuesses(), known: o.Known}
	for _, name := range o.Names {
		d.names = append(d.names, strings.ToLower(strings.TrimSuffix(name, ".")))
	}
	if d.refuse == nil {
		d.refuse = func(w http.ResponseWriter, _ *http.Request, status int, says string) { http.Error(w, says, status) }
	}
	if d.log == nil {
		d.log = slog.New(slog.DiscardHandler)
	}
	return d, nil
}

// Guard returns next behind the door.
func (d *Door) Guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		seal(w, r)
		no, withKey := d.judge(w, r)
		if no != nil {
			if no.redirect != "" {
				http.Redirect(w, r, no.redirect, http.StatusSeeOther)
				return
			}
			// A place is for whoever is let in.
			w.Header().Set("Connection", "close")
			d.log.Warn("request refused", "why", no.why, "method", r.Method, "path", r.URL.Path, "from", r.RemoteAddr)
			if no.again {
				askAgain(w)
				return
			}
			d.refuse(w, r, no.status, no.says)
			return
		}
		if withKey {
			if d.known != nil {
				d.known(r.Context())
			}
			r = r.WithContext(context.WithValue(r.Context(), shown{}, true))
		}
		next.ServeHTTP(w, r)
	})
}

// refusal is why a request goes no further.
type refusal struct {
	status   int
	why      string // for the log: a fixed word
	says     string // for the person
	redirect string // not a refusal: the same address without the key
	again    bool   // answer with a page that loads itself once more
}

// shown marks a request that came with the key.
type shown struct{}

func (d *Door) judge(w http.ResponseWriter, r *http.Request) (no *refusal, withKey bool) {
	local, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if !ok {
		return &refusal{status: http.StatusForbidden, why: "no-address", says: "This connection has no address of ours, so nobody can tell who is asking."}, false
	}
	here, err := netip.ParseAddrPort(local.String())
	if err != nil {
		return &refusal{status: http.StatusForbidden, why: "no-address", says: "This connection has no address of ours, so nobody can tell who is asking."}, false
	}
	if !d.lan && !(here.Addr().IsLoopback() && fromLoopback(r)) {
		return &refusal{status: http.StatusForbidden, why: "not-loopback",
			says: "Lobescribe answers only on this computer. To open it to the local network, start it with --lan."}, false
	}
	ours := d.ours(here)
	host := strings.ToLower(r.Host)
	if !slices.Contains(ours, host) {
		return &refusal{status: http.StatusForbidden, why: "foreign-host",
			says: "The address in your browser is not one of this daemon's. Open it as " + scheme(r) + "://" + ours[0] + "/ instead."}, false
	}
	if no := judgeOrigin(r, ours); no != nil {
		return no, false
	}
	return d.judgeKey(w, r, portOf(here))
}

func fromLoopback(r *http.Request) bool {
	from, err := netip.ParseAddrPort(r.RemoteAddr)
	return err == nil && from.Addr().Unmap().IsLoopback()
}

func portOf(a netip.AddrPort) string {
	_, port, _ := net.SplitHostPort(a.String())
	return port
}

// ours lists the values of Host that mean this daemon.
func (d *Door) ours(here netip.AddrPort) []string {
	port := portOf(here)
	hosts := []string{"localhost", "127.0.0.1", "[::1]"}
	if addr := here.Addr().Unmap().WithZone(""); d.lan && !addr.IsLoopback() {
		name := addr.String()
		if addr.Is6() {
			name = "[" + name + "]"
		}
		hosts = slices.Insert(append(hosts, d.names...), 0, name)
	} else if d.lan {
		hosts = append(hosts, d.names...)
	}
	list := make([]string, 0, len(hosts)+4)
	for _, h := range hosts {
		list = append(list, h+":"+port)
	}
	if port == "80" || port == "443" {
		list = append(list, hosts...)
	}
	return list
}

// judgeOrigin refuses what another site's page set off. Host has been found
// ours before.
func judgeOrigin(r *http.Request, ours []string) *refusal {
	foreign := &refusal{status: http.StatusForbidden, why: "foreign-origin",
		says: "A page from elsewhere asked for this. Lobescribe answers only to its own page."}
	if origins := r.Header.Values("Origin"); len(origins) > 1 {
		return foreign
	}
	if origin := r.Header.Get("Origin"); origin != "" {
		if !originIsOurs(r, origin, ours) {
			return foreign
		}
		return nil
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return nil
	}
	// Following a link from elsewhere to our page is harmless and usual; the
	// API has no business being opened that way.
	link := (r.Method == http.MethodGet || r.Method == http.MethodHead) && isPageVisit(r)
	if link && !strings.HasPrefix(r.URL.Path, "/api/") {
		return nil
	}
	return foreign
}

// isPageVisit tells that a browser's window goes to this address, as against
// a script, an image or a frame fetching it.
func isPageVisit(r *http.Request) bool {
	return r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document"
}

// originIsOurs wants the scheme that the connection has, so that a plain page
// on the same port cannot speak for a TLS one.
func originIsOurs(r *http.Request, origin string, ours []string) bool {
	u, err := url.Parse(origin)
	if err != nil || u.User != nil || u.Path != "" || u.RawQuery != "" || u.Fragment != "" || u.Opaque != "" {
		return false
	}
	// The page's own origin is the host it was loaded from: one of our names,
	// but not another of our names than the one this request went to.
	return u.Scheme == scheme(r) && strings.EqualFold(u.Host, r.Host) && slices.Contains(ours, strings.ToLower(u.Host))
}

func scheme(r *http.Request) string {
	if r.TLS != nil {
		return "https"
	}
	return "http"
}

func (d *Door) judgeKey(w http.ResponseWriter, r *http.Request, port string) (no *refusal, withKey bool) {
	o := offers(r, port)
	if !d.lan && (d.key.IsZero() || o.query == "" && o.bearer == "") {
		return nil, false // not needed; a cookie may be left over from a day with LAN
	}
	if !o.any() {
		if r.Header.Get("Sec-Fetch-Site") == "cross-site" && isPageVisit(r) {
			// A strict cookie does not travel with a link from another site.
			// A page of ours that loads itself again brings it along.
			return &refusal{status: http.StatusUnauthorized, why: "no-key", again: true}, false
		}
		return &refusal{status: http.StatusUnauthorized, why: "no-key",
			says: "This needs the key. Open the link (or scan the QR code) that the daemon printed when it started."}, false
	}
	// What is right is never counted and never refused, whoever has guessed from
	// the same machine: a page elsewhere can make a browser send wrong keys, and
	// at 128 bits there is nothing to be learned from being let in.
	switch {
	case d.key.opensCookie(o.cookie) || d.key.opens(o.bearer):
	case d.key.opens(o.query):
		d.key.setCookie(w, r, port)
	default:
		if !d.guesses.count(r.RemoteAddr) {
			w.Header().Set("Retry-After", "30")
			return &refusal{status: http.StatusTooManyRequests, why: "too-many-guesses",
				says: "Too many wrong keys from this machine. Wait half a minute, then open the link the daemon printed."}, false
		}
		if o.cookie != "" {
			dropCookie(w, r, port)
		}
		return &refusal{status: http.StatusUnauthorized, why: "wrong-key",
			says: "This is not the key (it may have been changed since). Open the link that the daemon printed when it started."}, false
	}
	if o.query != "" && (r.Method == http.MethodGet || r.Method == http.MethodHead) {
		return &refusal{redirect: withoutKey(r)}, true
	}
	return nil, true
}

// NamesDevice refuses a request that names a device unless it came with the
// key or from a page of ours. It answers itself when it refuses.
func (d *Door) NamesDevice(next http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		withKey, _ := r.Context().Value(shown{}).(bool)
		// Guard has found an Origin, if there is one, to be ours.
		if !withKey && r.Header.Get("Origin") == "" {
			d.log.Warn("request refused", "why", "device-without-origin", "method", r.Method, "path", r.URL.Path, "from", r.RemoteAddr)
			d.refuse(w, r, http.StatusForbidden, "Devices are chosen on Lobescribe's own page. From a script, send its address as Origin (for example "+scheme(r)+"://"+r.Host+"), or the key.")
			return
		}
		next(w, r)
	}
}

const again = `<!doctype html>
<html lang="en"><meta charset="utf-8"><meta http-equiv="refresh" content="0"><title>Lobescribe</title>
<p>One moment. If nothing happens, reload this page.</p></html>
`

func askAgain(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(http.StatusUnauthorized)
	_, _ = io.WriteString(w, again) // the visitor has gone: nothing to do about it
}
