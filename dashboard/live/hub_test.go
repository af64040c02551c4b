package live

import (
	"context"
	"encoding/json"
	"fmt"
	"runtime"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/capture/lift"
	"lobescribe/capture/replay"
	"lobescribe/device/measure"
)

// heard is one message as a client got it.
type heard struct {
	Type    string
	Replay  uint64
	Lost    int
	T_us    []int64
	Lift_nm json.RawMessage
	Text    string `json:"-"`
}

// drain takes what waits for c, without waiting for more.
func drain(t *testing.T, c *Client) []heard {
	t.Helper()
	var out []heard
	for {
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		f, lost, err := c.next(ctx, time.Hour)
		if err != nil {
			require.ErrorIs(t, err, context.Canceled)
			return out
		}
		body := f.body
		if lost > 0 {
			body = f.withLost(lost)
		}
		var h heard
		require.NoError(t, json.Unmarshal(body, &h))
		h.Text = string(body)
		out = append(out, h)
	}
}

func types(all []heard) (words []string) {
	for _, h := range all {
		words = append(words, h.Type)
	}
	return words
}

func join(t *testing.T, h *Hub) *Client {
	t.Helper()
	c, err := h.Join()
	require.NoError(t, err)
	return c
}

func TestASnapshotThenEverythingAfterIt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := NewHub(HubOptions{Version: "test"})
		defer h.Close()
		h.Publish(Device{ID: Encoder, State: "live"}, 0)
		h.Publish(Device{ID: Indicator, State: "connecting"}, 0)
		h.Publish(Device{ID: Indicator, State: "live"}, 0)
		h.Publish(Selection{Engine: "demo", Valve: "3E"}, 0)
		h.Publish(Settings{Units: "mm"}, 0)
		h.Publish(keep.State{ID: 4, State: "recording"}, 0)
		h.Publish(capture.Opened{Opening: lift.Opening{MaxLift: 10_668_000}}, 0)
		h.Publish(capture.Opened{Opening: lift.Opening{MaxLift: 999}}, 77) // of a replay: not the engine's
		h.Publish(batch(1, 2, 3), 0)
		h.Publish(capture.Position{State: capture.AtNose, Lift: 5}, 0)
		h.Publish(batch(4), 0) // waits for the next batch, but not for a joiner

		c := join(t, h)
		h.Publish(batch(5), 0)
		h.Publish(capture.Cue{Kind: capture.AtHalf}, 0)
		got := drain(t, c)
		require.Equal(t, []string{"hello", "readings", "readings", "cue"}, types(got), "readings are on the wire before the cue they led to")
		assert.Equal(t, []int64{1, 2, 3, 4}, got[1].T_us, "the strip")
		assert.Equal(t, []int64{5}, got[2].T_us)

		var hello Hello
		require.NoError(t, json.Unmarshal([]byte(got[0].Text), &hello))
		assert.Equal(t, "test", hello.Version)
		assert.Equal(t, "mm", hello.Units)
		assert.Equal(t, Selection{Engine: "demo", Valve: "3E"}, hello.Bench)
		require.Len(t, hello.Devices, 2)
		assert.Equal(t, Indicator, hello.Devices[0].ID, "the indicator first")
		assert.Equal(t, "live", hello.Devices[0].State, "as it stands, not as it stood")
		require.NotNil(t, hello.Position)
		assert.EqualValues(t, 5, hello.Position.Lift)
		require.Len(t, hello.Openings, 1)
		assert.EqualValues(t, 10_668_000, hello.Openings[0].MaxLift)
		assert.EqualValues(t, 4, hello.Trace.ID)

		h.Publish(keep.State{ID: 5, State: "recording"}, 0)
		assert.Empty(t, h.Now().Openings, "a new trace has none yet")
	})
}

// The hello of an empty bench has lists, not nulls, where the page walks them.
func TestHelloOfAnEmptyBench(t *testing.T) {
	h := NewHub(HubOptions{})
	defer h.Close()
	got := drain(t, join(t, h))
	require.Len(t, got, 1)
	assert.JSONEq(t, `{"type":"hello","version":"","units":"in","lan":false,"simulated":false,
		"bench":{"engine":"","valve":"","trial":""},"devices":[],"position":null,"trace":null,"openings":[],"findings":null,"proof":null,"replay_of":null}`, got[0].Text)
}

func TestThePace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := NewHub(HubOptions{})
		defer h.Close()
		c := join(t, h)
		drain(t, c)

		// A slow instrument is not held up at all.
		h.Publish(batch(1), 0)
		assert.Len(t, drain(t, c), 1, "the first reading goes at once")
		time.Sleep(50 * time.Millisecond)
		h.Publish(batch(2), 0)
		assert.Len(t, drain(t, c), 1, "so does the next, 50 ms later")

		// A fast one is batched.
		time.Sleep(time.Second)
		var messages, readings int
		for i := range int64(5000) { // five seconds of 1000 a second
			h.Publish(batch(100+i), 0)
			h.Publish(capture.Position{Lift: i}, 0)
			time.Sleep(time.Millisecond)
			synctest.Wait()
			for _, m := range drain(t, c) {
				if m.Type == "readings" {
					messages++
					readings += len(m.T_us)
				}
			}
		}
		time.Sleep(20 * time.Millisecond)
		synctest.Wait()
		for _, m := range drain(t, c) {
			readings += len(m.T_us)
		}
		assert.Equal(t, 5000, readings)
		assert.LessOrEqual(t, messages, 5*60+1)
		assert.GreaterOrEqual(t, messages, 5*50)
	})
}

func TestAReplayIsMarkedAndApart(t *testing.T) {
	h := NewHub(HubOptions{})
	defer h.Close()
	early := join(t, h)
	drain(t, early)
	h.Publish(replay.State{Trace: 12, Rate: 2, Seconds: 30 * measure.Second}, 0)
	h.Publish(batch(1), 12)
	h.Publish(capture.Position{Lift: 1}, 12)
	h.Publish(capture.Cue{Kind: capture.NoseReached}, 12)
	h.Publish(batch(2), 0)
	for _, m := range drain(t, early) {
		switch {
		case m.Type == "replay", len(m.T_us) == 1 && m.T_us[0] == 2:
			assert.Zero(t, m.Replay, m.Text)
		default:
			assert.EqualValues(t, 12, m.Replay, m.Text)
		}
	}
	assert.Nil(t, h.Now().Position, "a replay does not move the live engine")

	got := drain(t, join(t, h))
	assert.Equal(t, []string{"hello", "replay", "readings"}, types(got))
	assert.Contains(t, got[0].Text, `"replay_of":12`)
	h.Publish(replay.State{Trace: 12, Ended: true}, 0)
	assert.Nil(t, h.Now().ReplayOf)
}

func TestTheStripIsBounded(t *testing.T) {
	h := NewHub(HubOptions{Every: time.Nanosecond})
	defer h.Close()
	for i := range int64(40_000) {
		h.Publish(batch(i*1000), 0) // a thousand a second
		time.Sleep(0)
	}
	var first, n, last int64
	for _, m := range drain(t, join(t, h)) {
		for _, at := range m.T_us {
			if n == 0 {
				first = at
			}
			n++
			last = at
		}
	}
	assert.EqualValues(t, 39_999_000, last)
	assert.EqualValues(t, 15_000_000, last-first, "fifteen seconds")
	assert.EqualValues(t, 15_001, n)
}

func TestTheSlowClientPays(t *testing.T) {
	h := NewHub(HubOptions{Every: time.Nanosecond, Waiting: 100, WaitingBatches: 10})
	defer h.Close()
	slow, healthy := join(t, h), join(t, h)
	drain(t, slow)
	drain(t, healthy)
	var cues int
	for i := range int64(50) {
		h.Publish(batch(i), 0)
		h.Publish(capture.Cue{ToGo: i}, 0)
		for _, m := range drain(t, healthy) {
			assert.Zero(t, m.Lost)
		}
	}
	for _, m := range drain(t, slow) {
		if m.Type == "cue" {
			cues++
		}
		if m.Lost > 0 {
			assert.Equal(t, 40, m.Lost)
			assert.Equal(t, []int64{40}, m.T_us)
		}
	}
	assert.Equal(t, 50, cues, "no cue is lost")

	// One that does not read at all is let go, and only that one.
	for i := range int64(200) {
		h.Publish(capture.Cue{ToGo: i}, 0)
		drain(t, healthy)
	}
	_, _, err := slow.next(t.Context(), time.Hour)
	assert.ErrorIs(t, err, errBehind)
	assert.Equal(t, 1, h.Clients())
}

// A hundred pages that do not read at all, and a day's messages: the memory
// that waits for them does not grow with the messages.
func TestStalledClientsHoldLittle(t *testing.T) {
	h := NewHub(HubOptions{Every: time.Nanosecond})
	defer h.Close()
	for range 100 {
		join(t, h)
	}
	held := func() int64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return int64(m.HeapAlloc)
	}
	publish := func(n int) {
		for i := range n {
			h.Publish(batch(make([]int64, 20)...), 0)
			h.Publish(capture.Position{Lift: int64(i)}, 0)
		}
	}
	publish(500) // every queue is full now
	before := held()
	publish(5000)
	assert.Less(t, held()-before, int64(2<<20), "ten times as many messages, no more memory")
	assert.Equal(t, 100, h.Clients(), "readings alone send nobody away")
}

func TestLimitAndClose(t *testing.T) {
	h := NewHub(HubOptions{Clients: 2})
	a, b := join(t, h), join(t, h)
	_, err := h.Join()
	require.ErrorIs(t, err, ErrFull)
	b.Leave()
	c := join(t, h)
	h.Close()
	for _, client := range []*Client{a, c} {
		client.greeting = nil
		_, _, err = client.next(t.Context(), time.Hour)
		require.ErrorIs(t, err, ErrClosed)
	}
	_, err = h.Join()
	require.ErrorIs(t, err, ErrClosed)
	h.Publish(batch(1), 0) // after the end: nobody hears, nothing breaks
	a.Leave()
}

// Readings without an angle between readings with one keep the columns even.
func TestColumnsStayEven(t *testing.T) {
	h := NewHub(HubOptions{Every: time.Hour})
	defer h.Close()
	c := join(t, h)
	h.Publish(batch(0), 0) // goes at once; the rest is one batch
	drain(t, c)
	h.Publish(batch(1), 0)
	h.Publish(capture.Readings{At: []int64{2}, Lift: []int64{2}, Angle: []int64{20}}, 0)
	h.Publish(batch(3), 0)
	h.Publish(Marked{}, 0)
	got := drain(t, c)
	require.Len(t, got, 2)
	assert.Equal(t, `{"type":"readings","t_us":[1,2,3],"lift_nm":[1,2,3],"angle_udeg":[20,20,20],"lost":0}`, got[0].Text)
}

// A replay at a thousand times the speed is thinned; the live engine never is.
func TestAFastReplayIsThinned(t *testing.T) {
	m := capture.Readings{}
	for i := range int64(50_000) {
		m.At, m.Lift, m.Angle = append(m.At, i), append(m.Lift, i%7), append(m.Angle, i*2)
	}
	m.Lift[31_234], m.Lift[40_000] = 99, -99
	h := NewHub(HubOptions{})
	defer h.Close()
	c := join(t, h)
	h.Publish(m, 3)
	h.Publish(m, 0)
	got := drain(t, c)
	require.Len(t, got, 3)
	assert.LessOrEqual(t, len(got[1].T_us), replayBatch)
	assert.Greater(t, len(got[1].T_us), replayBatch/2)
	assert.True(t, slices.IsSorted(got[1].T_us))
	assert.Contains(t, got[1].T_us, int64(31_234))
	assert.Contains(t, got[1].T_us, int64(40_000))
	assert.Zero(t, got[1].Lost)
	assert.Len(t, got[2].T_us, 50_000)
}

func BenchmarkFanOut(b *testing.B) {
	for _, clients := range []int{1, 10, 100} {
		b.Run(fmt.Sprint(clients), func(b *testing.B) {
			h := NewHub(HubOptions{Every: time.Nanosecond})
			defer h.Close()
			ctx := b.Context()
			for range clients {
				c, err := h.Join()
				require.NoError(b, err)
				go func() {
					for {
						if _, _, err := c.next(ctx, time.Hour); err != nil {
							return
						}
					}
				}()
			}
			m := batch(make([]int64, 16)...)
			b.ReportAllocs()
			for b.Loop() {
				h.Publish(m, 0)
			}
		})
	}
}
