//go:build unix

package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
)

// stopWithin is how long a stop may take in a test. Two seconds are promised on
// a machine that has nothing else to do; the time it took is logged.
const stopWithin = patience

// The ways to ask a daemon to stop.
var asks = []struct {
	name string
	ask  func(t *testing.T, p *os.Process)
}{
	{"SIGTERM", signals(syscall.SIGTERM)},
	{"SIGINT", signals(syscall.SIGINT)},
	{"SIGINT twice in haste", signals(syscall.SIGINT, syscall.SIGINT)},
	{"SIGHUP, of a terminal that was closed", signals(syscall.SIGHUP)},
	// systemd.kill(5): the signal, "immediately followed by SIGCONT".
	{"a service manager", signals(syscall.SIGTERM, syscall.SIGCONT)},
}

func signals(all ...os.Signal) func(*testing.T, *os.Process) {
	return func(t *testing.T, p *os.Process) {
		for i, s := range all {
			if err := p.Signal(s); i == 0 {
				require.NoError(t, err)
			}
			time.Sleep(30 * time.Millisecond)
		}
	}
}

// scene is what goes on when a daemon is asked to stop.
type scene struct {
	name   string
	before func(t *testing.T, data string) // it starts; nothing
	args   func(t *testing.T) []string     // more words for it; none
	with   func(t *testing.T, p *process)  // it records; nothing
}

var scenes = []scene{
	{name: "pages open", with: func(t *testing.T, p *process) {
		for range 5 {
			go func(c <-chan []byte) {
				for range c {
				}
			}(p.socket())
		}
	}},
	{name: "a page that does not read", with: stalledPage},
	{name: "a backup nobody takes", before: largeStore, with: stalledBackup},
	{name: "a request half sent", with: func(t *testing.T, p *process) {
		c := dialPage(t, p, 0)
		_, err := fmt.Fprintf(c, "POST /api/v1/mark HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{", host(p))
		require.NoError(t, err)
	}},
	{name: "a silent encoder", args: func(t *testing.T) []string { return silentEncoder(t, "tcp") }},
	{name: "an encoder whose bridge does not answer", args: func(t *testing.T) []string { return silentEncoder(t, "rfc2217") }},
}

// However it is asked and whatever goes on at that moment, the daemon ends with
// status 0, and all that had come is on disk.
func TestStops(t *testing.T) {
	// Tests run under nohup ignore SIGHUP, and so would the daemons they start, as
	// nohup wants. A signal that is listened to is no longer inherited as ignored.
	heard := make(chan os.Signal, 1)
	signal.Notify(heard, syscall.SIGHUP)
	t.Cleanup(func() { signal.Stop(heard) })
	t.Parallel()
	session, err := simulator.Scenario{Seed: 31, Openings: 40, Valve: simulator.BenchMule().Valves[0],
		Hand: simulator.Hand{Speed: 300 * measure.Degree, Before: 200 * measure.Millisecond}, Indicator: simulator.Indicator{Rate: 200}}.Play()
	require.NoError(t, err)
	ways := 1 // with each scene
	if os.Getenv("LOBESCRIBE_STOPS") != "" {
		ways = len(asks)
	}
	for i, scene := range scenes {
		for j := range ways {
			a := asks[(i+j)%len(asks)]
			t.Run(scene.name+", "+a.name, func(t *testing.T) {
				t.Parallel()
				stopsWell(t, session, scene, a.ask)
			})
		}
	}
}

// stopsWell records, asks the daemon to stop, and looks at what it left.
func stopsWell(t *testing.T, session *simulator.Session, s scene, ask func(*testing.T, *os.Process)) {
	t.Helper()
	link, err := simulator.OpenLink(simulator.LinkOptions{Kind: simulator.TTY, Query: "baud=115200&format=unit-behind"})
	require.NoError(t, err)
	defer link.Close()
	ctx, enough := context.WithCancel(t.Context())
	defer enough()
	data := t.TempDir()
	if s.before != nil {
		s.before(t, data)
	}
	args := []string{"serve", "--addr", "127.0.0.1:0", "--data", data, "--indicator", link.Address()}
	if s.args != nil {
		args = append(args, s.args(t)...)
	}
	daemon := start(t, args...)
	wire := &tap{to: link}
	played := make(chan struct{})
	go func() {
		defer close(played)
		_ = simulator.PlayBytes(ctx, session.Indicator, wire, 1)
	}()
	recordsNow(t, daemon)
	if s.with != nil {
		s.with(t, daemon)
	}
	asked := time.Now()
	ask(t, daemon.cmd.Process)
	took := ends(t, daemon, asked)
	t.Logf("ended after %.2f s", took.Seconds())
	enough()
	<-played
	keptUntil(t, data, session, wire.before(asked.Add(-500*time.Millisecond)))
}

// recordsNow waits until a trace is under way and on disk.
func recordsNow(t *testing.T, p *process) {
	t.Helper()
	require.Eventually(t, func() bool {
		var s struct {
			Trace *struct {
				State  string  `json:"state"`
				OnDisk float64 `json:"on_disk_s"`
			} `json:"trace"`
		}
		p.get("/api/v1/state", &s)
		return s.Trace != nil && s.Trace.State == "recording" && s.Trace.OnDisk > 0.3
	}, patience, 10*time.Millisecond, "it records")
}

// ends waits for the end and returns how long it took.
func ends(t *testing.T, p *process, asked time.Time) time.Duration {
	t.Helper()
	select {
	case err := <-p.ended:
		p.ended <- err
		require.NoError(t, err, "%s", &p.stderr)
		for line := range strings.Lines(p.stderr.String()) {
			require.Contains(t, line, "backup broke off", "the only thing to complain of")
		}
	case <-time.After(stopWithin):
		t.Fatalf("it has not ended after %v", stopWithin)
	}
	return time.Since(asked)
}

// keptUntil looks into the store of a daemon that has ended: the last trace is
// whole, in order, and reaches as far as the readings that had come.
func keptUntil(t *testing.T, data string, session *simulator.Session, sent int) {
	t.Helper()
	store, err := storage.Open(filepath.Join(data, storeFile), storage.Options{ReadOnly: true})
	require.NoError(t, err)
	defer store.Close()
	report, err := store.Verify(t.Context())
	require.NoError(t, err)
	require.True(t, report.Whole(), report.String())
	list, err := store.Traces(storage.Query{})
	require.NoError(t, err)
	require.NotEmpty(t, list)
	assert.False(t, list[0].CutShort)
	assert.False(t, list[0].Recording)
	_, trace, err := store.Load(list[0].ID)
	require.NoError(t, err)
	all, got := lifts(session.Trace.Readings), lifts(trace.Readings)
	at := indexOf(all, got)
	require.GreaterOrEqual(t, at, 0, "what is kept stands in what was sent, in one piece")
	assert.GreaterOrEqual(t, at+len(got), sent, "what had come half a second before is kept")
	left, err := os.ReadDir(data)
	require.NoError(t, err)
	for _, f := range left {
		assert.Contains(t, []string{storeFile, storeFile + ".closed"}, f.Name(), "nothing else is left than the store and its mark")
	}
}

func host(p *process) string {
	u, err := url.Parse(p.url)
	require.NoError(p.t, err)
	return u.Host
}

// dialPage opens a plain connection with a small buffer, which is closed when
// the test ends.
func dialPage(t *testing.T, p *process, buffer int) net.Conn {
	c, err := net.Dial("tcp", host(p))
	require.NoError(t, err)
	if buffer > 0 {
		require.NoError(t, c.(*net.TCPConn).SetReadBuffer(buffer))
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// stalledPage opens the live socket and reads nothing of it.
func stalledPage(t *testing.T, p *process) {
	dialer := websocket.Dialer{NetDial: func(string, string) (net.Conn, error) { return dialPage(t, p, 2048), nil }}
	_, _, err := dialer.Dial("ws://"+host(p)+"/api/v1/live", http.Header{"Origin": {strings.TrimSuffix(p.url, "/")}})
	require.NoError(t, err)
	time.Sleep(300 * time.Millisecond) // for the buffers to fill
}

// largeStore makes a store too large for what the system buffers of a
// connection: readings that do not compress.
func largeStore(t *testing.T, data string) {
	rs := make([]measure.Reading, 1_500_000)
	chance := rand.New(rand.NewPCG(1, 1))
	for i := range rs {
		rs[i] = measure.Reading{At: measure.Stamp(i) * 1000, Lift: measure.Length(chance.Int64N(1 << 60)), Has: measure.HasLift}
	}
	store, err := storage.Open(filepath.Join(data, storeFile), storage.Options{})
	require.NoError(t, err)
	w, err := store.Begin(storage.Head{})
	require.NoError(t, err)
	require.NoError(t, w.Append(rs, nil))
	require.NoError(t, w.End())
	require.NoError(t, store.Close())
}

// stalledBackup asks for a backup and takes nothing of it but its first byte.
func stalledBackup(t *testing.T, p *process) {
	c := dialPage(t, p, 2048)
	_, err := fmt.Fprintf(c, "GET /api/v1/backup HTTP/1.1\r\nHost: %s\r\n\r\n", host(p))
	require.NoError(t, err)
	require.NoError(t, c.SetReadDeadline(time.Now().Add(patience)))
	_, err = io.ReadFull(c, make([]byte, 1))
	require.NoError(t, err)
}

// silentEncoder names an encoder behind a bridge that takes the connection and
// says nothing.
func silentEncoder(t *testing.T, scheme string) []string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	accepting := make(chan struct{})
	go func() {
		defer close(accepting)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			defer c.Close()
		}
	}()
	t.Cleanup(func() {
		l.Close()
		<-accepting
	})
	return []string{"--encoder", scheme + "://" + l.Addr().String() + "?counts=2400"}
}

// A log that nobody reads any more, as when Ctrl-C has ended the `tee` of the
// same terminal, does not end the daemon before its time.
func TestStopsWithoutItsLog(t *testing.T) {
	t.Parallel()
	session := aTurn(t)
	name, err := builtBinary()
	require.NoError(t, err)
	data := t.TempDir()
	cmd := exec.Command(name, "serve", "--verbose", "--addr", "127.0.0.1:0", "--data", data, "--indicator", playing(t, session))
	read, write, err := os.Pipe()
	require.NoError(t, err)
	cmd.Stdout, cmd.Stderr = write, write
	require.NoError(t, cmd.Start())
	require.NoError(t, write.Close())
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	lines := bufio.NewScanner(read)
	url := ""
	for url == "" && lines.Scan() {
		_, url, _ = strings.Cut(lines.Text(), "Lobescribe is at ")
	}
	require.NotEmpty(t, url)
	go func() { // its log is read until it records
		for lines.Scan() {
		}
	}()
	recordsNow(t, &process{t: t, url: url})
	require.NoError(t, read.Close())
	require.NoError(t, cmd.Process.Signal(os.Interrupt))
	require.NoError(t, cmd.Wait())
	var list []storage.Summary
	require.NoError(t, json.Unmarshal(runBinary(t, "traces", "--json", "--data", data), &list))
	require.NotEmpty(t, list)
	assert.False(t, list[0].CutShort)
}
