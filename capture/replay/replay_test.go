package replay

import (
	"context"
	"math"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
	"lobescribe/capture/internal/turned"
	"lobescribe/device/measure"
)

// rest lets the fake time pass, and everybody come to rest.
func rest(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

type heard struct {
	mu       sync.Mutex
	messages []capture.Message
}

func (h *heard) tell(m capture.Message) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.messages = append(h.messages, m)
}

func of[M capture.Message](h *heard) (all []M) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, m := range h.messages {
		if v, ok := m.(M); ok {
			all = append(all, v)
		}
	}
	return all
}

func TestReplayTellsWhatTheFollowerTells(t *testing.T) {
	trace := turned.Cycles(3)
	f := capture.NewFollower(capture.FollowerOptions{Resolution: trace.Resolution})
	want := heard{}
	for _, r := range trace.Readings {
		for _, m := range f.Step(nil, r) {
			want.tell(m)
		}
	}
	require.Len(t, of[capture.Opened](&want), 3)

	synctest.Test(t, func(t *testing.T) {
		var got heard
		p, err := New(trace, Options{Trace: 7, Rate: 20, Tell: got.tell})
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		go p.Run(ctx)
		time.Sleep(2 * time.Second)
		cancel()
		synctest.Wait()
		assert.Equal(t, of[capture.Cue](&want), of[capture.Cue](&got))
		assert.Equal(t, of[capture.Opened](&want), of[capture.Opened](&got))
		n := 0
		for _, m := range of[capture.Readings](&got) {
			n += len(m.At)
		}
		assert.Equal(t, len(trace.Readings), n, "every reading once")
		states := of[State](&got)
		assert.True(t, states[len(states)-1].Ended)
		assert.True(t, states[len(states)-1].Paused, "it waits at the end to be wound back")
		assert.False(t, states[len(states)-2].Ended)
		assert.Equal(t, uint64(7), states[0].Trace)
	})
}

// A trace whose encoder stands on rows of its own is played as what the joiner makes of it.
func TestReplayJoinsRows(t *testing.T) {
	trace, apart := turned.Cycles(2), measure.Trace{}
	f := capture.NewFollower(capture.FollowerOptions{Resolution: trace.Resolution})
	want := heard{}
	for _, r := range trace.Readings {
		r.Angle, r.Has = measure.FromDegrees(r.At.Seconds()*90), r.Has|measure.HasAngle
		apart.Readings = append(apart.Readings, turned.Lift(r.At, r.Lift), turned.Angle(r.At, r.Angle))
		for _, m := range f.Step(nil, r) {
			want.tell(m)
		}
	}
	apart.Resolution = trace.Resolution
	require.Len(t, of[capture.Opened](&want), 2)
	require.NotNil(t, of[capture.Opened](&want)[0].Opening.OpeningHalf.Angle)
	var got heard
	p, err := New(apart, Options{Tell: got.tell})
	require.NoError(t, err)
	p.play(100)
	assert.Equal(t, of[capture.Cue](&want), of[capture.Cue](&got))
	opened := of[capture.Opened](&got)
	require.Len(t, opened, 2)
	for i, m := range of[capture.Opened](&want) {
		assert.Equal(t, m.Opening.OpeningHalf.Angle, opened[i].Opening.OpeningHalf.Angle)
		assert.Equal(t, m.Opening.ClosingHalf.Angle, opened[i].Opening.ClosingHalf.Angle)
	}
}

func TestReplaySeeksPausesAndChangesSpeed(t *testing.T) {
	trace := turned.Cycles(3)
	synctest.Test(t, func(t *testing.T) {
		var got heard
		p, err := New(trace, Options{Tell: got.tell, From: 13 * measure.Second})
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		go p.Run(ctx)
		rest(time.Second)
		place := of[capture.Position](&got)
		require.NotEmpty(t, place)
		last := place[len(place)-1]
		assert.InDelta(t, 14, last.At.Seconds(), 0.05)
		assert.InDelta(t, 10, measure.Length(last.Nose).Millimetres(), 0.01, "it knows the opening it did not show")
		assert.Empty(t, of[capture.Opened](&got), "what lies before is not told again")

		pause, goOn, rate, back := true, false, 4.0, 3*measure.Second
		_, err = p.Change(Change{Paused: &pause})
		require.NoError(t, err)
		synctest.Wait()
		n := len(of[capture.Message](&got))
		rest(time.Hour)
		assert.Len(t, of[capture.Message](&got), n, "one that stands says nothing more")

		_, err = p.Change(Change{Paused: &goOn, Rate: &rate, At: &back})
		require.NoError(t, err)
		rest(time.Second)
		place = of[capture.Position](&got)
		assert.InDelta(t, 7, place[len(place)-1].At.Seconds(), 0.1)

		bad := math.NaN()
		_, err = p.Change(Change{Rate: &bad})
		assert.ErrorContains(t, err, "rate must be from 0.01 to 1000")
		cancel()
		synctest.Wait()
		alive, _ := p.Change(Change{Paused: &pause})
		assert.False(t, alive)
	})
}

func TestReplayRefusesWhatCannotBePlayed(t *testing.T) {
	_, err := New(measure.Trace{}, Options{Trace: 3})
	assert.ErrorContains(t, err, "trace 3 has no readings")
	_, err = New(turned.Cycles(1), Options{Rate: -1})
	assert.ErrorContains(t, err, "rate must be")
}
