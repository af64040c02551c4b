package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/dashboard/live"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/device/port"
	"lobescribe/storage"
)

// patience is how long a test waits for what must come: longer than a busy machine
// takes, for only a test that fails waits so long.
const patience = 3 * time.Minute

// inProcess is a daemon of this process, without a server and without devices:
// a test feeds its live side and hears its hub.
type inProcess struct {
	*Daemon
	hub   *live.Hub
	store *storage.Store
	now   atomic.Int64 // the clock of its live side, in microseconds
	stop  func() error
}

// inThisProcess starts a daemon whose live side has a clock that only the test
// moves.
func inThisProcess(t *testing.T, fault func(storage.Op) error, held int) *inProcess {
	store, err := storage.Open(filepath.Join(t.TempDir(), "bench.db"), storage.Options{Fault: fault})
	require.NoError(t, err)
	return onStore(t, store, Options{Held: held})
}

// onStore starts a daemon on a store, which it closes in the end.
func onStore(t *testing.T, store *storage.Store, o Options) *inProcess {
	p := &inProcess{hub: live.NewHub(live.HubOptions{}), store: store}
	ctx, cancel := context.WithCancel(t.Context())
	o.Store, o.Hub, o.Source = store, p.hub, SourceLive
	o.Clock = func() measure.Stamp { return measure.Stamp(p.now.Load()) }
	p.Daemon = New(ctx, o)
	p.stop = func() error {
		cancel()
		defer p.hub.Close()
		return p.Wait()
	}
	t.Cleanup(func() {
		cancel()
		_ = p.Wait()
		assert.NoError(t, store.Close())
	})
	return p
}

// turn feeds readings of a millisecond each, from number `from` on; each lift
// tells its number.
func (p *inProcess) turn(from, count int) {
	for at := from; at < from+count; at += 100 {
		rs := make([]measure.Reading, 0, 100)
		for i := at; i < min(at+100, from+count); i++ {
			rs = append(rs, measure.Reading{At: measure.Stamp(i) * measure.Millisecond, Lift: measure.Length(i) * measure.Micrometre, Has: measure.HasLift})
		}
		p.now.Store(int64(rs[len(rs)-1].At))
		p.live.Readings(capture.Indicator, rs)
	}
}

// trace waits until what the page is told of the trace under way is as wanted.
func (p *inProcess) trace(t *testing.T, what string, want func(keep.State) bool) (s keep.State) {
	t.Helper()
	require.Eventually(t, func() bool {
		now := p.hub.Now().Trace
		if now == nil {
			return false
		}
		s = *now
		return want(s)
	}, patience, time.Millisecond, "the page is never told that %s", what)
	return s
}

func in(state string) func(keep.State) bool {
	return func(s keep.State) bool { return s.State == state }
}

// Each write fails now and then, whatever it is, as on a failing disk: all that
// was turned is kept, once and in order.
func TestEveryWriteMayFail(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	chance := rand.New(rand.NewPCG(seed, 1)) // of the goroutine that writes
	var failing atomic.Bool
	var counting sync.Mutex
	refused, total := map[storage.Op]int{}, 0
	enough := func() bool {
		counting.Lock()
		defer counting.Unlock()
		return len(refused) == 3 && total >= 25
	}
	p := inThisProcess(t, func(op storage.Op) error {
		// Findings and documents have nobody who tries again.
		if op != storage.OpBegin && op != storage.OpAppend && op != storage.OpEnd || !failing.Load() || chance.IntN(2) == 0 {
			return nil
		}
		counting.Lock()
		defer counting.Unlock()
		refused[op]++
		total++
		return fmt.Errorf("%s: %w", op, syscall.EIO)
	}, 0)
	failing.Store(true)
	n, began := 0, int64(-1)
	for !enough() {
		require.Less(t, n, 2_000_000, "not enough was refused")
		p.turn(n, 1000)
		n += 1000
		p.live.EndTrace()
		began = p.trace(t, "this trace is kept or waits", func(s keep.State) bool { return s.Began > began }).Began
	}
	failing.Store(false)
	require.NoError(t, p.stop())
	list, err := p.store.Traces(storage.Query{})
	require.NoError(t, err)
	require.Greater(t, len(list), 1)
	next := 0
	for i := len(list) - 1; i >= 0; i-- { // oldest first
		assert.False(t, list[i].CutShort)
		_, trace, err := p.store.Load(list[i].ID)
		require.NoError(t, err)
		first := int(trace.Readings[0].Lift / measure.Micrometre)
		require.LessOrEqual(t, next, first)
		for j, r := range trace.Readings {
			require.Equal(t, measure.Length(first+j)*measure.Micrometre, r.Lift)
		}
		// Between two traces the valve stands for the few readings that take it
		// past what counts as movement.
		require.Less(t, first-next, 50, "nothing is missing between trace %s and the one before", list[i].ID)
		next = first + len(trace.Readings)
	}
	assert.Equal(t, n, next)
	t.Logf("%d traces of %d readings in all, refused: %v", len(list), n, refused)
}

// The disk refuses for longer than memory lasts: that is said plainly while it
// is so, and stands in the trace as a gap, with nothing else missing.
func TestADiskFullForLongerThanMemoryLasts(t *testing.T) {
	t.Parallel()
	var full atomic.Bool
	p := inThisProcess(t, func(op storage.Op) error {
		if full.Load() {
			return fmt.Errorf("%s: %w", op, syscall.ENOSPC)
		}
		return nil
	}, 5000)
	p.turn(0, 1000)
	p.trace(t, "a trace is on disk", func(s keep.State) bool { return s.State == keep.StateRecording && s.OnDisk > 0.9 })
	full.Store(true)
	p.turn(1000, 5000)
	s := p.trace(t, "the disk is full", func(s keep.State) bool { return s.State == keep.StateBehind && s.Readings > 5000 })
	assert.Contains(t, s.Says, "no space left on device")
	p.turn(6000, 2000)
	s = p.trace(t, "readings are lost", in(keep.StateFailed))
	assert.Contains(t, s.Says, "Memory is full too")
	client, err := p.hub.Join() // whoever opens the page now is told too
	require.NoError(t, err)
	client.Leave()
	text, err := json.Marshal(p.hub.Now())
	require.NoError(t, err)
	assert.Contains(t, string(text), `"state":"failed"`)

	full.Store(false)
	p.trace(t, "the disk has room again", in(keep.StateRecording))
	p.turn(8000, 1000)
	require.NoError(t, p.stop())
	list, err := p.store.Traces(storage.Query{})
	require.NoError(t, err)
	require.Len(t, list, 1)
	_, trace, err := p.store.Load(list[0].ID)
	require.NoError(t, err)
	require.Len(t, trace.Notes, 1)
	gap := trace.Notes[0]
	assert.Equal(t, measure.NoteGap, gap.Kind)
	assert.Contains(t, gap.Says, "readings were lost")
	missing, last := 0, -1
	for _, r := range trace.Readings {
		n := int(r.Lift / measure.Micrometre)
		if last >= 0 && n != last+1 {
			missing += n - last - 1
			assert.Greater(t, gap.At, trace.Readings[0].At)
			assert.Equal(t, r.At, gap.Until)
		}
		last = n
	}
	assert.Equal(t, 8999, last)
	assert.InDelta(t, 2000, missing, 60, "what memory could not hold, and no more")
	assert.Contains(t, gap.Says, fmt.Sprint(missing))
}

// A daemon that has to stop while its disk refuses does not say that all is
// well.
func TestStoppedWhileTheDiskRefuses(t *testing.T) {
	t.Parallel()
	var full atomic.Bool
	fault := func(storage.Op) error {
		if full.Load() {
			return syscall.ENOSPC
		}
		return nil
	}
	store, err := storage.Open(filepath.Join(t.TempDir(), "bench.db"), storage.Options{Fault: fault})
	require.NoError(t, err)
	p := onStore(t, store, Options{Rescue: storage.Options{Fault: fault}})
	full.Store(true)
	p.turn(0, 1000)
	p.trace(t, "the disk is full", in(keep.StateBehind))
	err = p.stop()
	require.ErrorIs(t, err, syscall.ENOSPC)
	assert.Contains(t, err.Error(), "readings could not be written and are lost")
	assert.Contains(t, err.Error(), "make room on the disk")
}

// Where only the store may not grow, what is left goes to a rescue file, and the
// next start takes it in.
func TestStoppedWhileTheStoreRefuses(t *testing.T) {
	t.Parallel()
	var full atomic.Bool
	p := inThisProcess(t, func(op storage.Op) error {
		if full.Load() && op != storage.OpOpen {
			return syscall.EFBIG
		}
		return nil
	}, 0)
	p.turn(0, 500)
	first := p.trace(t, "half a second is on disk", func(s keep.State) bool { return s.State == keep.StateRecording && s.OnDisk > 0.4 })
	full.Store(true)
	p.turn(500, 500)
	p.trace(t, "the store refuses", in(keep.StateBehind))
	require.NoError(t, p.stop())
	require.NoError(t, p.store.Close())

	store, err := storage.Open(p.store.Path(), storage.Options{})
	require.NoError(t, err)
	again := onStore(t, store, Options{})
	var list []storage.Summary
	require.Eventually(t, func() bool {
		list, err = store.Traces(storage.Query{})
		require.NoError(t, err)
		return len(list) == 2
	}, patience, time.Millisecond)
	assert.Contains(t, list[0].Remark, fmt.Sprintf("goes on from trace %d", first.ID))
	var got []measure.Reading
	for _, s := range []storage.Summary{list[1], list[0]} {
		_, trace, err := store.Load(s.ID)
		require.NoError(t, err)
		got = append(got, trace.Readings...)
	}
	require.NotEmpty(t, got)
	for i, r := range got[1:] {
		require.Equal(t, got[i].Lift+measure.Micrometre, r.Lift, "once each and in order")
	}
	assert.Equal(t, measure.Length(999)*measure.Micrometre, got[len(got)-1].Lift)
	require.NoError(t, again.stop())
}

// A driver that hangs in a read and in its close holds up nobody: what came
// before is on disk, and the daemon ends.
func TestStopsWithADeviceThatHangs(t *testing.T) {
	t.Parallel()
	p := inThisProcess(t, nil, 0)
	hanging := hangs{until: make(chan struct{})}
	t.Cleanup(func() { close(hanging.until) })
	p.device.Dial = func(context.Context, address.Address) (port.Link, error) { return hanging, nil }
	a, err := address.Parse("serial:/dev/hangs?format=unit-behind")
	require.NoError(t, err)
	p.attach(capture.Encoder, a)
	p.turn(0, 1000)
	p.trace(t, "it records", in(keep.StateRecording))
	asked := time.Now()
	require.NoError(t, p.stop())
	took := time.Since(asked)
	t.Logf("ended after %.2f s", took.Seconds())
	assert.Less(t, took, patience, "two seconds are promised; a busy machine takes longer")
	list, err := p.store.Traces(storage.Query{})
	require.NoError(t, err)
	require.Len(t, list, 1)
	assert.False(t, list[0].CutShort)
	_, trace, err := p.store.Load(list[0].ID)
	require.NoError(t, err)
	assert.Equal(t, 999*measure.Micrometre, trace.Readings[len(trace.Readings)-1].Lift)
}

// hangs is a link whose driver never answers.
type hangs struct{ until chan struct{} }

func (h hangs) Read([]byte) (int, error)    { <-h.until; return 0, io.EOF }
func (h hangs) Write(b []byte) (int, error) { <-h.until; return 0, io.EOF }
func (h hangs) Close() error                { <-h.until; return nil }
