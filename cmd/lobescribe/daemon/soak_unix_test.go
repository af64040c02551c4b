//go:build unix

package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"lobescribe/capture"
	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/device/port"
	"lobescribe/simulator"
	"lobescribe/storage"
)

const (
	soakLine = 10 * measure.Millisecond // 100 readings a second
	soakRead = 10                       // lines of one read
	soakRest = 25 * measure.Second      // on the heel, between two sessions
	soakHour = 3600 * measure.Second
	// soakWaiting readings may wait for the disk, before the bench's time waits too.
	soakWaiting = 20_000
)

// benchDay is an indicator that sends a line each hundredth of a second of a
// bench's time, which passes as fast as somebody reads: the clock of everything
// that stamps is moved by the reads. Every so often its plug is pulled.
type benchDay struct {
	now   atomic.Int64 // the bench's time, in microseconds
	end   measure.Stamp
	over  chan struct{}
	lines [][]byte // what it sends, again and again
	// waiting is how many readings wait for the disk. Time goes a thousand times as
	// fast as the disk's, so it stands while these are many: what grows then would
	// be the fault of that.
	waiting atomic.Pointer[func() int]

	mu        sync.Mutex
	chance    *rand.Rand
	at        measure.Stamp // the bench's time of the last line due
	next      int           // the line due next
	every     measure.Stamp // how often the plug is pulled, about
	pull      measure.Stamp // when it is
	plugged   measure.Stamp // when it is put in again
	delivered int64         // lines
	unplugs   int64
	bytes     int64
}

func newBenchDay(t *testing.T, length measure.Stamp, unplugEvery measure.Stamp, seed uint64) *benchDay {
	d := &benchDay{end: length, over: make(chan struct{}), chance: rand.New(rand.NewPCG(seed, 3)), every: unplugEvery, pull: unplugEvery}
	for session := range uint64(4) {
		s, err := simulator.Scenario{Seed: seed + session, Valve: simulator.BenchMule().Valves[0], Openings: 2,
			Hand: simulator.Hand{Style: simulator.Bar}, Indicator: simulator.Indicator{Rate: 100}}.Play()
		require.NoError(t, err)
		for _, c := range s.Indicator {
			d.lines = append(d.lines, c.Bytes)
		}
		for range int(soakRest / soakLine) {
			d.lines = append(d.lines, s.Indicator[len(s.Indicator)-1].Bytes)
		}
	}
	return d
}

func (d *benchDay) clock() measure.Stamp { return measure.Stamp(d.now.Load()) }

// pass lets time go by in which nobody reads what is sent. The caller holds
// the lock.
func (d *benchDay) pass(for_ measure.Stamp) {
	n := int(for_ / soakLine)
	d.next, d.at = (d.next+n)%len(d.lines), d.at+measure.Stamp(n)*soakLine
	d.now.Store(int64(d.at))
}

func (d *benchDay) dial(ctx context.Context, _ address.Address) (port.Link, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.at < d.plugged {
		d.pass(d.plugged - d.at + soakLine)
		return nil, &port.OpenError{Port: "the bench", Cause: port.ErrNotFound, Hint: "plug it in"}
	}
	return &benchLink{day: d, quiet: true}, nil
}

type benchLink struct {
	day    *benchDay
	quiet  bool // nothing was read yet
	closed atomic.Bool
}

func (l *benchLink) Read(p []byte) (int, error) {
	d := l.day
	for wait := d.waiting.Load(); wait != nil && (*wait)() > soakWaiting; {
		time.Sleep(time.Millisecond)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case l.closed.Load():
		return 0, io.EOF
	case l.quiet: // before the first byte, so that it begins a line
		l.quiet = false
		d.pass(measure.Second)
		return 0, nil
	case d.at >= d.pull:
		d.unplugs++
		d.plugged = d.at + 5*measure.Second
		d.pull = d.at + d.every/2 + measure.Stamp(d.chance.Int64N(int64(d.every)))
		return 0, errors.New("input/output error")
	case d.at >= d.end:
		select {
		case <-d.over:
		default:
			close(d.over)
		}
		time.Sleep(10 * time.Millisecond) // it stands still
		return 0, nil
	}
	n := 0
	for range soakRead {
		n += copy(p[n:], d.lines[d.next])
		d.next = (d.next + 1) % len(d.lines)
		d.at += soakLine
		d.delivered++
	}
	d.bytes += int64(n)
	d.now.Store(int64(d.at))
	return n, nil
}

func (l *benchLink) Write(p []byte) (int, error) { return len(p), nil }
func (l *benchLink) Close() error                { l.closed.Store(true); return nil }

// A day at the bench, sped up: readings without end, plugs pulled, pages that
// come and go, backups. Nothing grows but the store, and it as foreseen; no
// reading is lost but in a gap that is told.
//
// LOBESCRIBE_SOAK is how long the day is, as in 24h; without it, it is half an
// hour.
func TestSoak(t *testing.T) {
	length, pulls, pauses := 30*time.Minute, 7*time.Minute, 2*time.Minute
	if text := os.Getenv("LOBESCRIBE_SOAK"); text != "" {
		var err error
		length, err = time.ParseDuration(text)
		require.NoError(t, err, "LOBESCRIBE_SOAK is a time, as in 24h")
		pulls, pauses = length/30, length/48
	}
	dir := t.TempDir()
	store, err := storage.Open(filepath.Join(dir, "bench.db"), storage.Options{})
	require.NoError(t, err)
	day := newBenchDay(t, measure.StampOf(length), measure.StampOf(pulls), 5)
	hub := live.NewHub(live.HubOptions{})
	ctx, stop := context.WithCancel(t.Context())
	d := New(ctx, Options{Store: store, Hub: hub, Source: SourceLive, Clock: day.clock,
		Device: device.Options{Clock: day.clock, Dial: day.dial}})
	waiting := func() int {
		n, _ := d.keeper.Waiting()
		return n
	}
	day.waiting.Store(&waiting)
	server, err := dashboard.New(dashboard.Options{Hub: hub, Store: store, Bench: d, Version: "soak"})
	require.NoError(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	served := make(chan error, 1)
	go func() { served <- server.Serve(ctx, listener) }()

	before := runtime.NumGoroutine()
	a, err := address.Parse("serial:bench?baud=9600&format=unit-behind")
	require.NoError(t, err)
	d.attach(capture.Indicator, a)

	people, gone := context.WithCancel(ctx)
	var busy sync.WaitGroup
	var loads, backups atomic.Int64
	for i := range uint64(3) {
		busy.Go(func() { loads.Add(reloads(t, people, listener.Addr().String(), i)) })
	}
	busy.Go(func() { backups.Add(backsUp(t, people, store, dir)) })

	var hours, heap, resident, goroutines []float64
	look := func() {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		hours = append(hours, float64(day.clock())/float64(soakHour))
		heap = append(heap, float64(m.HeapAlloc)/(1<<20))
		resident = append(resident, residentMB(t))
		goroutines = append(goroutines, float64(runtime.NumGoroutine()))
	}
	for due, running := measure.StampOf(pauses), true; running; {
		select {
		case <-day.over:
			running = false
		case <-time.After(time.Millisecond):
		}
		if day.clock() >= due {
			look()
			due += measure.StampOf(pauses)
		}
	}
	gone()
	busy.Wait()
	counters := d.instruments[capture.Indicator].source.Counters
	require.Eventually(t, func() bool { return counters().Readings >= day.delivered }, patience, time.Millisecond)
	assert.Equal(t, day.delivered, counters().Readings, "every line is a reading")
	assert.Zero(t, counters().Refused.Total())
	assert.Equal(t, day.unplugs, counters().Lost)
	d.live.EndTrace()
	stop()
	require.NoError(t, <-served)
	require.NoError(t, d.Wait())
	hub.Close()
	require.Eventually(t, func() bool { return runtime.NumGoroutine() <= before }, patience, 10*time.Millisecond, "all goroutines end")

	kept, openings, gaps := soakKept(t, store)
	info, err := os.Stat(store.Path())
	require.NoError(t, err)
	rep, err := store.Verify(t.Context())
	require.NoError(t, err)
	assert.True(t, rep.Whole(), rep.String())
	require.NoError(t, store.Close())

	slope := func(what []float64) float64 { // an hour of the bench, after it has warmed up
		from := len(what) / 4
		_, b := stat.LinearRegression(hours[from:], what[from:], nil, false)
		return b
	}
	t.Logf("%v of bench time: %d lines, %d readings in traces, %d openings, %d unplugs (%d gaps in traces), %d page loads, %d backups",
		length, day.delivered, kept, openings, day.unplugs, gaps, loads.Load(), backups.Load())
	t.Logf("heap %.1f MB, %+.3f MB an hour; resident %.1f MB, %+.3f MB an hour; goroutines at most %.0f; store %.2f bytes a reading",
		heap[len(heap)-1], slope(heap), resident[len(resident)-1], slope(resident), most(goroutines), float64(info.Size())/float64(kept))
	assert.Positive(t, loads.Load())
	assert.Positive(t, backups.Load())
	assert.Positive(t, day.unplugs)
	assert.Greater(t, openings, 10)
	// What is held while it runs does not follow how much was recorded: the
	// day's readings alone, as kept in memory, would be 24 bytes each.
	// The middle of each half: a page that is loaded, or a backup that is written, just when
	// it is looked at takes megabytes for a moment, on a busy computer several at once.
	half := len(heap) / 2
	grown := middle(heap[half:]) - middle(heap[:half])
	assert.Less(t, grown, max(8, 0.2*float64(day.delivered)*24/(1<<20)/2), "MB of heap grown in the second half")
	assert.Less(t, most(goroutines), float64(before+60), "goroutines")
	// As foreseen: two to three bytes a reading with the database's own, and what
	// it keeps free to grow into.
	assert.Less(t, float64(info.Size()), 4*float64(kept)+1<<20, "bytes of the store")
}

func middle(all []float64) float64 {
	sorted := slices.Sorted(slices.Values(all))
	return sorted[len(sorted)/2]
}

func most(all []float64) (m float64) {
	for _, v := range all {
		m = max(m, v)
	}
	return m
}

// residentMB is what the system holds in memory for this process; 0 where it
// does not tell.
func residentMB(t *testing.T) float64 {
	text, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		return 0
	}
	pages, err := strconv.Atoi(strings.Fields(string(text))[1])
	require.NoError(t, err)
	return float64(pages*os.Getpagesize()) / (1 << 20)
}

// reloads opens the page's socket and some of its calls, again and again.
func reloads(t *testing.T, ctx context.Context, at string, seed uint64) (n int64) {
	chance := rand.New(rand.NewPCG(seed, 7))
	for ctx.Err() == nil {
		socket, response, err := websocket.DefaultDialer.DialContext(ctx, "ws://"+at+"/api/v1/live", http.Header{"Origin": {"http://" + at}})
		if err == nil {
			until := time.Now().Add(time.Duration(chance.IntN(300)) * time.Millisecond)
			for time.Now().Before(until) && socket.SetReadDeadline(until) == nil {
				if _, _, err := socket.ReadMessage(); err != nil {
					break
				}
			}
			_ = socket.Close()
			n++
		} else if response == nil && ctx.Err() == nil {
			assert.NoError(t, err, "the page's socket")
		}
		for _, path := range []string{"/", "/api/v1/traces?limit=50", "/api/v1/state"} {
			request, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+at+path, nil)
			if !assert.NoError(t, err) {
				return n
			}
			if r, err := http.DefaultClient.Do(request); err == nil {
				_, _ = io.Copy(io.Discard, r.Body)
				_ = r.Body.Close()
			}
		}
		select {
		case <-ctx.Done():
		case <-time.After(100 * time.Millisecond): // joins have a pace of their own
		}
	}
	http.DefaultClient.CloseIdleConnections()
	return n
}

// backsUp makes a backup again and again, and verifies each.
func backsUp(t *testing.T, ctx context.Context, store *storage.Store, dir string) (n int64) {
	for ctx.Err() == nil {
		name := filepath.Join(dir, fmt.Sprintf("backup-%d", n%2))
		if _, err := store.BackupFile(ctx, name, true); ctx.Err() != nil || !assert.NoError(t, err) {
			return n
		}
		copied, err := storage.Open(name, storage.Options{ReadOnly: true})
		if !assert.NoError(t, err) {
			return n
		}
		rep, err := copied.Verify(ctx)
		if ctx.Err() == nil {
			assert.NoError(t, err)
			assert.True(t, rep.Whole(), rep.String())
			n++
		}
		assert.NoError(t, copied.Close())
	}
	return n
}

// soakKept looks at every trace: between two readings there is no more than the
// time of a line, or a gap that is told.
func soakKept(t *testing.T, store *storage.Store) (readings, openings, gaps int) {
	all, err := store.Traces(storage.Query{Limit: 1_000_000})
	require.NoError(t, err)
	require.NotEmpty(t, all)
	for _, one := range all {
		_, trace, err := store.Load(one.ID)
		require.NoError(t, err)
		readings += len(trace.Readings)
		told := map[measure.Stamp]bool{}
		for _, n := range trace.Notes {
			if n.Kind == measure.NoteGap {
				gaps++
				told[n.Until] = true
			}
		}
		for i := 1; i < len(trace.Readings); i++ {
			if dt := trace.Readings[i].At - trace.Readings[i-1].At; dt > 15*soakLine && !told[trace.Readings[i].At] {
				t.Errorf("trace %s: nothing between %s and %s, and no gap is told", one.ID, trace.Readings[i-1].At, trace.Readings[i].At)
			}
		}
		f, err := store.Findings(one.ID)
		if err == nil {
			openings += len(f.Openings)
		}
	}
	return readings, openings, gaps
}
