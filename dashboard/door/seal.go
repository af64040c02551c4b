package door

import "net/http"

// seal sets the headers every answer carries. A handler may set a narrower
// policy of its own before it writes.
//
// No inline script and no inline style: charts and views set styles through
// the object model, which the policy allows. Older browsers do not take 'self'
// to cover a socket, so its address is spelled out; Host is checked before
// anything of ours is served, and a foreign one gets no page to run under this
// policy.
func seal(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	sockets := ""
	if plainHost(r.Host) {
		scheme := "ws://"
		if r.TLS != nil {
			scheme = "wss://"
		}
		sockets = " " + scheme + r.Host
	}
	h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "+
		"font-src 'self'; media-src 'self' data:; manifest-src 'self'; worker-src 'self'; connect-src 'self'"+sockets+"; "+
		"base-uri 'none'; form-action 'self'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY") // for browsers that do not know frame-ancestors
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=(), usb=(), serial=(), payment=()")
}

// plainHost keeps anything out of the policy that could end a directive.
func plainHost(host string) bool {
	for _, c := range []byte(host) {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9':
		case c == '.', c == ':', c == '-', c == '[', c == ']':
		default:
			return false
		}
	}
	return host != ""
}
