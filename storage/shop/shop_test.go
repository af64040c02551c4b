package shop

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/shop/broker"
)

// patience is for a machine that does other things as well.
const patience = 90 * time.Second

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

func newStore(t testing.TB) *storage.Store {
	t.Helper()
	s, err := storage.Open(filepath.Join(t.TempDir(), "bench.lobes"), storage.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

func record(t testing.TB, s *storage.Store, h storage.Head, rs []measure.Reading) storage.ID {
	t.Helper()
	w, err := s.Begin(h)
	require.NoError(t, err)
	require.NoError(t, w.Append(rs, []measure.Note{{At: 3, Kind: measure.NoteMark}}))
	require.NoError(t, w.End())
	return w.ID()
}

func putEngine(t testing.TB, s *storage.Store, id string) {
	t.Helper()
	_, err := s.PutEngine(storage.Engine{ID: id, Type: "small block", Cylinders: 8, Layout: storage.Vee, ValvesPerCylinder: 2})
	require.NoError(t, err)
}

// oneServer runs a server without users and returns it.
func oneServer(t testing.TB, o broker.Options) *broker.Broker {
	t.Helper()
	if o.Addr == "" {
		o.Addr = "127.0.0.1:0"
	}
	if o.Folder == "" {
		o.Folder = t.TempDir()
	}
	b, err := broker.Start(o)
	require.NoError(t, err)
	t.Cleanup(b.Close)
	return b
}

// cluster runs n servers that keep a stream together.
func cluster(t testing.TB, n int) (nodes []*server.Server, urls string) {
	t.Helper()
	routes := freeRoutes(t, n)
	for i, route := range routes {
		port, err := strconv.Atoi(route.Port())
		require.NoError(t, err)
		o := &server.Options{Host: "127.0.0.1", Port: server.RANDOM_PORT, ServerName: fmt.Sprint("node-", i+1), NoSigs: true, NoLog: true,
			JetStream: true, StoreDir: t.TempDir(), Routes: routes,
			Cluster: server.ClusterOpts{Name: "shop", Host: "127.0.0.1", Port: port}}
		s, err := server.NewServer(o)
		require.NoError(t, err)
		s.Start()
		t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
		nodes = append(nodes, s)
	}
	for _, s := range nodes {
		require.True(t, s.ReadyForConnections(patience))
		urls += "," + s.ClientURL()
	}
	require.Eventually(t, func() bool {
		leader := false
		for _, s := range nodes {
			leader = leader || s.JetStreamIsLeader()
			if !s.JetStreamIsCurrent() || s.NumRoutes() == 0 {
				return false
			}
		}
		return leader
	}, patience, 50*time.Millisecond, "the cluster does not come together")
	return nodes, urls[1:]
}

// freeRoutes returns where n nodes may meet: each of them has to know all of it
// before it starts.
func freeRoutes(t testing.TB, n int) (routes []*url.URL) {
	t.Helper()
	for range n {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		defer l.Close() // when all are chosen, so that they differ
		routes = append(routes, &url.URL{Scheme: "nats", Host: l.Addr().String()})
	}
	return routes
}

// running runs fn until the returned function is called, or the test ends.
func running(t testing.TB, fn func(context.Context)) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); fn(ctx) }()
	stop = func() { cancel(); <-done }
	t.Cleanup(stop)
	return stop
}

// soon is a pause that keeps a test from waiting for minutes.
func soon(ctx context.Context, d time.Duration, early <-chan struct{}) {
	pause(ctx, min(d, 50*time.Millisecond), early)
}

func newPublisher(t testing.TB, s *storage.Store, bench string, at Server) *Publisher {
	t.Helper()
	p, err := NewPublisher(PublisherOptions{Store: s, Server: at, Bench: bench, Settle: time.Millisecond, Pause: soon})
	require.NoError(t, err)
	return p
}

func waitSent(t testing.TB, s *storage.Store) {
	t.Helper()
	require.Eventually(t, func() bool {
		n, _, err := s.Waiting()
		return err == nil && n == 0
	}, patience, 20*time.Millisecond, "the outbox does not empty")
}

// streamState makes the stream where it is not there, and returns how it stands.
func streamState(t testing.TB, at Server, o StreamOptions) jetstream.StreamState {
	t.Helper()
	l, err := dial(t.Context(), dialing{at, "shop", pace{}, quiet()})
	require.NoError(t, err)
	defer l.close()
	s, err := l.stream(t.Context(), o)
	require.NoError(t, err)
	info, err := s.Info(t.Context())
	require.NoError(t, err)
	return info.State
}

// read makes a store of all that the stream holds now.
func read(t testing.TB, at Server) *storage.Store {
	t.Helper()
	last := streamState(t, at, StreamOptions{}).LastSeq
	s := newStore(t)
	r, err := NewReader(ReaderOptions{Store: s, Server: at})
	require.NoError(t, err)
	stop := running(t, func(ctx context.Context) { assert.NoError(t, r.Run(ctx)) })
	require.Eventually(t, func() bool { return r.State().Applied >= last }, patience, 20*time.Millisecond, "the reader does not get to the end")
	stop()
	return s
}

// rows returns all that stands in a store, byte for byte.
func rows(t testing.TB, s *storage.Store) map[string]string {
	t.Helper()
	copied := filepath.Join(t.TempDir(), "copy.lobes")
	_, err := s.BackupFile(t.Context(), copied, false)
	require.NoError(t, err)
	db, err := bbolt.Open(copied, 0o600, &bbolt.Options{ReadOnly: true})
	require.NoError(t, err)
	defer db.Close()
	all := map[string]string{}
	require.NoError(t, db.View(func(tx *bbolt.Tx) error {
		return tx.ForEach(func(name []byte, b *bbolt.Bucket) error {
			all[string(name)] = fmt.Sprint(b.Sequence())
			return b.ForEach(func(k, v []byte) error {
				all[string(name)+"/"+string(k)] = string(v)
				return nil
			})
		})
	}))
	return all
}

func readingsOf(t testing.TB, s *storage.Store, id storage.ID) (all []measure.Reading) {
	t.Helper()
	from, until := storage.All()
	for batch, err := range s.Readings(id, from, until) {
		require.NoError(t, err)
		all = append(all, batch...)
	}
	return all
}

func traces(t testing.TB, s *storage.Store) []storage.Summary {
	t.Helper()
	list, err := s.Traces(storage.Query{})
	require.NoError(t, err)
	return list
}

func TestABenchIsReadAsItRecorded(t *testing.T) {
	at := Server{URL: oneServer(t, broker.Options{}).URL()}
	s := newStore(t)
	putEngine(t, s, "v8.left")
	started := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	want := someReadings(40_000)
	early := record(t, s, storage.Head{Engine: "v8.left", Valve: "1I", Started: started, Source: "live"}, want) // before it joins
	_, err := s.PutTrial(storage.Trial{ID: "t000009", Engine: "v8.left", Valve: "1I", Traces: []storage.ID{early}})
	require.NoError(t, err)
	running(t, newPublisher(t, s, "bench-1", at).Run)
	record(t, s, storage.Head{Engine: "v8.left", Valve: "1E", Source: "live"}, someReadings(100))
	record(t, s, storage.Head{Engine: "v8.left", Valve: "1E", Source: storage.SourceDemo}, someReadings(100))
	waitSent(t, s)

	got := read(t, at)
	list := traces(t, got)
	require.Len(t, list, 2, "the demo's is not told")
	byValve := map[string]storage.Summary{}
	for _, one := range list {
		byValve[one.Valve] = one
	}
	head, err := got.Head(byValve["1I"].ID)
	require.NoError(t, err)
	assert.Equal(t, "bench-1.v8.left", head.Engine)
	assert.Equal(t, "shop:bench-1", head.Source)
	assert.True(t, head.Started.Equal(started))
	assert.Equal(t, want, readingsOf(t, got, byValve["1I"].ID))
	notes, err := got.Notes(byValve["1I"].ID)
	require.NoError(t, err)
	assert.Len(t, notes, 1)
	engine, err := got.Engine("bench-1.v8.left")
	require.NoError(t, err)
	assert.Equal(t, "small block", engine.Type)
	trials, err := got.Trials("bench-1.v8.left")
	require.NoError(t, err)
	require.Len(t, trials, 1)
	assert.Equal(t, []storage.ID{byValve["1I"].ID}, trials[0].Traces)
	benches, err := Benches(got)
	require.NoError(t, err)
	require.Len(t, benches, 1)
	assert.Equal(t, uint64(40_100), benches[0].Readings)
	assert.Zero(t, benches[0].Held)
	rep, err := got.Verify(t.Context())
	require.NoError(t, err)
	assert.True(t, rep.Whole(), rep)

	assert.Equal(t, rows(t, got), rows(t, read(t, at)), "made again of the same stream")
}

// What is changed and changed back is said three times.
func TestTheLatestHolds(t *testing.T) {
	at := Server{URL: oneServer(t, broker.Options{}).URL()}
	s := newStore(t)
	putEngine(t, s, "v8")
	stop := running(t, newPublisher(t, s, "bench-1", at).Run)
	id := record(t, s, storage.Head{Engine: "v8", Valve: "1I"}, someReadings(10))
	waitSent(t, s)
	for _, valve := range []string{"2I", "1I"} {
		require.NoError(t, s.Relabel(id, "v8", valve, "", ""))
		waitSent(t, s)
	}
	stop()
	got := read(t, at)
	assert.Equal(t, "1I", traces(t, got)[0].Valve)
	assert.Equal(t, uint64(5), streamState(t, at, StreamOptions{}).Msgs, "engine, readings once, and the trace three times")
}

func TestARepeatIsHarmless(t *testing.T) {
	at := Server{URL: oneServer(t, broker.Options{}).URL()}
	s := newStore(t)
	p := newPublisher(t, s, "bench-1", at)
	record(t, s, storage.Head{Valve: "1I"}, someReadings(20_000))
	e, ok, err := s.NextErrand()
	require.NoError(t, err)
	require.True(t, ok)
	l, err := dial(t.Context(), dialing{at, "bench-1", pace{}, quiet()})
	require.NoError(t, err)
	defer l.close()
	_, err = l.stream(t.Context(), StreamOptions{})
	require.NoError(t, err)
	p.link = l
	for range 3 { // the power went before the errand was struck off
		require.NoError(t, p.sendTrace(t.Context(), e))
	}
	assert.Equal(t, uint64(3), streamState(t, at, StreamOptions{}).Msgs, "two parts and a trace")
	// The stream's window for repeats has passed: the reader knows them still.
	stream, err := l.js.Stream(t.Context(), StreamName)
	require.NoError(t, err)
	for seq := uint64(1); seq <= 3; seq++ {
		m, err := stream.GetMsg(t.Context(), seq)
		require.NoError(t, err)
		_, err = l.js.Publish(t.Context(), m.Subject, m.Data)
		require.NoError(t, err)
	}
	got := read(t, at)
	assert.Len(t, traces(t, got), 1)
	benches, err := Benches(got)
	require.NoError(t, err)
	assert.Equal(t, uint64(3), benches[0].Repeats)
	assert.Equal(t, uint64(20_000), benches[0].Readings)
}

// A bench is cut off for an hour of its own time, with a trace every minute: the
// pauses between its attempts grow, nothing it records is lost, and when the
// server is there it all comes, in the order in which it was recorded.
func TestACutOffBenchCatchesUp(t *testing.T) {
	b := oneServer(t, broker.Options{Folder: t.TempDir()})
	folder, addr := t.TempDir(), b.Addr().String()
	b.Close() // an address where nobody is
	at := Server{URL: "nats://" + addr}
	s := newStore(t)
	h := &hour{now: time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)}
	began := h.now
	const made = 60
	h.each = func(minute int) {
		if minute < made {
			record(t, s, storage.Head{Valve: "1I", Remark: fmt.Sprint(minute)}, someReadings(50))
		}
	}
	p, err := NewPublisher(PublisherOptions{Store: s, Server: at, Bench: "bench-1", Settle: time.Millisecond, Clock: h.clock, Pause: h.pause})
	require.NoError(t, err)
	running(t, p.Run)
	require.Eventually(t, func() bool { return h.clock().Sub(began) >= time.Hour }, patience, 10*time.Millisecond)
	st, err := p.State()
	require.NoError(t, err)
	assert.Equal(t, made, st.Waiting)
	assert.False(t, st.Connected)
	assert.Contains(t, st.Says, "is it running")
	assert.Zero(t, st.Sent)
	require.NotNil(t, st.CutOff)
	assert.Less(t, st.CutOff.Sub(began), time.Minute, "cut off since the first attempt")
	// Once a minute would be sixty attempts; a pause is never above mostPause and a third.
	assert.Greater(t, h.attempts(), 8)
	assert.Less(t, h.attempts(), 30, "the server of a shop that comes back is not run over")

	oneServer(t, broker.Options{Addr: addr, Folder: folder})
	waitSent(t, s)
	list := traces(t, read(t, at))
	require.Len(t, list, made)
	for i, one := range list { // newest first
		assert.Equal(t, fmt.Sprint(made-1-i), one.Remark)
	}
	inOrder(t, at)
	st, err = p.State()
	require.NoError(t, err)
	assert.Equal(t, uint64(made), st.Sent)
}

// hour is a clock that goes on by the pauses a publisher makes after an attempt
// that failed, and calls each at every full minute of it.
type hour struct {
	each func(minute int)

	mu      sync.Mutex
	now     time.Time
	past    time.Duration
	minutes int
	pauses  int // that began within the hour
}

func (h *hour) clock() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.now
}

func (h *hour) attempts() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.pauses
}

func (h *hour) pause(ctx context.Context, d time.Duration, early <-chan struct{}) {
	h.mu.Lock()
	first := h.minutes
	h.past += d
	h.minutes = int(h.past / time.Minute)
	last := h.minutes
	h.mu.Unlock()
	for m := first; m < last; m++ {
		h.each(m)
	}
	h.mu.Lock() // what was recorded in the pause is there before its time is
	h.now = h.now.Add(d)
	if h.past-d < time.Hour {
		h.pauses++
	}
	h.mu.Unlock()
	soon(ctx, d, early)
}

func TestHostileMessagesAreCountedAndPassedOver(t *testing.T) {
	at := Server{URL: oneServer(t, broker.Options{}).URL()}
	s := newStore(t)
	running(t, newPublisher(t, s, "bench-1", at).Run)
	record(t, s, storage.Head{Valve: "1I"}, someReadings(10))
	waitSent(t, s)
	l, err := dial(t.Context(), dialing{at, "x", pace{}, quiet()})
	require.NoError(t, err)
	defer l.close()
	say := func(subject string, frame []byte) {
		_, err := l.js.Publish(t.Context(), subject, frame)
		require.NoError(t, err)
	}
	frame := func(m Message) []byte {
		b, _, err := Encode(m)
		require.NoError(t, err)
		return b
	}
	say(Prefix+"mallory.trace.x", []byte("GET / HTTP/1.1"))
	say(Prefix+"mallory", nil)
	flipped := frame(someMessages()[1])
	flipped[20] ^= 1
	say(someMessages()[1].Subject(), flipped)
	forged := someMessages()[1] // of bench-1, and mallory says it
	say(Prefix+"mallory.trace."+someKey, frame(forged))
	say(Prefix+"bench-1.trace."+Key(someOrigin, 9, time.Time{}), frame(forged)) // of another trace
	own := Message{Bench: "mallory", Origin: someOrigin, Document: &Document{Kind: storage.ErrandEngine, Ref: Ref{someOrigin, "e"}, Doc: json.RawMessage(`{"cylinders":-3}`)}}
	say(own.Subject(), frame(own))
	// Other readings under the key of a trace that is there.
	self, _, err := s.ShopSelf()
	require.NoError(t, err)
	there := traces(t, s)[0]
	swap := Message{Bench: "mallory", Origin: someOrigin, Trace: &Trace{Key: Key(self.Origin, there.ID, there.Started), Digest: "00"}}
	say(swap.Subject(), frame(swap))
	// Readings that are not those of the digest.
	part := Message{Bench: "mallory", Origin: someOrigin, Part: partOf(someKey, 0, someReadings(5))}
	say(part.Subject(), frame(part))
	lie := Message{Bench: "mallory", Origin: someOrigin, Trace: &Trace{Key: someKey, Readings: 5, Digest: "00"}}
	say(lie.Subject(), frame(lie))
	record(t, s, storage.Head{Valve: "1E"}, someReadings(10))
	waitSent(t, s)

	got := read(t, at)
	assert.Len(t, traces(t, got), 2, "what comes after them is read")
	refused, err := ReadRefusals(got)
	require.NoError(t, err)
	assert.Equal(t, map[string]uint64{"frame": 2, "checksum": 1, "name": 1, "meaning": 4}, refused.Counts)
	rep, err := got.Verify(t.Context())
	require.NoError(t, err)
	assert.True(t, rep.Whole(), rep)
}
