package capture

import (
	"context"
	"math"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// cycles is a plain trace of n openings of 10 mm, 4 s each with 4 s of heel
// before and after, at 100 readings a second: a simple-harmonic lift.
func cycles(n int) measure.Trace {
	var t measure.Trace
	for i := range (n*8 + 4) * 100 {
		at := measure.Stamp(i) * 10 * measure.Millisecond
		lift := 0.0
		if s := math.Mod(at.Seconds(), 8); s > 4 {
			lift = 5 * (1 - math.Cos(2*math.Pi*(s-4)/4))
		}
		t.Readings = append(t.Readings, liftAt(at, measure.FromMillimetres(math.Round(lift*1000)/1000)))
	}
	t.Resolution = measure.Micrometre
	return t
}

type heard struct {
	mu       sync.Mutex
	messages []Message
}

func (h *heard) tell(m Message) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.messages = append(h.messages, m)
}

func of[M Message](h *heard) (all []M) {
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
	trace := cycles(3)
	f := NewFollower(FollowerOptions{Resolution: trace.Resolution})
	want := heard{}
	for _, r := range trace.Readings {
		for _, m := range f.Step(nil, r) {
			want.tell(m)
		}
	}
	require.Len(t, of[Opened](&want), 3)

	synctest.Test(t, func(t *testing.T) {
		var got heard
		p, err := NewReplay(trace, ReplayOptions{Trace: 7, Rate: 20, Tell: got.tell})
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		go p.Run(ctx)
		time.Sleep(2 * time.Second)
		cancel()
		synctest.Wait()
		assert.Equal(t, of[Cue](&want), of[Cue](&got))
		assert.Equal(t, of[Opened](&want), of[Opened](&got))
		n := 0
		for _, m := range of[Readings](&got) {
			n += len(m.At)
		}
		assert.Equal(t, len(trace.Readings), n, "every reading once")
		states := of[ReplayState](&got)
		assert.True(t, states[len(states)-1].Ended)
		assert.True(t, states[len(states)-1].Paused, "it waits at the end to be wound back")
		assert.False(t, states[len(states)-2].Ended)
		assert.Equal(t, uint64(7), states[0].Trace)
	})
}

func TestReplaySeeksPausesAndChangesSpeed(t *testing.T) {
	trace := cycles(3)
	synctest.Test(t, func(t *testing.T) {
		var got heard
		p, err := NewReplay(trace, ReplayOptions{Tell: got.tell, From: 13 * measure.Second})
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		go p.Run(ctx)
		rest(time.Second)
		place := of[Position](&got)
		require.NotEmpty(t, place)
		last := place[len(place)-1]
		assert.InDelta(t, 14, last.At.Seconds(), 0.05)
		assert.InDelta(t, 10, measure.Length(last.Nose).Millimetres(), 0.01, "it knows the opening it did not show")
		assert.Empty(t, of[Opened](&got), "what lies before is not told again")

		pause, goOn, rate, back := true, false, 4.0, 3*measure.Second
		_, err = p.Change(ReplayChange{Paused: &pause})
		require.NoError(t, err)
		synctest.Wait()
		n := len(of[Message](&got))
		rest(time.Hour)
		assert.Len(t, of[Message](&got), n, "one that stands says nothing more")

		_, err = p.Change(ReplayChange{Paused: &goOn, Rate: &rate, At: &back})
		require.NoError(t, err)
		rest(time.Second)
		place = of[Position](&got)
		assert.InDelta(t, 7, place[len(place)-1].At.Seconds(), 0.1)

		bad := math.NaN()
		_, err = p.Change(ReplayChange{Rate: &bad})
		assert.ErrorContains(t, err, "rate must be from 0.01 to 1000")
		cancel()
		synctest.Wait()
		alive, _ := p.Change(ReplayChange{Paused: &pause})
		assert.False(t, alive)
	})
}

func TestReplayRefusesWhatCannotBePlayed(t *testing.T) {
	_, err := NewReplay(measure.Trace{}, ReplayOptions{Trace: 3})
	assert.ErrorContains(t, err, "trace 3 has no readings")
	_, err = NewReplay(cycles(1), ReplayOptions{Rate: -1})
	assert.ErrorContains(t, err, "rate must be")
}
