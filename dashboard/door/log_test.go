package door_test

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/dashboard/door"
)

// Wherever the key stands in what is asked for, it stands in no log line.
func TestTheKeyIsInNoLogLine(t *testing.T) {
	key := door.NewKey()
	var out bytes.Buffer
	log := slog.New(door.Scrub(slog.NewJSONHandler(&out, nil), key))
	log.With("path", "/"+key.Reveal()).WithGroup("g").Error("failed "+key.Reveal(), "err", errors.New("x "+key.Reveal()),
		"url", fmt.Errorf("GET /?key=%s", key.Reveal()), slog.Group("in", "a", key.Reveal()), "header", http.Header{"X": {key.Reveal()}})
	h := guarded(t, door.Options{LAN: true, Key: key, Log: log})
	for _, target := range []string{"/key=" + key.Reveal(), "/%3Fkey=" + key.Reveal(), "/%3fkey=" + strings.ToLower("%4B") + key.Reveal()} {
		h.ServeHTTP(discard{http.Header{}}, ask{target: target, host: "192.168.1.5:8417", at: "192.168.1.5:8417", from: "192.168.1.9:50000"}.request(t))
	}
	assert.Contains(t, out.String(), "request refused")
	assert.NotContains(t, out.String(), key.Reveal())
	assert.Contains(t, out.String(), "…")
}

type discard struct{ h http.Header }

func (d discard) Header() http.Header         { return d.h }
func (d discard) Write(b []byte) (int, error) { return len(b), nil }
func (d discard) WriteHeader(int)             {}

// Whoever knocks without end fills no disk.
func TestTheLogIsBounded(t *testing.T) {
	var out bytes.Buffer
	h := guarded(t, door.Options{LAN: true, Key: door.NewKey(), Log: slog.New(door.Spare(slog.NewTextHandler(&out, nil)))})
	for i := range 1000 {
		h.ServeHTTP(discard{http.Header{}}, ask{target: fmt.Sprintf("/%d/%s", i, strings.Repeat("x", 8000)), host: "192.168.1.5:8417", at: "192.168.1.5:8417", from: "192.168.1.9:50000"}.request(t))
	}
	assert.Less(t, out.Len(), 100_000)
	assert.Contains(t, out.String(), "bytes more")
	assert.Contains(t, out.String(), "request refused")
}
