package keep

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/internal/turned"
	"lobescribe/device/measure"
)

// disk is a Store that can be told to refuse.
type disk struct {
	mu     sync.Mutex
	full   error
	hangs  chan struct{} // while it does
	traces []*onDisk
}

type onDisk struct {
	disk     *disk
	id       uint64
	head     Head
	readings []measure.Reading
	notes    []measure.Note
	commits  int
	ended    bool
}

func (d *disk) refuse(err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.full = err
}

func (d *disk) Begin(h Head) (Writer, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.full != nil {
		return nil, d.full
	}
	t := &onDisk{disk: d, id: uint64(len(d.traces) + 1), head: h}
	d.traces = append(d.traces, t)
	return t, nil
}

func (t *onDisk) ID() uint64 { return t.id }

func (t *onDisk) Append(r []measure.Reading, n []measure.Note) error {
	t.disk.mu.Lock()
	hangs := t.disk.hangs
	t.disk.mu.Unlock()
	if hangs != nil {
		<-hangs
	}
	t.disk.mu.Lock()
	defer t.disk.mu.Unlock()
	if t.disk.full != nil {
		return t.disk.full
	}
	t.readings = append(t.readings, r...)
	t.notes = append(t.notes, n...)
	t.commits++
	return nil
}

func (t *onDisk) End() error {
	t.disk.mu.Lock()
	defer t.disk.mu.Unlock()
	if t.disk.full != nil {
		return t.disk.full
	}
	t.ended = true
	return nil
}

// hang makes the disk not answer while f runs. Nobody may wait for its mutex
// meanwhile, which the fake clock would not see as rest.
func (d *disk) hang(t *testing.T, f func()) {
	answer := make(chan struct{})
	d.mu.Lock()
	d.hangs = answer
	d.mu.Unlock()
	f()
	d.mu.Lock()
	d.hangs = nil
	d.mu.Unlock()
	close(answer)
}

// told collects what a Keeper says.
type told struct {
	mu     sync.Mutex
	states []State
	ended  []uint64
}

func (l *told) state(s State) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.states = append(l.states, s)
}

func (l *told) end(id uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.ended = append(l.ended, id)
}

func (l *told) newest(t *testing.T) State {
	l.mu.Lock()
	defer l.mu.Unlock()
	require.NotEmpty(t, l.states)
	return l.states[len(l.states)-1]
}

// withKeeper runs a test with a Keeper on a fake clock.
func withKeeper(t *testing.T, o Options, f func(k *Keeper, d *disk, l *told)) {
	synctest.Test(t, func(t *testing.T) {
		d, l := &disk{}, &told{}
		o.Store, o.Tell, o.Ended = d, l.state, l.end
		k := New(o)
		ctx, cancel := context.WithCancel(t.Context())
		result := make(chan error, 1)
		go func() { result <- k.Run(ctx) }()
		f(k, d, l)
		cancel()
		<-result
	})
}

// rest lets the fake time pass, and everybody come to rest.
func rest(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

func some(n int, from measure.Stamp) (r []measure.Reading) {
	for i := range n {
		r = append(r, turned.Lift(from+measure.Stamp(i)*measure.Millisecond, measure.Length(i)))
	}
	return r
}

func TestKeeperWritesWithinTheSecondThatMayBeLost(t *testing.T) {
	withKeeper(t, Options{}, func(k *Keeper, d *disk, l *told) {
		k.Begin(Head{Resolution: measure.Micrometre}, 5*measure.Second)
		for i := range 100 {
			k.Append(some(10, 5*measure.Second+measure.Stamp(i*10)*measure.Millisecond), nil)
			time.Sleep(10 * time.Millisecond)
		}
		rest(500 * time.Millisecond)
		require.Len(t, d.traces, 1)
		assert.Equal(t, 1000, len(d.traces[0].readings))
		assert.Equal(t, measure.Micrometre, d.traces[0].head.Resolution)
		assert.Equal(t, measure.Stamp(0), d.traces[0].readings[0].At, "the trace's own time starts at zero")
		assert.LessOrEqual(t, d.traces[0].commits, 6, "readings are batched")
		s := l.newest(t)
		assert.Equal(t, StateRecording, s.State)
		assert.Equal(t, 1000, s.Readings)
		assert.InDelta(t, 0.999, s.OnDisk, 1e-9)
		assert.Equal(t, int64(5e6), s.Began)

		k.End()
		rest(time.Millisecond)
		assert.True(t, d.traces[0].ended)
		assert.Equal(t, StateKept, l.newest(t).State)
		assert.Equal(t, []uint64{1}, l.ended)
	})
}

func TestKeeperHoldsReadingsWhileTheDiskRefuses(t *testing.T) {
	withKeeper(t, Options{}, func(k *Keeper, d *disk, l *told) {
		k.Begin(Head{}, 0)
		k.Append(some(100, 0), nil)
		rest(time.Second)
		d.refuse(errors.New("no space left on device"))
		k.Append(some(100, measure.Second), []measure.Note{{At: measure.Second, Kind: measure.NoteMark}})
		rest(time.Second)
		s := l.newest(t)
		assert.Equal(t, StateBehind, s.State, "said within a second")
		assert.Contains(t, s.Says, "no space left")
		assert.Equal(t, 200, s.Readings)
		assert.InDelta(t, 0.099, s.OnDisk, 1e-9, "only what is on disk is acknowledged")
		k.End()
		k.Begin(Head{}, 10*measure.Second) // the next trace waits its turn
		k.Append(some(50, 10*measure.Second), nil)
		rest(time.Minute)
		assert.Empty(t, l.ended)

		d.refuse(nil)
		rest(time.Second)
		require.Len(t, d.traces, 2)
		assert.Equal(t, append(some(100, 0), some(100, measure.Second)...), d.traces[0].readings, "in order, once each")
		assert.Len(t, d.traces[0].notes, 1)
		assert.True(t, d.traces[0].ended)
		assert.Len(t, d.traces[1].readings, 50)
		assert.Equal(t, []uint64{1}, l.ended)
	})
}

func TestKeeperIsBoundedAndSaysWhatItDropped(t *testing.T) {
	withKeeper(t, Options{Bound: 150}, func(k *Keeper, d *disk, l *told) {
		d.refuse(errors.New("input/output error"))
		k.Begin(Head{}, 0)
		for i := range 10 {
			k.Append(some(100, measure.Stamp(i)*measure.Second), nil)
		}
		rest(time.Second)
		d.refuse(nil)
		rest(time.Second)
		k.Append(some(10, 20*measure.Second), nil)
		k.End()
		rest(time.Second)
		got := d.traces[0]
		assert.Len(t, got.readings, 160)
		require.Len(t, got.notes, 1)
		assert.Equal(t, measure.NoteGap, got.notes[0].Kind)
		assert.Equal(t, measure.Second+50*measure.Millisecond, got.notes[0].At)
		assert.Equal(t, 20*measure.Second, got.notes[0].Until)
		assert.Contains(t, got.notes[0].Says, "850 readings")
	})
}

func TestKeeperWritesTheRestWhenItStops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &disk{}
		k := New(Options{Store: d})
		ctx, cancel := context.WithCancel(t.Context())
		result := make(chan error, 1)
		go func() { result <- k.Run(ctx) }()
		k.Begin(Head{}, 0)
		rest(time.Second)
		k.Append(some(7, 0), nil)
		cancel()
		require.NoError(t, <-result)
		assert.Len(t, d.traces[0].readings, 7)
		assert.True(t, d.traces[0].ended)
	})
}

func TestKeeperWithoutATraceTakesNothing(t *testing.T) {
	withKeeper(t, Options{}, func(k *Keeper, d *disk, l *told) {
		k.Append(some(5, 0), nil)
		k.End()
		rest(time.Second)
		assert.Empty(t, d.traces)
		assert.Empty(t, l.states)
	})
}

// While memory is full as well, that is said plainly, and no longer once there
// is room.
func TestKeeperSaysThatReadingsAreBeingLost(t *testing.T) {
	withKeeper(t, Options{Bound: 150}, func(k *Keeper, d *disk, l *told) {
		k.Begin(Head{}, 0)
		k.Append(some(10, 0), nil)
		rest(time.Second)
		d.refuse(errors.New("no space left on device"))
		k.Append(some(150, measure.Second), nil)
		rest(time.Second)
		assert.Equal(t, StateBehind, l.newest(t).State, "the bound holds them all")
		k.Append(some(40, 2*measure.Second), []measure.Note{{At: 2 * measure.Second, Kind: measure.NoteMark}})
		rest(time.Second)
		s := l.newest(t)
		assert.Equal(t, StateFailed, s.State)
		assert.Contains(t, s.Says, "no space left")
		assert.Contains(t, s.Says, "40 readings so far")
		d.refuse(nil)
		rest(time.Second)
		assert.Equal(t, StateRecording, l.newest(t).State)
		k.End()
		rest(time.Second)
		require.Len(t, d.traces[0].notes, 1)
		assert.Contains(t, d.traces[0].notes[0].Says, "40 readings were lost, and notes: 1")
		assert.Len(t, d.traces[0].readings, 160)
	})
}

// A disk that hangs gives no error; that it does not answer is said all the
// same, and what was handed to it is not handed to it twice.
func TestKeeperSaysThatTheDiskDoesNotAnswer(t *testing.T) {
	withKeeper(t, Options{}, func(k *Keeper, d *disk, l *told) {
		k.Begin(Head{}, 0)
		k.Append(some(10, 0), nil)
		rest(time.Second)
		d.hang(t, func() {
			k.Append(some(10, measure.Second), nil)
			rest(1500 * time.Millisecond)
			s := l.newest(t)
			assert.Equal(t, StateBehind, s.State)
			assert.Contains(t, s.Says, "has not answered for 1s")
			assert.InDelta(t, 0.009, s.OnDisk, 1e-9)
			k.Append(some(10, 2*measure.Second), nil)
			rest(10 * time.Second)
			assert.Contains(t, l.newest(t).Says, "has not answered for 11s")
		})
		rest(time.Second)
		assert.Equal(t, StateRecording, l.newest(t).State)
		assert.Len(t, d.traces[0].readings, 30)
	})
}

// What gathered for hours goes to disk in commits of a bounded size.
func TestKeeperCatchesUpInBatches(t *testing.T) {
	withKeeper(t, Options{}, func(k *Keeper, d *disk, l *told) {
		d.refuse(errors.New("no space left on device"))
		k.Begin(Head{}, 0)
		all := some(2*batch+10, 0)
		k.Append(all, nil)
		rest(time.Second)
		d.refuse(nil)
		rest(time.Second)
		assert.Equal(t, 3, d.traces[0].commits)
		assert.Equal(t, all, d.traces[0].readings)
		assert.Equal(t, 0, k.held)
	})
}

// A trace that waited is kept after the next began; meanwhile the listeners hear
// of the one that is turned now.
func TestKeeperTellsOfTheTraceUnderWay(t *testing.T) {
	withKeeper(t, Options{}, func(k *Keeper, d *disk, l *told) {
		d.refuse(errors.New("no space left on device"))
		k.Begin(Head{}, measure.Second)
		k.Append(some(10, measure.Second), nil)
		k.Begin(Head{}, 10*measure.Second)
		k.Append(some(20, 10*measure.Second), nil)
		rest(time.Second)
		s := l.newest(t)
		assert.Equal(t, StateBehind, s.State)
		assert.Equal(t, int64(10e6), s.Began)
		assert.Equal(t, 20, s.Readings)
	})
}

// A keeper that has to stop while the disk refuses says what that cost.
func TestKeeperSaysWhatItCouldNotWrite(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		full := errors.New("no space left on device")
		d := &disk{full: full}
		k := New(Options{Store: d})
		ctx, cancel := context.WithCancel(t.Context())
		result := make(chan error, 1)
		go func() { result <- k.Run(ctx) }()
		k.Begin(Head{}, 0)
		k.Append(some(7, 0), nil)
		cancel()
		err := <-result
		require.ErrorIs(t, err, full)
		var lost *Unwritten
		require.ErrorAs(t, err, &lost)
		assert.Equal(t, 7, lost.Readings)
	})
}

// What a store takes no more goes to a rescue store, in order and once each, and
// the listeners are told so; no write is promised that cannot come.
func TestKeeperRescuesWhatTheStoreTakesNoMore(t *testing.T) {
	rescue := &disk{}
	withKeeper(t, Options{Rescue: rescue}, func(k *Keeper, d *disk, l *told) {
		k.Begin(Head{Resolution: 10}, 0)
		k.Append(some(100, 0), nil)
		rest(time.Second)
		d.refuse(fmt.Errorf("page 7 is hurt: %w", ErrMending))
		k.Append(some(100, measure.Second), nil)
		rest(time.Second)
		s := l.newest(t)
		assert.Equal(t, StateBehind, s.State)
		assert.Contains(t, s.Says, "The store is hurt: page 7 is hurt")
		assert.NotContains(t, s.Says, "disk")
		d.refuse(fmt.Errorf("page 7 is hurt: %w", ErrLost))
		rest(time.Second)
		s = l.newest(t)
		assert.Equal(t, StateRecording, s.State)
		assert.EqualValues(t, 1, s.ID)
		assert.Contains(t, s.Says, "page 7 is hurt")
		assert.Contains(t, s.Says, "rescue file, which the next start takes in")
		assert.InDelta(t, 1.099, s.OnDisk, 1e-9)
		rescue.refuse(errors.New("no space left on device"))
		k.Append(some(100, 2*measure.Second), nil)
		rest(time.Second)
		s = l.newest(t)
		assert.Equal(t, StateFailed, s.State)
		assert.Contains(t, s.Says, "lost when the daemon stops")
		assert.NotContains(t, s.Says, "as soon as")
		rescue.refuse(nil)
		k.End()
		rest(time.Second)
		assert.Equal(t, StateKept, l.newest(t).State)
		assert.Empty(t, l.ended, "there is nothing in the store to work out")
		require.Len(t, rescue.traces, 1)
		assert.EqualValues(t, 1, rescue.traces[0].head.Continues)
		assert.EqualValues(t, 10, rescue.traces[0].head.Resolution)
		assert.Equal(t, append(some(100, measure.Second), some(100, 2*measure.Second)...), rescue.traces[0].readings)
		assert.True(t, rescue.traces[0].ended)
		assert.Len(t, d.traces[0].readings, 100)

		d.refuse(nil) // it was mended after all: the next trace goes there
		k.Begin(Head{}, 10*measure.Second)
		k.Append(some(10, 10*measure.Second), nil)
		k.End()
		rest(time.Second)
		require.Len(t, d.traces, 2)
		assert.Len(t, d.traces[1].readings, 10)
		assert.Equal(t, []uint64{2}, l.ended)
	})
}

// Without anywhere to rescue to, that is said as well.
func TestKeeperPromisesNoWriteThatCannotCome(t *testing.T) {
	withKeeper(t, Options{}, func(k *Keeper, d *disk, l *told) {
		d.refuse(ErrLost)
		k.Begin(Head{}, 0)
		k.Append(some(100, 0), nil)
		rest(time.Second)
		assert.Equal(t, StateFailed, l.newest(t).State)
		assert.Contains(t, l.newest(t).Says, "lost when the daemon stops")
	})
}

// What is not written when the keeper has to stop is rescued, all of it.
func TestKeeperRescuesTheRestWhenItStops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d, rescue := &disk{}, &disk{}
		k := New(Options{Store: d, Rescue: rescue})
		ctx, cancel := context.WithCancel(t.Context())
		result := make(chan error, 1)
		go func() { result <- k.Run(ctx) }()
		k.Begin(Head{}, 0)
		k.Append(some(10, 0), nil)
		rest(time.Second)
		d.refuse(errors.New("file too large"))
		k.Append(some(7, measure.Second), nil)
		k.End()
		k.Begin(Head{}, 5*measure.Second)
		k.Append(some(2*batch+3, 5*measure.Second), []measure.Note{{At: 6 * measure.Second, Kind: measure.NoteMark}})
		cancel()
		require.NoError(t, <-result)
		require.Len(t, rescue.traces, 2)
		assert.EqualValues(t, 1, rescue.traces[0].head.Continues)
		assert.Len(t, rescue.traces[0].readings, 7)
		assert.Zero(t, rescue.traces[1].head.Continues)
		assert.Len(t, rescue.traces[1].readings, 2*batch+3)
		assert.Len(t, rescue.traces[1].notes, 1)
		assert.True(t, rescue.traces[1].ended)
	})
}
