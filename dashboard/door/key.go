package door

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"lobescribe/storage/textfile"
)

// Key is the secret that lets a browser in over the network. It prints as
// dots, so that no log line or error can give it away; [Key.Reveal] is for the
// link that is shown once.
type Key struct {
	text   string
	cookie string // what the cookie holds: see ParseKey
}

// keyBytes is 128 bits.
const keyBytes = 16

// NewKey makes a key of 128 random bits.
func NewKey() Key {
	var b [keyBytes]byte
	rand.Read(b[:]) // never fails: it ends the process instead
	k, err := ParseKey(base64.RawURLEncoding.EncodeToString(b[:]))
	if err != nil {
		panic("door: a new key is refused by its own parser: " + err.Error())
	}
	return k
}

// ErrKey says that a text is no key. It does not repeat the text.
var ErrKey = errors.New("this is not a key: a key is 22 letters and digits (with - and _), as the daemon prints it")

// ParseKey reads a key as [Key.Reveal] wrote it.
func ParseKey(text string) (Key, error) {
	b, err := base64.RawURLEncoding.Strict().DecodeString(text)
	if err != nil || len(b) != keyBytes {
		return Key{}, ErrKey
	}
	// The cookie holds a value derived from the key, so that a look at a
	// browser's cookies does not give the link away, and a new key turns every
	// old cookie off.
	mac := hmac.New(sha256.New, b)
	mac.Write([]byte("lobescribe cookie 1")) // never fails
	return Key{text: text, cookie: base64.RawURLEncoding.EncodeToString(mac.Sum(nil))}, nil
}

// IsZero tells that there is no key.
func (k Key) IsZero() bool { return k.text == "" }

// Reveal returns the key itself, for the link and its QR code.
func (k Key) Reveal() string { return k.text }

// String hides the key.
func (k Key) String() string { return "…" }

// GoString hides the key.
func (k Key) GoString() string { return "door.Key{…}" }

// opens tells whether text is the key.
func (k Key) opens(text string) bool { return !k.IsZero() && equal(text, k.text) }

// opensCookie is opens for the value of the cookie.
func (k Key) opensCookie(value string) bool { return !k.IsZero() && equal(value, k.cookie) }

// equal takes the same time whatever differs. Both sides are hashed first, so
// that not even the length shows.
func equal(a, b string) bool {
	ha, hb := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(ha[:], hb[:]) == 1
}

// cookieName carries the port, because cookies do not keep ports apart and two
// daemons may run on one machine.
func cookieName(port string) string { return "lobescribe-" + port }

// cookieAge is a long season of bench work; a new key ends it at once.
const cookieAge = 180 * 24 * 60 * 60

func (k Key) setCookie(w http.ResponseWriter, r *http.Request, port string) {
	http.SetCookie(w, &http.Cookie{
		Name: cookieName(port), Value: k.cookie, Path: "/", MaxAge: cookieAge,
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil,
	})
}

// dropCookie makes the browser forget a cookie of an older key, so that it
// does not go on being counted as guesses.
func dropCookie(w http.ResponseWriter, r *http.Request, port string) {
	http.SetCookie(w, &http.Cookie{
		Name: cookieName(port), Path: "/", MaxAge: -1,
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil,
	})
}

// offered returns what the request brings along to show that it has the key.
type offered struct {
	query, bearer, cookie string
}

func offers(r *http.Request, port string) offered {
	var o offered
	o.query = r.URL.Query().Get("key")
	if scheme, token, ok := strings.Cut(r.Header.Get("Authorization"), " "); ok && strings.EqualFold(scheme, "Bearer") {
		o.bearer = strings.TrimSpace(token)
	}
	if c, err := r.Cookie(cookieName(port)); err == nil {
		o.cookie = c.Value
	}
	return o
}

func (o offered) any() bool { return o != offered{} }

// withoutKey returns the address that was asked for, less the key.
func withoutKey(r *http.Request) string {
	u := *r.URL
	q := u.Query()
	q.Del("key")
	u.RawQuery = q.Encode()
	u.Scheme, u.Host, u.User, u.Fragment = "", "", nil, ""
	// A path like //elsewhere would be read as another host.
	u.Path = "/" + strings.TrimLeft(u.Path, "/\\")
	u.RawPath = ""
	return u.String()
}

// others says whether a file may be read by others than its owner. Windows keeps
// that elsewhere, and a user's folder to the user.
func others(file string) bool {
	info, err := os.Stat(file)
	return runtime.GOOS != "windows" && err == nil && info.Mode().Perm()&0o077 != 0
}

// KeptKey returns the key kept in file, and makes one when there is none or
// renew asks for a new one, which shuts out everybody who had the old one. A file
// that others may read is refused: whoever has read it would get in.
func KeptKey(file string, renew bool) (key Key, made bool, err error) {
	if !renew {
		text, err := textfile.Read(file, 4<<10)
		if err == nil {
			if others(file) {
				return Key{}, false, fmt.Errorf("others on this computer may read the key in %s: `lobescribe key --new` makes another, which only you may read; the links given out so far end with it", file)
			}
			if key, err := ParseKey(strings.TrimSpace(string(text))); err == nil {
				return key, false, nil
			}
			// Not ours to guess at: a new one lets nobody in who should not be.
		} else if !errors.Is(err, fs.ErrNotExist) {
			return Key{}, false, fmt.Errorf("reading the key: %w", err)
		}
	}
	key = NewKey()
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return Key{}, false, fmt.Errorf("making the folder of the key: %w", err)
	}
	if err := replaceFile(file, []byte(key.Reveal()+"\n")); err != nil {
		return Key{}, false, fmt.Errorf("keeping the key: %w", err)
	}
	return key, true, nil
}
