package dashboard

import (
	"bufio"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/dashboard/door"
	"lobescribe/storage"
)

// What a person gets to read when a request is wrong: the status, the field,
// and a sentence.
func TestWrongRequests(t *testing.T) {
	s := serve(t, nil)
	s.record(storage.Head{}, 10)
	for _, c := range []struct {
		method, path, body string
		status             int
		field              string
	}{
		{"GET", "/api/v1/nothing", "", 404, ""},
		{"GET", "/api/v1/traces/99", "", 404, ""},
		{"GET", "/api/v1/traces/none", "", 404, ""},
		{"GET", "/api/v1/traces/-1/series", "", 404, ""},
		{"GET", "/api/v1/traces/99/export", "", 404, ""},
		{"GET", "/api/v1/traces/1/export?format=exe", "", 400, "format"},
		{"GET", "/api/v1/traces?limit=0", "", 400, "limit"},
		{"GET", "/api/v1/traces?limit=1e9", "", 400, "limit"},
		{"GET", "/api/v1/traces?before=x", "", 400, "before"},
		{"GET", "/api/v1/traces/1/series?columns=99999999", "", 400, "columns"},
		{"GET", "/api/v1/traces/1/series?from_s=NaN", "", 400, "from_s"},
		{"GET", "/api/v1/traces/1/series?to_s=Inf", "", 400, "to_s"},
		{"GET", "/api/v1/traces/1/series?to_s=1e300", "", 400, "to_s"},
		{"GET", "/api/v1/traces/1/series?to_s=0x10", "", 400, "to_s"},
		{"GET", "/api/v1/traces/1/series?from_s=2&to_s=1", "", 400, "to_s"},
		{"PATCH", "/api/v1/traces/1", `{"lift_mm":1}`, 400, "lift_mm"},
		{"PATCH", "/api/v1/traces/1", `{"remark":7}`, 400, "remark"},
		{"PATCH", "/api/v1/traces/1", `{"remark":"` + strings.Repeat("x", 3000) + `"}`, 400, "remark"},
		{"PATCH", "/api/v1/traces/1", `{"remark":"`, 400, ""},
		{"PATCH", "/api/v1/traces/1", `{} {}`, 400, ""},
		{"PATCH", "/api/v1/traces/1", `[]`, 400, ""},
		{"PATCH", "/api/v1/traces/1", ` `, 400, ""},
		{"PATCH", "/api/v1/traces/1", strings.Repeat(" ", maxBody+1), 413, ""},
		{"POST", "/api/v1/replay", `{"rate":1}`, 400, "trace"},
		{"POST", "/api/v1/replay", `{"trace":99}`, 404, ""},
		{"POST", "/api/v1/replay", `{"trace":1,"rate":-1}`, 400, "rate"},
		{"POST", "/api/v1/replay", `{"trace":1,"rate":1e9}`, 400, "rate"},
		{"POST", "/api/v1/replay", `{"trace":1,"from_s":-1}`, 400, "from_s"},
		{"PATCH", "/api/v1/replay", `{"rate":0}`, 400, "rate"},
		{"PATCH", "/api/v1/replay", `{"at_s":-1}`, 400, "at_s"},
		{"PUT", "/api/v1/devices/toaster", `{"address":"serial:COM3"}`, 404, ""},
		{"PUT", "/api/v1/devices/indicator", `{"address":"serial:/etc/passwd"}`, 400, "address"},
		{"POST", "/api/v1/devices/preview", `{"address":"tcp://example.com:80"}`, 400, "address"},
		{"POST", "/api/v1/simulator", `{}`, 400, "on"},
		{"GET", "/api/v1/live", "", 426, ""},
		{"GET", "/../../etc/passwd", "", 404, ""},
		{"GET", "/..%2f..%2fetc/passwd", "", 404, ""},
	} {
		status, text := s.ask(c.method, c.path, c.body)
		assert.Equal(t, c.status, status, "%s %s %.40s", c.method, c.path, c.body)
		if !strings.HasPrefix(c.path, "/api/") {
			continue
		}
		said := into[map[string]string](s, text)
		assert.Equal(t, c.field, said["field"], "%s %s %.40s", c.method, c.path, c.body)
		assert.True(t, strings.HasSuffix(said["error"], "."), "a sentence: %s", said["error"])
	}
	assert.Empty(t, s.bench.last(), "none of it got through to the bench")
}

func TestWishesReachTheBench(t *testing.T) {
	s := serve(t, nil)
	s.record(storage.Head{}, 10)
	s.bench.ports = []Port{{Address: "serial:/dev/odd", Name: "odd", ByID: "/dev/by/id"}}
	for _, c := range []struct{ method, path, body, want string }{
		{"POST", "/api/v1/mark", "", "mark"},
		{"POST", "/api/v1/trace/end", "", "end"},
		{"POST", "/api/v1/replay", `{"trace":1,"rate":2.5,"from_s":1.5}`, "replay 1 at 2.5 from 1.5 s"},
		{"POST", "/api/v1/replay", `{"trace":1}`, "replay 1 at 1 from 0 s"},
		{"PATCH", "/api/v1/replay", `{"paused":true,"at_s":3}`, `adjust {"paused":true,"at_s":3}`},
		{"PUT", "/api/v1/delay", `{}`, `keep delay`},
		{"DELETE", "/api/v1/delay", ``, `drop delay`},
		{"POST", "/api/v1/prove", ``, `begin proving`},
		{"DELETE", "/api/v1/prove", ``, `drop proving`},
		{"DELETE", "/api/v1/replay", "", "stop"},
		{"PUT", "/api/v1/devices/indicator", `{"address":"serial:/dev/odd"}`, "connect indicator serial:/dev/odd"},
		{"PUT", "/api/v1/devices/encoder", `{"address":"serial:/dev/ttyUSB0?format=auto"}`, "connect encoder serial:/dev/ttyUSB0?format=auto"},
		{"DELETE", "/api/v1/devices/encoder", "", "disconnect encoder"},
		{"POST", "/api/v1/simulator", `{"on":true}`, "simulate true"},
	} {
		status, text := s.ask(c.method, c.path, c.body)
		assert.Equal(t, 204, status, text)
		assert.Equal(t, c.want, s.bench.last())
	}
	status, text := s.ask("POST", "/api/v1/devices/preview", `{"address":"serial:COM3"}`)
	assert.Equal(t, 200, status)
	assert.JSONEq(t, `{"format":"lines","says":"","readings":[],"refused":{}}`, text)
	_, text = s.ask("GET", "/api/v1/ports", "")
	assert.JSONEq(t, `[{"address":"serial:/dev/odd","name":"odd","by_id":"/dev/by/id","can_open":false}]`, text)

	s.bench.refuse = ErrNotOffered
	status, _ = s.ask("POST", "/api/v1/simulator", `{"on":true}`)
	assert.Equal(t, 501, status)
	s.bench.refuse = ErrNoReplay
	status, _ = s.ask("PATCH", "/api/v1/replay", `{"rate":2}`)
	assert.Equal(t, 409, status)
	s.bench.refuse = fmt.Errorf("opening COM3: it is held by another program")
	status, text = s.ask("PUT", "/api/v1/devices/indicator", `{"address":"serial:COM3"}`)
	assert.Equal(t, 502, status)
	assert.Contains(t, text, "Opening COM3: it is held by another program.")
}

// The whole chain at once, as a foreign page and a stranger would try it.
func TestTheDoorStandsBeforeEverything(t *testing.T) {
	s := serve(t, nil)
	evil := map[string]string{"Origin": "http://evil.example"}
	for _, c := range []struct {
		method, path string
		header       map[string]string
		host         string
	}{
		{"GET", "/", nil, "evil.example"},
		{"GET", "/app.js", nil, "evil.example:" + s.url[strings.LastIndexByte(s.url, ':')+1:]},
		{"GET", "/api/v1/state", evil, ""},
		{"POST", "/api/v1/mark", evil, ""},
		{"PUT", "/api/v1/devices/indicator", evil, ""},
		{"POST", "/api/v1/devices/preview", nil, ""},
		{"POST", "/api/v1/simulator", nil, ""},
		{"OPTIONS", "/api/v1/devices/indicator", evil, ""},
	} {
		r, err := http.NewRequest(c.method, s.url+c.path, strings.NewReader(`{"address":"serial:COM3","on":true}`))
		require.NoError(t, err)
		r.Header.Set("Content-Type", "application/json")
		for k, v := range c.header {
			r.Header.Set(k, v)
		}
		if c.host != "" {
			r.Host = c.host
		}
		status, _ := s.do(r)
		assert.Equal(t, 403, status, c)
	}
	assert.Empty(t, s.bench.last())
	// A form has no JSON to send: that alone stops it where Origin would not.
	r, err := http.NewRequest("POST", s.url+"/api/v1/replay", strings.NewReader(`{"trace":1}`))
	require.NoError(t, err)
	r.Header.Set("Content-Type", "text/plain")
	status, _ := s.do(r)
	assert.Equal(t, 415, status)
}

// No call is forgotten: each one is behind the door, and each one that names a
// device asks for more.
func TestEveryCallIsBehindTheDoor(t *testing.T) {
	key := door.NewKey()
	closed := serve(t, nil)
	lan := serve(t, func(o *Options) { o.LAN, o.Key = true, key })
	devices := 0
	for _, call := range closed.server.routes() {
		method, path, _ := strings.Cut(call.pattern, " ")
		path = strings.NewReplacer("{id}", "1", "{role}", "indicator", "{what}", "shims").Replace(path)
		request := func(s *site, origin string) int {
			r, err := http.NewRequest(method, s.url+path, strings.NewReader("{}"))
			require.NoError(t, err)
			r.Header.Set("Content-Type", "application/json")
			if origin != "" {
				r.Header.Set("Origin", origin)
			}
			status, _ := s.do(r)
			return status
		}
		assert.Equal(t, 403, request(closed, "http://evil.example"), call.pattern)
		assert.Equal(t, 401, request(lan, lan.url), call.pattern)
		assert.NotContains(t, []int{401, 403}, request(closed, closed.url), "our own page may: "+call.pattern)
		names := strings.Contains(path, "/devices/") || strings.Contains(path, "simulator")
		if call.device {
			devices++
			assert.Equal(t, 403, request(closed, ""), call.pattern)
		}
		assert.Equal(t, names, call.device, call.pattern)
	}
	assert.Equal(t, 5, devices)
}

func TestWithTheNetworkOpenEverythingNeedsTheKey(t *testing.T) {
	key := door.NewKey()
	s := serve(t, func(o *Options) { o.LAN, o.Key = true, key })
	for _, path := range []string{"/", "/app.js", "/api/v1/state", "/api/v1/traces"} {
		status, _ := s.ask("GET", path, "")
		assert.Equal(t, 401, status, path)
	}
	_, answer, err := s.dial(nil)
	require.Error(t, err)
	assert.Equal(t, 401, answer.StatusCode)
	conn, _, err := s.dial(http.Header{"Origin": {s.url}, "Authorization": {"Bearer " + key.Reveal()}})
	require.NoError(t, err)
	conn.Close()
}

func TestOverTLS(t *testing.T) {
	own, err := door.OwnCertificate(t.TempDir(), nil, time.Now())
	require.NoError(t, err)
	s := serve(t, func(o *Options) { o.TLS = own.TLS })
	roots := x509.NewCertPool()
	roots.AddCert(own.TLS.Certificates[0].Leaf)
	secure := "https" + strings.TrimPrefix(s.url, "http")
	trusting := &tls.Config{RootCAs: roots}
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: trusting}}
	defer client.CloseIdleConnections()
	answer, err := client.Get(secure + "/api/v1/state")
	require.NoError(t, err)
	answer.Body.Close()
	assert.Equal(t, 200, answer.StatusCode)
	assert.Contains(t, answer.Header.Get("Content-Security-Policy"), "wss://")

	dialer := websocket.Dialer{TLSClientConfig: trusting}
	conn, _, err := dialer.Dial("wss"+strings.TrimPrefix(s.url, "http")+"/api/v1/live", http.Header{"Origin": {secure}})
	require.NoError(t, err)
	assert.Equal(t, "hello", hearOne(t, conn).Type)
	conn.Close()
	_, _, err = dialer.Dial("wss"+strings.TrimPrefix(s.url, "http")+"/api/v1/live", http.Header{"Origin": {s.url}})
	require.Error(t, err, "a plain page on the same port is another origin")
}

// A visitor who sends a byte now and then keeps a connection for as long as
// the deadline, and no longer.
func TestSlowVisitorsAreCutOff(t *testing.T) {
	s := serve(t, func(o *Options) { o.HeadWait, o.BodyWait = 300*time.Millisecond, 300*time.Millisecond })
	addr := strings.TrimPrefix(s.url, "http://")
	for name, begin := range map[string]string{
		"head": "GET / HTTP/1.1\r\nHost: " + addr + "\r\nX-Slow: ",
		"body": "POST /api/v1/replay HTTP/1.1\r\nHost: " + addr + "\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{",
		"file": "POST /api/v1/traces?name=x.csv HTTP/1.1\r\nHost: " + addr + "\r\nContent-Length: 1000\r\n\r\nt_s,lift_mm\n",
	} {
		t.Run(name, func(t *testing.T) {
			conn, err := net.Dial("tcp", addr)
			require.NoError(t, err)
			defer conn.Close()
			_, err = io.WriteString(conn, begin)
			require.NoError(t, err)
			require.NoError(t, conn.SetReadDeadline(time.Now().Add(soon)))
			_, err = io.Copy(io.Discard, bufio.NewReader(conn))
			assert.NoError(t, err, "the server closes; nobody had to wait for this test's patience")
		})
	}
	assert.NotContains(t, s.bench.asked, "import x.csv 12", "half a file is none")
}

// A file that moves may take longer than a body may stand still.
func TestALongFileIsNotASlowOne(t *testing.T) {
	s := serve(t, func(o *Options) { o.BodyWait = 400 * time.Millisecond })
	out, in := io.Pipe()
	go func() {
		for range 8 {
			time.Sleep(100 * time.Millisecond)
			_, _ = io.WriteString(in, "0,0\n")
		}
		in.Close()
	}()
	r, err := http.NewRequest("POST", s.url+"/api/v1/traces?name=long.csv", out)
	require.NoError(t, err)
	status, text := s.do(r)
	assert.Equal(t, 201, status, text)
	assert.Equal(t, "import long.csv 32", s.bench.last())
}

// Pages that come and go without end are told to wait, and nobody else is.
func TestTooManyPagesThatJoin(t *testing.T) {
	s := serve(t, nil)
	s.server.joins.SetLimit(0)
	s.server.joins.SetBurst(1)
	conn, _, err := s.dial(nil)
	require.NoError(t, err)
	defer conn.Close()
	_, answer, err := s.dial(nil)
	require.Error(t, err)
	assert.Equal(t, 429, answer.StatusCode)
	assert.Equal(t, "1", answer.Header.Get("Retry-After"))
	status, _ := s.ask("GET", "/api/v1/state", "")
	assert.Equal(t, 200, status)
}

func TestTooManyRequests(t *testing.T) {
	s := serve(t, nil)
	s.server.rate.SetLimit(0)
	s.server.rate.SetBurst(0)
	status, text := s.ask("POST", "/api/v1/mark", "")
	assert.Equal(t, 429, status, text)
	status, _ = s.ask("GET", "/app.js", "")
	assert.Equal(t, 200, status, "the page's files are cheap")
	assert.Empty(t, s.bench.last())
}

func TestStoppingIsSwift(t *testing.T) {
	s := serve(t, nil)
	live, _, err := s.dial(nil)
	require.NoError(t, err)
	defer live.Close()
	stalled, err := net.Dial("tcp", strings.TrimPrefix(s.url, "http://"))
	require.NoError(t, err)
	defer stalled.Close()
	fmt.Fprintf(stalled, "POST /api/v1/traces HTTP/1.1\r\nHost: x")
	require.NoError(t, s.stop())
	require.NoError(t, live.SetReadDeadline(time.Now().Add(soon)))
	for err == nil {
		_, _, err = live.ReadMessage()
	}
	assert.Contains(t, err.Error(), "the daemon is stopping")
}

func TestTheSheetAsAPage(t *testing.T) {
	s := serve(t, nil)
	_, text := s.ask("POST", "/api/v1/engines", demoEngine)
	path := s.url + "/api/v1/engines/" + into[storage.Engine](s, text).ID
	answer, err := http.Get(path + "/sheet?units=mm")
	require.NoError(t, err)
	defer answer.Body.Close()
	page, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	assert.Contains(t, string(page), "All lengths in millimetres")
	policy := answer.Header.Get("Content-Security-Policy")
	assert.Contains(t, policy, "default-src 'none'")
	assert.NotContains(t, policy, "script-src", "none at all")
	assert.Contains(t, policy, "frame-ancestors 'none'")

	numbers, err := http.Get(path + "/csv")
	require.NoError(t, err)
	defer numbers.Body.Close()
	assert.Equal(t, "attachment; filename=demo-four-2nd-build.csv", numbers.Header.Get("Content-Disposition"))
	status, _ := s.ask("GET", "/api/v1/engines/unheard-of/sheet", "")
	assert.Equal(t, 404, status)
	status, _ = s.ask("GET", "/api/v1/engines/demo-four-2nd-build/sheet?units=cubits", "")
	assert.Equal(t, 400, status)
}
