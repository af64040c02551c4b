package dashboard

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lobescribe/capture/lift"
	"lobescribe/capture/replay"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// bench is the daemon's side: it writes down what it was asked.
type bench struct {
	mu     sync.Mutex
	asked  []string
	store  *storage.Store
	refuse error // what everything answers, when set
	late   bool  // an export fails when some of it has been written
	ports  []Port
	// analyses: findings are worked out for good, as the daemon does.
	analyses bool
}

func (b *bench) note(format string, args ...any) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.asked = append(b.asked, fmt.Sprintf(format, args...))
	return b.refuse
}

func (b *bench) last() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.asked) == 0 {
		return ""
	}
	return b.asked[len(b.asked)-1]
}

func (b *bench) Ports(context.Context) ([]Port, error) { return b.ports, nil }
func (b *bench) Preview(_ context.Context, address string) (Preview, error) {
	return Preview{Format: "lines"}, b.note("preview %s", address)
}
func (b *bench) Connect(_ context.Context, role, address string) error {
	return b.note("connect %s %s", role, address)
}
func (b *bench) Disconnect(_ context.Context, role string) error {
	return b.note("disconnect %s", role)
}
func (b *bench) Simulate(_ context.Context, on bool) error { return b.note("simulate %v", on) }
func (b *bench) Mark()                                     { b.note("mark") }
func (b *bench) Unmark()                                   { b.note("unmark") }
func (b *bench) EndTrace()                                 { b.note("end") }
func (b *bench) StartReplay(_ context.Context, id storage.ID, rate float64, from measure.Stamp) error {
	return b.note("replay %s at %v from %s", id, rate, from)
}
func (b *bench) AdjustReplay(c replay.Change) error {
	text, err := json.Marshal(c)
	return errors.Join(err, b.note("adjust %s", text))
}
func (b *bench) KeepSettings(_ context.Context, s live.Settings) error {
	return b.note("keep %s", s.Units)
}
func (b *bench) Probe(_ context.Context, address string) (Probed, error) {
	return Probed{Sure: true, Address: address}, b.note("probe %s", address)
}
func (b *bench) MeasureDelay(context.Context) (DelayProgress, error) {
	return DelayProgress{Says: "turn back as well"}, b.note("measure delay")
}
func (b *bench) KeepDelay(context.Context) error    { return b.note("keep delay") }
func (b *bench) DropDelay()                         { b.note("drop delay") }
func (b *bench) BeginProving(context.Context) error { return b.note("begin proving") }
func (b *bench) FinishProving(context.Context) error {
	return errors.New("there is more to learn first")
}
func (b *bench) DropProving()              { b.note("drop proving") }
func (b *bench) ProofNow() live.ProofNow   { return live.ProofNow{Indicator: "serial:/dev/odd"} }
func (b *bench) Selected(s live.Selection) { b.note("selected %s", s.Valve) }
func (b *bench) StopReplay()               { b.note("stop") }
func (b *bench) Findings(_ context.Context, id storage.ID) (lift.Findings, error) {
	if b.analyses {
		h, t, err := b.store.Load(id)
		if err != nil {
			return lift.Findings{}, err
		}
		f, err := lift.Analyse(t, lift.Options{LeaveOut: h.LeftOut})
		return f, errors.Join(err, b.store.PutFindings(id, f))
	}
	return lift.Findings{Openings: []lift.Opening{}, Faults: []lift.Fault{}, MaxLift: 10_668_000}, b.note("findings")
}
func (b *bench) Export(_ context.Context, id storage.ID, format string, w io.Writer) error {
	b.mu.Lock()
	late := b.late
	b.mu.Unlock()
	if err := b.note("export"); err != nil && !late {
		return err
	}
	fmt.Fprintf(w, "t_s,lift_mm\n%s,%s\n", id, format)
	return b.refuse
}
func (b *bench) Import(_ context.Context, name, _ string, r io.Reader) (storage.ID, error) {
	body, err := io.ReadAll(r)
	if err != nil {
		return 0, fmt.Errorf("reading %s: it ends too early", name) // hides the cause, as an importer may
	}
	return 1, b.note("import %s %d", name, len(body))
}

// site is a server with its own store, on a port of its own.
type site struct {
	testing.TB
	url    string
	hub    *live.Hub
	bench  *bench
	store  *storage.Store
	server *Server
	stop   func() error
}

// wholePage stands in for the page's files, so that no test needs npm.
func wholePage() fstest.MapFS {
	page := fstest.MapFS{"index.html": {Data: []byte("<!doctype html><title>page</title>")}, "app.js": {Data: []byte("export {}")}}
	for _, name := range libraries {
		page[name] = &fstest.MapFile{Data: []byte("/* library */")}
	}
	return page
}

// serve starts a server. It is stopped with the test, if not before.
func serve(t testing.TB, change func(*Options)) *site {
	t.Helper()
	store, err := storage.Open(filepath.Join(t.TempDir(), "bench.lobescribe"), storage.Options{})
	require.NoError(t, err)
	b := &bench{store: store}
	o := Options{Hub: live.NewHub(live.HubOptions{Version: "test"}), Store: store, Bench: b, Page: wholePage()}
	if change != nil {
		change(&o)
	}
	s, err := New(o)
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx, l) }()
	stop := sync.OnceValue(func() error { cancel(); return <-ended })
	t.Cleanup(func() {
		require.NoError(t, stop())
		require.NoError(t, store.Close())
		http.DefaultClient.CloseIdleConnections()
	})
	return &site{t, "http://" + l.Addr().String(), o.Hub, b, store, s, stop}
}

// ask makes a request as the page does, and returns status and body.
func (s *site) ask(method, path, body string) (int, string) {
	s.Helper()
	r, err := http.NewRequest(method, s.url+path, strings.NewReader(body))
	require.NoError(s, err)
	r.Header.Set("Origin", s.url)
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	return s.do(r)
}

func (s *site) do(r *http.Request) (int, string) {
	s.Helper()
	answer, err := http.DefaultClient.Do(r)
	require.NoError(s, err)
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	require.NoError(s, err)
	return answer.StatusCode, string(text)
}

// dial opens the live socket as the page does.
func (s *site) dial(header http.Header) (*websocket.Conn, *http.Response, error) {
	if header == nil {
		header = http.Header{"Origin": {s.url}}
	}
	return websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(s.url, "http")+"/api/v1/live", header)
}

// record stores a trace of n readings at 1 kHz: a lift curve with a nose of
// 10.668 mm every second, with the encoder's angle.
func (s *site) record(h storage.Head, n int) storage.ID {
	s.Helper()
	w, err := s.store.Begin(h)
	require.NoError(s, err)
	var batch []measure.Reading
	for i := range n {
		in := int64(i % 1000)
		lift := max(0, 10_668_000-(in-500)*(in-500)*50)
		batch = append(batch, measure.Reading{At: measure.Stamp(i) * measure.Millisecond, Lift: measure.Length(lift),
			Angle: measure.Angle(i) * 360_000, Has: measure.HasLift | measure.HasAngle})
		if len(batch) == 50_000 {
			require.NoError(s, w.Append(batch, nil))
			batch = batch[:0]
		}
	}
	require.NoError(s, w.Append(batch, []measure.Note{{At: 5, Kind: measure.NoteMark}}))
	require.NoError(s, w.End())
	return w.ID()
}

func into[T any](t *site, text string) T {
	t.Helper()
	var v T
	require.NoError(t, json.NewDecoder(bytes.NewReader([]byte(text))).Decode(&v), text)
	return v
}

func writeFile(t *testing.T, name, text string) {
	t.Helper()
	require.NoError(t, os.MkdirAll(filepath.Dir(name), 0o700))
	require.NoError(t, os.WriteFile(name, []byte(text), 0o600))
}

const soon = time.Minute // generous: a busy machine must not fail a test
