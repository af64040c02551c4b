package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/disk"
)

// Whole benches, simulated from a seed: the daemon with its store, hub and server
// lives several lives on one bench, whose time is testing/synctest's and passes as
// fast as the processor goes. Gauges, people and disk do what the seed says, and
// after each life what was promised is looked at.
//
// Thirty hours are lived, and a hundred where LOBESCRIBE_SUITE is all, as in CI.
// LOBESCRIBE_BENCHES is how many hours of other seeds; LOBESCRIBE_SEED lives the bench
// of that seed alone, as a failure prints it. What a seed does not fix is the
// order in which goroutines that are ready at one moment run.
//
// Not simulated are sockets and ttys of the system, which would hold up the
// bench's time: instead of them there are net.Pipe and a Dial. The store's file is
// a real one, mapped as ever; the power goes at a write of the database, see
// storage/disk. The shop has tests of its own, with processes.
func TestWholeBenches(t *testing.T) {
	if seed, err := strconv.ParseUint(os.Getenv("LOBESCRIBE_SEED"), 10, 64); err == nil {
		w := &whole{log: t.Logf}
		w.live(t, seed)
		t.Logf("%.2f hours of the bench: %v", w.hours, w.count)
		return
	}
	hours, first := 30.0, uint64(1)
	if os.Getenv("LOBESCRIBE_SUITE") == "all" {
		hours = 100
	}
	if n, err := strconv.ParseFloat(os.Getenv("LOBESCRIBE_BENCHES"), 64); err == nil {
		hours, first = n, uint64(time.Now().UnixNano()) // other ones each time
	}
	var mu sync.Mutex
	var lived float64
	var asleep time.Duration
	counts := map[string]int{}
	seed := first
	more := func() (uint64, bool) {
		mu.Lock()
		defer mu.Unlock()
		seed++
		return seed - 1, lived < hours && !t.Failed()
	}
	t.Run("benches", func(t *testing.T) {
		for n := range 2 {
			t.Run(fmt.Sprint(n), func(t *testing.T) {
				t.Parallel()
				for {
					seed, on := more()
					if !on {
						return
					}
					w := &whole{log: func(string, ...any) {}}
					t.Run(fmt.Sprint(seed), func(t *testing.T) {
						defer func() {
							if t.Failed() {
								t.Logf("once more: LOBESCRIBE_SEED=%d go test ./cmd/lobescribe/daemon -run WholeBenches -v", seed)
							}
						}()
						w.live(t, seed)
					})
					mu.Lock()
					lived += w.hours
					asleep += w.asleep
					for k, n := range w.count {
						counts[k] += n
					}
					mu.Unlock()
				}
			})
		}
	})
	t.Logf("%.1f hours of benches, %.1f of them of nights, seeds %d to %d: %v", lived, asleep.Hours(), first, seed-1, counts)
	assert.Positive(t, counts["readings"])
}

// told is what somebody was told of a trace.
type told struct {
	id     uint64
	onDisk float64 // seconds of the trace
	kept   bool
}

// sample is a reading as the live side told it.
type sample struct {
	at   int64
	lift int64
}

// whole is a bench over several lives of its daemon.
type whole struct {
	t      *testing.T
	log    func(string, ...any)
	chance *rand.Rand
	dir    string
	born   time.Time // of the bench
	gauge  *gauge
	disk   *disk.Disk
	hours  float64
	asleep time.Duration // of the hours, those of nights
	hurt   bool          // this life the file is hurt
	script []does        // what happens in the first life instead of what chance has happen
	wrote  int           // writes in the first life
	tear   uint64        // how what was not flushed is torn
	exact  int64         // the write at which the power goes in it; 0: it does not
	count  map[string]int

	step    atomic.Int64 // of the wall clock, in nanoseconds
	full    atomic.Bool  // the disk takes nothing
	flaky   atomic.Bool  // it refuses every other time
	slow    atomic.Int64 // nanoseconds a commit takes
	failing atomic.Int64 // one write of so many fails; 0: none
	cutAt   atomic.Int64 // the write at which the power goes; 0: it does not
	dead    atomic.Bool  // the power is gone: nothing counts any more
	gone    chan struct{}

	mu       sync.Mutex // guards what follows
	wreck    []byte     // the file after a power cut
	heard    []sample
	traces   map[int64]told // by when they began on the live clock, in microseconds
	imports  map[storage.ID][]measure.Reading
	engines  map[string]string   // acknowledged notes
	tried    map[string][]string // notes whose writing may have been done
	diskDice *rand.Rand
	saved    *promised // with the backup that was taken last; nil: none was
}

// promised is what somebody was told to be kept.
type promised struct {
	traces  map[int64]told
	imports map[storage.ID][]measure.Reading
	engines map[string]string
	tried   map[string][]string
}

func (w *whole) promises() *promised {
	w.mu.Lock()
	defer w.mu.Unlock()
	return &promised{maps.Clone(w.traces), maps.Clone(w.imports), maps.Clone(w.engines), maps.Clone(w.tried)}
}

// stepUnit is what the wall clock steps by: whole thousands of hours, so that a
// trace's beginning on the live clock can be read from the head.
const stepUnit = 1000 * time.Hour

func (w *whole) clock() measure.Stamp { return measure.StampOf(time.Since(w.born)) }

func (w *whole) wall() time.Time { return time.Now().Add(time.Duration(w.step.Load())) }

// began returns when a stored trace began on the live clock, in microseconds.
func (w *whole) began(started time.Time) int64 {
	since := started.Sub(w.born) % stepUnit
	if since < 0 {
		since += stepUnit
	}
	if since > stepUnit/2 { // started before the bench
		since -= stepUnit
	}
	return since.Microseconds() // the live clock's stamps are cut down, too
}

func (w *whole) live(t *testing.T, seed uint64) {
	dir, err := os.MkdirTemp("/dev/shm", "lobescribe-*")
	if err != nil {
		dir = t.TempDir()
	}
	defer os.RemoveAll(dir)
	w.dir, w.count = dir, map[string]int{}
	synctest.Test(t, func(t *testing.T) {
		w.t, w.chance, w.born = t, rand.New(rand.NewPCG(seed, 19)), time.Now()
		w.traces, w.imports = map[int64]told{}, map[storage.ID][]measure.Reading{}
		w.engines, w.tried = map[string]string{}, map[string][]string{}
		w.diskDice = rand.New(rand.NewPCG(seed, 20+w.tear))
		w.disk = &disk.Disk{Path: filepath.Join(dir, "bench.db"), Refuse: w.refuse, Writing: w.writing}
		var err error
		w.gauge, err = newGauge(w.chance, w.clock)
		require.NoError(t, err)
		lives := 2 + w.chance.IntN(4)
		if w.script != nil {
			lives = 2
		}
		for n := range lives {
			w.life(n)
			if t.Failed() {
				break
			}
		}
		w.hours = time.Since(w.born).Hours()
		time.Sleep(w.gauge.back()) // a read of the system's cannot be called off
		w.count["readings"] = len(w.heard)
		w.count["traces"] = len(w.traces)
	})
}

func (w *whole) refuse() error {
	if n := w.failing.Load(); n > 0 {
		w.mu.Lock()
		defer w.mu.Unlock()
		if w.diskDice.Int64N(n) == 0 {
			return syscall.EIO
		}
	}
	return nil
}

// writing has the power go at a write.
func (w *whole) writing(n int) {
	at := w.cutAt.Load()
	if at == 0 || int64(n) < at || w.dead.Load() {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	image, err := w.disk.Cut(w.diskDice)
	if err != nil {
		return
	}
	w.wreck = image
	w.dead.Store(true)
	close(w.gone)
}

func (w *whole) fault(op storage.Op) error {
	switch {
	case op == storage.OpOpen:
		return nil
	case w.full.Load():
		return fmt.Errorf("%s: %w", op, syscall.ENOSPC)
	case w.flaky.Load():
		w.mu.Lock()
		defer w.mu.Unlock()
		if w.diskDice.IntN(2) == 0 {
			return fmt.Errorf("%s: %w", op, syscall.EIO)
		}
	}
	return nil
}

// hears is told all that the live side says.
func (w *whole) hears(m capture.Message) {
	w.mu.Lock()
	defer w.mu.Unlock()
	switch m := m.(type) {
	case capture.Readings:
		for i, at := range m.At {
			w.heard = append(w.heard, sample{at, m.Lift[i]})
		}
	case keep.State:
		if w.dead.Load() || m.Readings == 0 {
			return
		}
		had := w.traces[m.Began]
		if m.OnDisk > 0 || m.State == keep.StateKept {
			w.traces[m.Began] = told{m.ID, max(had.onDisk, m.OnDisk), had.kept || m.State == keep.StateKept}
		}
	}
}

// options are how the bench's store is opened.
func (w *whole) options() storage.Options {
	return storage.Options{Repair: true, ProveLater: true, Fault: w.fault, Opened: func(db *bbolt.DB) {
		assert.NoError(w.t, w.disk.Attach(db))
	}}
}

// alive is a daemon with all that is around it, for one life.
type alive struct {
	*whole
	store  *storage.Store
	hub    *live.Hub
	daemon *Daemon
	door   *pipes
	web    *http.Client
	people sync.WaitGroup
	ctx    context.Context
}

// life is one from a start to an end of some kind.
func (w *whole) life(n int) {
	t := w.t
	w.gone = make(chan struct{})
	if n == 0 {
		w.cutAt.Store(w.exact)
	}
	store, err := storage.Open(w.disk.Path, w.options())
	require.NoError(t, err, "start %d", n)
	ctx, stop := context.WithCancel(t.Context())
	a := &alive{whole: w, store: store, hub: live.NewHub(live.HubOptions{}), door: newPipes(), ctx: ctx}
	a.web = &http.Client{Transport: &http.Transport{DialContext: a.door.dial, DisableKeepAlives: true}, Timeout: 5 * time.Minute}
	a.daemon = New(ctx, Options{Store: store, Hub: a.hub, Source: SourceLive, Clock: w.clock, Wall: w.wall, Held: 20_000,
		Device: device.Options{Clock: w.clock, Dial: w.gauge.dial}, heard: w.hears,
		before: func() { time.Sleep(time.Duration(w.slow.Load())) }})
	server, err := dashboard.New(dashboard.Options{Hub: a.hub, Store: store, Bench: a.daemon, Version: "whole",
		Alive: a.daemon.Answers, Metrics: a.daemon.Metrics(), Clock: w.wall})
	require.NoError(t, err)
	served := make(chan error, 1)
	go func() { served <- server.Serve(ctx, a.door) }()
	if n == 0 {
		at, err := address.Parse("serial:bench?baud=9600&format=unit-behind")
		require.NoError(t, err)
		require.NoError(t, a.daemon.Connect(ctx, string(capture.Indicator), at.String()))
	} else {
		require.NoError(t, a.daemon.Restore())
		a.check()
	}
	w.hurt = w.chance.IntN(5) == 0 && w.script == nil
	cut := w.chance.IntN(2) == 0 && w.script == nil
	until := time.Now()
	if w.script == nil {
		until = until.Add(time.Duration(2+w.chance.IntN(25)) * time.Minute)
	}
	for n == 0 && len(w.script) > 0 && !w.dead.Load() {
		w.script[0].do(a)
		w.script = w.script[1:]
	}
	night := w.chance.IntN(3) == 0
	for time.Now().Before(until) && !t.Failed() {
		time.Sleep(time.Duration(1+w.chance.ExpFloat64()*30) * time.Second)
		if night && w.chance.IntN(10) == 0 {
			began := time.Now()
			a.night()
			until, night = until.Add(time.Since(began)), false
		}
		a.something()
	}
	// How it ends.
	calm := w.chance.IntN(4) > 0 || w.script != nil
	if calm {
		a.heal()
	}
	if cut {
		w.cutAt.Store(int64(w.disk.Writes() + 1 + w.chance.IntN(40)))
		select {
		case <-w.gone:
			w.count["power cuts"]++
		case <-time.After(10 * time.Minute): // nothing is written any more
		}
		w.cutAt.Store(0)
	}
	asked := time.Now()
	stop()
	a.people.Wait()
	require.NoError(t, <-served)
	err = a.daemon.Wait()
	a.web.CloseIdleConnections()
	assert.LessOrEqual(t, time.Since(asked), 30*time.Second, "it ends")
	var unwritten *keep.Unwritten
	if err != nil && !errors.As(err, &unwritten) {
		assert.NoError(t, err)
	}
	if err == nil && !w.dead.Load() {
		waiting, _ := a.daemon.keeper.Waiting()
		assert.Zero(t, waiting, "all is written, or what is not is said")
	}
	assert.Zero(t, a.hub.Clients())
	_ = store.Close() // of a store that was found hurt at the end, it may say so
	if w.cutAt.Store(0); n == 0 {
		w.wrote = w.disk.Writes()
	}
	a.heal()
	time.Sleep(time.Second) // net/http leaves a connection that it has cut so long
	if w.dead.Load() {
		w.log("the power went at write %d", w.disk.Writes())
		require.NoError(t, os.WriteFile(w.disk.Path, w.wreck, 0o600))
		w.dead.Store(false)
	} else if w.saved != nil && w.chance.IntN(3) == 0 {
		w.restore()
	}
}

// restore puts the backup in the store's place, as the command does. What was
// promised then holds again, and nothing that was promised since.
func (w *whole) restore() {
	require.NoError(w.t, os.Rename(filepath.Join(w.dir, "backup"), w.disk.Path))
	w.traces, w.imports, w.engines, w.tried = w.saved.traces, w.saved.imports, w.saved.engines, w.saved.tried
	w.saved = nil
	w.count["restored"]++
}

// heal puts all right that is wrong with gauge and disk.
func (w *whole) heal() {
	w.gauge.heal()
	w.full.Store(false)
	w.flaky.Store(false)
	w.slow.Store(0)
	w.failing.Store(0)
}

// does is one thing that happens at the bench.
type does struct {
	what string
	do   func(*alive)
}

func someSeconds(c *rand.Rand, mean float64) time.Duration {
	return time.Duration(1+c.ExpFloat64()*mean*1000) * time.Millisecond
}

// while has something be wrong for a time, behind everybody's back.
func (a *alive) while(for_ time.Duration, end func()) {
	a.people.Go(func() {
		select {
		case <-time.After(for_):
		case <-a.ctx.Done():
		}
		end()
	})
}

var happenings = []does{
	{"gauge", func(a *alive) {
		what := troubles[a.chance.IntN(len(troubles))]
		mean := map[trouble]float64{unplugged: 30, silent: 30, babbling: 2, lying: 4, flooding: 0.3, hanging: 8}[what]
		a.count[string(what)]++
		a.gauge.suffer(what, someSeconds(a.chance, mean))
	}},
	{"disk full", func(a *alive) {
		a.full.Store(true)
		a.while(someSeconds(a.chance, 60), func() { a.full.Store(false) })
	}},
	{"disk flaky", func(a *alive) {
		a.flaky.Store(true)
		a.while(someSeconds(a.chance, 20), func() { a.flaky.Store(false) })
	}},
	{"disk slow", func(a *alive) {
		a.slow.Store(int64(someSeconds(a.chance, 2)))
		a.while(someSeconds(a.chance, 40), func() { a.slow.Store(0) })
	}},
	{"disk fails at writes", func(a *alive) {
		a.failing.Store(1 + a.chance.Int64N(20))
		a.while(someSeconds(a.chance, 5), func() { a.failing.Store(0) })
	}},
	{"clock steps", func(a *alive) { a.step.Add(int64(stepUnit) * (a.chance.Int64N(5) - 2)) }},
	{"hurt", func(a *alive) {
		if a.hurt {
			a.flip()
		}
	}},
	{"second daemon", func(a *alive) {
		_, err := storage.Open(a.disk.Path, storage.Options{})
		assert.ErrorIs(a.t, err, storage.ErrInUse)
	}},
	{"mark", func(a *alive) { a.ask("POST", "/api/v1/mark", nil) }},
	{"end of trace", func(a *alive) { a.ask("POST", "/api/v1/trace/end", nil) }},
	{"engine", (*alive).changeEngine},
	{"import", (*alive).sendTrace},
	{"page", (*alive).openPage},
	{"stalled page", (*alive).stalledPage},
	{"half a request", (*alive).halfRequest},
	{"look", (*alive).look},
	{"backup", (*alive).backup},
	{"replay", func(a *alive) {
		if id, ok := a.anyTrace(); ok {
			a.ask("POST", "/api/v1/replay", map[string]any{"trace": id, "rate": 8})
		}
	}},
	{"plug in again", func(a *alive) {
		b, err := a.store.Bench()
		if err == nil && b.Devices[string(capture.Indicator)] != "" {
			_ = a.daemon.Connect(a.ctx, string(capture.Indicator), b.Devices[string(capture.Indicator)])
		}
	}},
}

// night has nobody be at the bench for hours: the gauge is left on until it switches
// itself off, or is pulled out, and the daemon goes on. What takes hours happens
// in these: the store is looked through every six.
func (a *alive) night() {
	long := time.Duration(2+a.chance.IntN(14)) * time.Hour
	a.log("%8.1f s a night of %s", time.Since(a.born).Seconds(), long)
	a.count["nights"]++
	a.asleep += long
	end := time.Now().Add(long)
	if a.chance.IntN(3) > 0 {
		time.Sleep(time.Duration(a.chance.IntN(30)) * time.Minute)
		a.gauge.suffer(silent, time.Until(end))
	} else {
		a.gauge.suffer(unplugged, time.Until(end))
	}
	for a.t.Context().Err() == nil && !a.t.Failed() {
		left := time.Until(end)
		time.Sleep(min(left, time.Duration(a.chance.ExpFloat64()*float64(2*time.Hour))))
		if !time.Now().Before(end) {
			return
		}
		a.something()
	}
}

func (a *alive) something() {
	h := happenings[a.chance.IntN(len(happenings))]
	a.log("%8.1f s %s", time.Since(a.born).Seconds(), h.what)
	a.count[h.what]++
	h.do(a)
}

// flip hurts the file where it stands.
func (a *alive) flip() {
	info, err := os.Stat(a.disk.Path)
	if err != nil || info.Size() < 1<<14 {
		return
	}
	f, err := os.OpenFile(a.disk.Path, os.O_RDWR, 0)
	if err != nil {
		return
	}
	defer f.Close()
	at := a.chance.Int64N(info.Size())
	if a.chance.IntN(3) == 0 {
		at = at/disk.Page*disk.Page + at%128
	}
	var b [1]byte
	if _, err := f.ReadAt(b[:], at); err == nil {
		b[0] ^= 1 << a.chance.IntN(8)
		_, _ = f.WriteAt(b[:], at)
		a.count["bits flipped"]++
	}
	_ = os.Chtimes(a.disk.Path, info.ModTime(), info.ModTime())
}

func mustJSON(v any) string {
	text, err := json.Marshal(v)
	if err != nil {
		return err.Error()
	}
	return string(text)
}
