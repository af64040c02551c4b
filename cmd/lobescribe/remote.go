package main

import (
	"crypto/sha256"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/dashboard"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/textfile"
	"lobescribe/storage/tracefile"
)

// A running daemon has its store to itself. So that `traces`, `show`, `export`
// and `backup` work beside it all the same, it leaves word in the store's
// folder where it is, and they ask it.

// daemonFile is where a daemon leaves word.
const daemonFile = "daemon.json"

// whereabouts is what it says.
type whereabouts struct {
	URL string `json:"url"`
	PID int    `json:"pid"`
	// Certificate is the SHA-256 of the one that it shows, in hexadecimal: nobody
	// vouches for it, and nobody else's is taken. Without TLS it is empty.
	Certificate string `json:"certificate,omitempty"`
}

// leaveWord writes where the daemon is; the returned function takes it away.
func leaveWord(storePath string, at net.Addr, o dashboard.Options) (func(), error) {
	name := filepath.Join(filepath.Dir(storePath), daemonFile)
	word := whereabouts{URL: scheme(o) + "://" + hereOf(at), PID: os.Getpid()}
	if o.TLS != nil && len(o.TLS.Certificates) > 0 {
		word.Certificate = fmt.Sprintf("%x", sha256.Sum256(o.TLS.Certificates[0].Certificate[0]))
	}
	text, err := json.Marshal(word)
	if err != nil {
		return func() {}, err
	}
	if err := storage.WriteNew(name, text); err != nil {
		err = fmt.Errorf("leaving word of the daemon: %w", err)
		_ = os.Remove(name) // half a word, or another daemon's
		return func() {}, err
	}
	return func() { _ = os.Remove(name) }, nil
}

// remote reads a store through the daemon that has it open.
type remote struct {
	base string
	http http.Client
}

// askDaemon returns a reader through the daemon of this store's folder; false
// when none answers.
func askDaemon(cmd *cobra.Command) (*remote, bool) {
	dir, err := dataFolder(cmd)
	if err != nil {
		return nil, false
	}
	text, err := textfile.Read(filepath.Join(dir, daemonFile), 64<<10)
	if err != nil {
		return nil, false
	}
	var w whereabouts
	if err := json.Unmarshal(text, &w); err != nil {
		return nil, false
	}
	u, err := url.Parse(w.URL)
	if err != nil || !isHere(net.ParseIP(u.Hostname())) {
		return nil, false // it is a daemon of this machine
	}
	r := &remote{base: w.URL + "/api/v1/", http: http.Client{Timeout: 2 * time.Minute, Transport: w.transport(filepath.Join(dir, keyFile))}}
	answer, err := r.http.Get(r.base + "state")
	if err != nil {
		return nil, false
	}
	answer.Body.Close()
	return r, answer.StatusCode == http.StatusOK
}

// isHere says whether an address is one of this machine's.
func isHere(ip net.IP) bool {
	if ip == nil || ip.IsLoopback() {
		return ip != nil
	}
	all, err := net.InterfaceAddrs()
	return err == nil && slices.ContainsFunc(all, func(a net.Addr) bool {
		n, ok := a.(*net.IPNet)
		return ok && n.IP.Equal(ip)
	})
}

// transport shows a daemon that asks for it the key of this user's folder, and takes
// the certificate of its word and no other.
func (w whereabouts) transport(keyFile string) http.RoundTripper {
	t := &http.Transport{}
	if w.Certificate != "" {
		t.TLSClientConfig = &tls.Config{
			MinVersion:         tls.VersionTLS12,
			InsecureSkipVerify: true, // VerifyConnection does it
			VerifyConnection: func(s tls.ConnectionState) error {
				if fmt.Sprintf("%x", sha256.Sum256(s.PeerCertificates[0].Raw)) != w.Certificate {
					return errors.New("the daemon shows another certificate than its own")
				}
				return nil
			},
		}
	}
	text, err := textfile.Read(keyFile, 4<<10)
	if err != nil {
		return t
	}
	return withKey{t, strings.TrimSpace(string(text))}
}

// withKey shows a key with each request.
type withKey struct {
	to  http.RoundTripper
	key string
}

// RoundTrip is that of http.RoundTripper.
func (w withKey) RoundTrip(r *http.Request) (*http.Response, error) {
	r = r.Clone(r.Context())
	r.Header.Set("Authorization", "Bearer "+w.key)
	return w.to.RoundTrip(r)
}

func (r *remote) Close() error { return nil }

// get asks for a path; the body is the caller's to close.
func (r *remote) get(path string) (io.ReadCloser, error) {
	answer, err := r.http.Get(r.base + path)
	if err != nil {
		return nil, fmt.Errorf("asking the daemon that has the store open: %w", err)
	}
	if answer.StatusCode == http.StatusOK {
		return answer.Body, nil
	}
	defer answer.Body.Close()
	return nil, saidInstead(answer)
}

// saidInstead reads why the daemon did not do what it was asked.
func saidInstead(answer *http.Response) error {
	var says struct {
		Error string `json:"error"`
	}
	if json.NewDecoder(answer.Body).Decode(&says) != nil || says.Error == "" {
		says.Error = answer.Status
	}
	return errors.New(says.Error)
}

func (r *remote) decode(path string, v any) error {
	body, err := r.get(path)
	if err != nil {
		return err
	}
	defer body.Close()
	if err := json.NewDecoder(body).Decode(v); err != nil {
		return fmt.Errorf("reading the daemon's answer: %w", err)
	}
	return nil
}

// Traces lists like storage.Store.
func (r *remote) Traces(q storage.Query) ([]storage.Summary, error) {
	const page = 500 // what the daemon gives at once
	var all []storage.Summary
	for {
		limit := page
		if q.Limit > 0 {
			limit = min(page, q.Limit-len(all))
		}
		ask := url.Values{"limit": {strconv.Itoa(limit)}}
		for key, value := range map[string]string{"engine": q.Engine, "valve": q.Valve} {
			if value != "" {
				ask.Set(key, value)
			}
		}
		if q.Before != 0 {
			ask.Set("before", q.Before.String())
		}
		var list []storage.Summary
		if err := r.decode("traces?"+ask.Encode(), &list); err != nil {
			return nil, err
		}
		all = append(all, list...)
		if len(list) < limit || q.Limit > 0 && len(all) >= q.Limit {
			return all, nil
		}
		q.Before = list[len(list)-1].ID
	}
}

// Repairs lists like storage.Store.
func (r *remote) Repairs(open bool) (all []storage.Repaired, err error) {
	path := "repairs"
	if !open {
		path += "?all"
	}
	return all, r.decode(path, &all)
}

// DismissRepair dismisses like storage.Store.
func (r *remote) DismissRepair(id string, _ time.Time) error {
	ask, err := http.NewRequest(http.MethodDelete, r.base+"repairs/"+url.PathEscape(id), nil)
	if err != nil {
		return err
	}
	answer, err := r.http.Do(ask)
	if err != nil {
		return fmt.Errorf("asking the daemon that has the store open: %w", err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusNoContent {
		return saidInstead(answer)
	}
	return nil
}

// Load loads like storage.Store.
func (r *remote) Load(id storage.ID) (storage.Head, measure.Trace, error) {
	var v struct {
		Head storage.Head `json:"head"`
	}
	if err := r.decode("traces/"+id.String(), &v); err != nil {
		return v.Head, measure.Trace{}, err
	}
	body, err := r.get("traces/" + id.String() + "/export?format=jsonl")
	if err != nil {
		return v.Head, measure.Trace{}, err
	}
	defer body.Close()
	trace, err := tracefile.Read(body)
	return v.Head, trace, err
}
