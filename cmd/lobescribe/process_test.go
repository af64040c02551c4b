package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"
)

// builtBinary builds the command once for all tests that need the real thing.
// LOBESCRIBE_BINARY names one to use instead, as one of a release for a small
// board under an emulator; see .ci/package.
var builtBinary = sync.OnceValues(func() (string, error) {
	if name := os.Getenv("LOBESCRIBE_BINARY"); name != "" {
		return name, nil
	}
	dir, err := os.MkdirTemp("", "lobescribe-test-")
	if err != nil {
		return "", err
	}
	name := filepath.Join(dir, "lobescribe")
	if runtime.GOOS == "windows" {
		name += ".exe"
	}
	if out, err := exec.Command("go", "build", "-o", name, ".").CombinedOutput(); err != nil {
		return "", fmt.Errorf("go build: %w\n%s", err, out)
	}
	return name, nil
})

// patience is how long a test waits for what must come: longer than a busy machine
// takes, for only a test that fails waits so long.
const patience = 3 * time.Minute

// process is a running lobescribe.
type process struct {
	t      testing.TB
	cmd    *exec.Cmd
	url    string // of the page, for a command that serves one
	stderr bytes.Buffer
	ended  chan error
}

// start runs the built binary and waits until it has said where its page is.
func start(t testing.TB, args ...string) *process {
	t.Helper()
	return startWith(t, nil, args...)
}

// startWith is start with more in the environment.
func startWith(t testing.TB, env []string, args ...string) *process {
	t.Helper()
	name, err := builtBinary()
	require.NoError(t, err)
	p := &process{t: t, cmd: exec.Command(name, args...), ended: make(chan error, 1)}
	p.cmd.Env = append(os.Environ(), env...)
	p.begin()
	return p
}

// begin starts the command and waits until it has said where its page is.
func (p *process) begin() {
	t := p.t
	t.Helper()
	p.cmd.Stderr = &p.stderr
	out, err := p.cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, p.cmd.Start())
	said := make(chan string, 1)
	go func() {
		lines := bufio.NewReader(out)
		line, _ := lines.ReadString('\n')
		said <- line
		_, _ = io.Copy(io.Discard, lines)
		p.ended <- p.cmd.Wait()
	}()
	t.Cleanup(p.kill)
	select {
	case line := <-said:
		_, p.url, _ = strings.Cut(strings.TrimSpace(line), "Lobescribe is at ")
		require.NotEmpty(t, p.url, "it said %q and %s", line, &p.stderr)
	case <-time.After(patience):
		t.Fatalf("the daemon does not say where its page is: %s", &p.stderr)
	}
}

// kill ends the process as a power cut would.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	select {
	case err := <-p.ended:
		p.ended <- err
	case <-time.After(patience):
		p.t.Error("the process does not end")
	}
}

// stop ends the process as a service manager would, and returns how it went.
func (p *process) stop() error {
	require.NoError(p.t, p.cmd.Process.Signal(os.Interrupt))
	select {
	case err := <-p.ended:
		p.ended <- err
		return err
	case <-time.After(patience):
		p.t.Fatal("the daemon does not stop")
		return nil
	}
}

// get reads JSON of the API into v.
func (p *process) get(path string, v any) {
	p.t.Helper()
	r, err := http.Get(p.url + strings.TrimPrefix(path, "/"))
	require.NoError(p.t, err)
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	require.NoError(p.t, err)
	require.Equal(p.t, http.StatusOK, r.StatusCode, "%s: %s", path, body)
	require.NoError(p.t, json.Unmarshal(body, v), "%s: %s", path, body)
}

// send makes a request with a JSON body.
func (p *process) send(method, path string, body any) {
	p.t.Helper()
	text, err := json.Marshal(body)
	require.NoError(p.t, err)
	q, err := http.NewRequest(method, p.url+strings.TrimPrefix(path, "/"), bytes.NewReader(text))
	require.NoError(p.t, err)
	q.Header.Set("Content-Type", "application/json")
	q.Header.Set("Origin", strings.TrimSuffix(p.url, "/"))
	r, err := http.DefaultClient.Do(q)
	require.NoError(p.t, err)
	defer r.Body.Close()
	answer, _ := io.ReadAll(r.Body)
	require.Less(p.t, r.StatusCode, 300, "%s %s: %s", method, path, answer)
}

// message is any live message.
type message struct {
	Type   string  `json:"type"`
	Replay uint64  `json:"replay"`
	Lift   []int64 `json:"lift_nm"`
	At     []int64 `json:"t_us"`
	Kind   string  `json:"kind"`
	State  string  `json:"state"`
	ID     any     `json:"id"`

	Opening *struct {
		MaxLift float64 `json:"max_lift_mm"`
	} `json:"opening"`
	Fault *struct {
		Kind string `json:"kind"`
		Says string `json:"says"`
	} `json:"fault"`
}

// UnmarshalJSON reads what of a message the tests look at; lift_nm is a column
// in some messages and a number in others.
func (m *message) UnmarshalJSON(b []byte) error {
	var loose struct {
		Type    string          `json:"type"`
		Replay  uint64          `json:"replay"`
		Lift    json.RawMessage `json:"lift_nm"`
		At      []int64         `json:"t_us"`
		Kind    string          `json:"kind"`
		State   string          `json:"state"`
		ID      any             `json:"id"`
		Opening json.RawMessage `json:"opening"`
		Fault   json.RawMessage `json:"fault"`
	}
	if err := json.Unmarshal(b, &loose); err != nil {
		return err
	}
	*m = message{Type: loose.Type, Replay: loose.Replay, At: loose.At, Kind: loose.Kind, State: loose.State, ID: loose.ID}
	if bytes.HasPrefix(loose.Lift, []byte("[")) {
		if err := json.Unmarshal(loose.Lift, &m.Lift); err != nil {
			return err
		}
	}
	if loose.Type == "opening" {
		return json.Unmarshal(loose.Opening, &m.Opening)
	}
	if loose.Type == "fault" {
		return json.Unmarshal(loose.Fault, &m.Fault)
	}
	return nil
}

// live opens the live socket; the messages come until the test ends.
func (p *process) live() <-chan message {
	p.t.Helper()
	out := make(chan message, 4096)
	texts := p.socket()
	go func() {
		defer close(out)
		for text := range texts {
			var m message
			if json.Unmarshal(text, &m) == nil {
				out <- m
			}
		}
	}()
	return out
}

// socket opens the live socket and passes on its messages as they are.
func (p *process) socket() <-chan []byte {
	p.t.Helper()
	c, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(p.url, "http")+"api/v1/live",
		http.Header{"Origin": {strings.TrimSuffix(p.url, "/")}})
	require.NoError(p.t, err)
	p.t.Cleanup(func() { c.Close() })
	out := make(chan []byte, 4096)
	go func() {
		defer close(out)
		for {
			_, text, err := c.ReadMessage()
			if err != nil {
				return
			}
			out <- text
		}
	}()
	return out
}

// freeAddress is where nobody listens, for what has to be told before anybody does. It
// is none that the system gives to whoever asks for any port, or makes a connection
// from (RFC 6335 has those from 49152 on, Linux from 32768): another test would be
// given it in between.
func freeAddress(t testing.TB) string {
	t.Helper()
	for {
		address := fmt.Sprintf("127.0.0.1:%d", 10_000+rand.IntN(20_000))
		if l, err := net.Listen("tcp", address); err == nil {
			require.NoError(t, l.Close())
			return address
		}
	}
}
