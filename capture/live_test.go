package capture

import (
	"context"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/internal/turned"
	"lobescribe/capture/keep"
	"lobescribe/device/measure"
)

// disk is a keep.Store that always takes what it is given.
type disk struct {
	mu     sync.Mutex
	traces []*onDisk
}

type onDisk struct {
	disk     *disk
	id       uint64
	readings []measure.Reading
	notes    []measure.Note
	ended    bool
}

func (d *disk) Begin(keep.Head) (keep.Writer, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.traces = append(d.traces, &onDisk{disk: d, id: uint64(len(d.traces) + 1)})
	return d.traces[len(d.traces)-1], nil
}

func (t *onDisk) ID() uint64 { return t.id }

func (t *onDisk) Append(r []measure.Reading, n []measure.Note) error {
	t.disk.mu.Lock()
	defer t.disk.mu.Unlock()
	t.readings, t.notes = append(t.readings, r...), append(t.notes, n...)
	return nil
}

func (t *onDisk) End() error {
	t.disk.mu.Lock()
	defer t.disk.mu.Unlock()
	t.ended = true
	return nil
}

// rest lets the fake time pass, and everybody come to rest.
func rest(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

// liveBench runs a Live with a Keeper on a fake clock and feeds it a trace in
// real (fake) time.
type liveBench struct {
	*Live
	disk  *disk
	said  *heard
	clock func() measure.Stamp
}

func withLive(t *testing.T, test func(t *testing.T, b *liveBench)) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		clock := func() measure.Stamp { return measure.StampOf(time.Since(start)) }
		b := &liveBench{disk: &disk{}, said: &heard{}, clock: clock}
		keeper := keep.New(keep.Options{Store: b.disk})
		b.Live = NewLive(LiveOptions{Clock: clock, Keeper: keeper, Follower: FollowerOptions{Resolution: measure.Micrometre},
			Tell: b.said.tell})
		ctx, cancel := context.WithCancel(t.Context())
		keeping, stop := context.WithCancel(t.Context())
		var work sync.WaitGroup
		work.Go(func() { b.Run(ctx); stop() })
		work.Go(func() { assert.NoError(t, keeper.Run(keeping)) })
		test(t, b)
		cancel()
		work.Wait()
	})
}

// feed sends readings of the indicator as time passes.
func (b *liveBench) feed(readings []measure.Reading) {
	base := b.clock()
	for _, r := range readings {
		r.At += base
		if wait := (r.At - b.clock()).Duration(); wait > 0 {
			time.Sleep(wait)
		}
		b.Readings(Indicator, []measure.Reading{r})
	}
	synctest.Wait()
}

func TestLiveKeepsATurnHandsFree(t *testing.T) {
	withLive(t, func(t *testing.T, b *liveBench) {
		b.feed(turned.Cycles(2).Readings)
		require.Len(t, b.disk.traces, 1)
		assert.Len(t, of[Opened](b.said), 2)

		// Rest on the heel ends it, readings or not.
		rest(25 * time.Second)
		require.True(t, b.disk.traces[0].ended)
		kept := b.disk.traces[0].readings
		assert.Equal(t, measure.Stamp(0), kept[0].At)
		assert.InDelta(t, 18, kept[len(kept)-1].At.Seconds(), 0.2, "two seconds of heel, two openings of 4 s with 4 s between, 4 s of heel")
		for i := 1; i < len(kept); i++ {
			require.Equal(t, 10*measure.Millisecond, kept[i].At-kept[i-1].At, "no reading is missing")
		}

		// The opening's times are the trace's own.
		first := of[Opened](b.said)[0].Opening
		assert.InDelta(t, 4, first.Nose.Seconds(), 0.15)
		assert.InDelta(t, 10, first.MaxLift.Millimetres(), 0.01)
	})
}

func TestLiveEndsATraceWhenItStops(t *testing.T) {
	var d *disk
	withLive(t, func(t *testing.T, b *liveBench) {
		d = b.disk
		b.feed(turned.Cycles(1).Readings[:700]) // stopped in the middle of the opening
		b.Mark()
	})
	require.Len(t, d.traces, 1)
	assert.True(t, d.traces[0].ended)
	kept, fed := d.traces[0].readings, turned.Cycles(1).Readings[:700]
	assert.InDelta(t, 500, len(kept), 10, "two seconds before the lift shows at some 4.1 s, and all until 7 s")
	for i, r := range kept {
		require.Equal(t, fed[len(fed)-len(kept)+i].Lift, r.Lift, "what was measured is all there")
	}
	require.Len(t, d.traces[0].notes, 1)
	assert.Equal(t, measure.NoteMark, d.traces[0].notes[0].Kind)
}

func TestLiveJoinsAnEncoderOfItsOwn(t *testing.T) {
	withLive(t, func(t *testing.T, b *liveBench) {
		for _, r := range turned.Cycles(1).Readings {
			if wait := (r.At - b.clock()).Duration(); wait > 0 {
				time.Sleep(wait)
			}
			// The encoder speaks 4 ms after the indicator, 90 degrees a second.
			b.Readings(Indicator, []measure.Reading{r})
			at := r.At + 4*measure.Millisecond
			b.Readings(Encoder, []measure.Reading{turned.Angle(at, measure.FromDegrees(90*at.Seconds()))})
		}
		rest(time.Second)
		opened := of[Opened](b.said)
		require.Len(t, opened, 1)
		require.NotNil(t, opened[0].Opening.NoseAngle)
		assert.InDelta(t, 90*6, opened[0].Opening.NoseAngle.Degrees(), 0.3)
		// A simple-harmonic lift passes half a quarter period from its nose.
		assert.InDelta(t, 90*5, opened[0].Opening.OpeningHalf.Angle.Degrees(), 0.3)
		assert.InDelta(t, 90*7, opened[0].Opening.ClosingHalf.Angle.Degrees(), 0.3)

		b.Lost(Encoder)
		b.Readings(Indicator, []measure.Reading{turned.Lift(b.clock(), 0)})
		synctest.Wait()
		last := of[Readings](b.said)
		assert.Nil(t, last[len(last)-1].Angle)
	})
}

func TestBeginAndEndByHand(t *testing.T) {
	withLive(t, func(t *testing.T, b *liveBench) {
		b.BeginTrace()
		b.feed(turned.Cycles(1).Readings[:300]) // nothing moves
		b.EndTrace()
		rest(time.Second)
		require.Len(t, b.disk.traces, 1)
		assert.Len(t, b.disk.traces[0].readings, 300)
		assert.True(t, b.disk.traces[0].ended)
		assert.Equal(t, AtHeel, b.Place().State)
	})
}

// Another valve ends the trace, and half lift is called by what is expected of it
// on the first closing flank already.
func TestAnotherValve(t *testing.T) {
	withLive(t, func(t *testing.T, b *liveBench) {
		b.feed(turned.Cycles(1).Readings)
		b.Another(10*measure.Millimetre, 300*measure.Micrometre)
		rest(100 * time.Millisecond)
		require.True(t, b.disk.traces[0].ended)
		assert.Equal(t, Position{At: b.Place().At, State: AtHeel}, b.Place(), "the last valve is forgotten")
		b.feed(turned.Cycles(1).Readings)
		var kinds []CueKind
		for _, c := range of[Cue](b.said) {
			if c.Kind != ApproachHalf {
				kinds = append(kinds, c.Kind)
			}
		}
		assert.Equal(t, []CueKind{NoseReached, HeelReached, NoseReached, AtHalf, PastHalf, HeelReached}, kinds)
	})
}
