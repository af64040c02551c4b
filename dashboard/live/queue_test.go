package live

import (
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/capture"
	"lobescribe/capture/replay"
	"lobescribe/device/measure"
)

func mustFrame(t require.TestingT, m capture.Message, source uint64) *frame {
	f, err := newFrame(m, source, 7)
	require.NoError(t, err)
	return f
}

func batch(at ...int64) capture.Readings {
	return capture.Readings{At: at, Lift: at}
}

// Whatever is put and taken in whatever order: what must not be lost comes
// whole and in order, readings that do not come are counted, the newest state
// comes, nothing grows beyond its bound.
func TestQueueProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := queue{maxLossless: 20, maxBatches: 4, maxReadings: 12}
		var cues, gotCues, got, lost, put int
		var lastState, seenState capture.Position
		next := int64(0)
		lastAt := int64(-1)
		behind := false
		take := func() bool {
			f, n := q.take()
			if f == nil {
				return false
			}
			lost += n
			switch f.lane {
			case lossless:
				assert.Contains(t, string(f.body), fmt.Sprintf(`"to_go_nm":%d`, gotCues))
				gotCues++
			case newest:
				require.NoError(t, json.Unmarshal(f.body, &seenState))
			case batches:
				var m capture.Readings
				require.NoError(t, json.Unmarshal(f.body, &m))
				require.Greater(t, m.At[0], lastAt)
				require.EqualValues(t, m.At[0], lastAt+1+int64(n), "exactly the readings told are missing before it")
				lastAt = m.At[len(m.At)-1]
				got += len(m.At)
			}
			return true
		}
		for range rapid.IntRange(0, 200).Draw(t, "steps") {
			switch rapid.IntRange(0, 4).Draw(t, "what") {
			case 0:
				if q.put(mustFrame(t, capture.Cue{Kind: capture.AtHalf, ToGo: int64(cues)}, 0)) != nil {
					behind = true
				} else {
					cues++
				}
			case 1:
				lastState = capture.Position{State: capture.OnOpening, Lift: rapid.Int64().Draw(t, "lift")}
				require.NoError(t, q.put(mustFrame(t, lastState, 0)))
			case 2:
				var m capture.Readings
				for range rapid.IntRange(1, 5).Draw(t, "n") {
					m.At, m.Lift = append(m.At, next), append(m.Lift, next)
					next++
					put++
				}
				require.NoError(t, q.put(mustFrame(t, m, 0)))
			default:
				take()
			}
			assert.LessOrEqual(t, len(q.lossless), 20)
			assert.LessOrEqual(t, len(q.batches), 4)
			assert.LessOrEqual(t, len(q.newest), 1)
			if behind {
				require.Len(t, q.lossless, 20, "only a full lane sends a client away")
				return
			}
		}
		for take() {
		}
		assert.Equal(t, cues, gotCues)
		assert.Equal(t, put, got+lost)
		if lastState.State != "" {
			assert.Equal(t, lastState, seenState)
		}
	})
}

// Of two sources and two kinds of newest, each has its own.
func TestNewestIsOfItsSource(t *testing.T) {
	q := queue{maxLossless: 9, maxBatches: 9, maxReadings: 9}
	for i := range 3 {
		for source := range uint64(2) {
			require.NoError(t, q.put(mustFrame(t, capture.Position{Lift: int64(i)}, source)))
			require.NoError(t, q.put(mustFrame(t, replay.State{Trace: 5, Seconds: measure.Stamp(i)}, source)))
		}
	}
	require.NoError(t, q.put(mustFrame(t, replay.State{Trace: 5, Ended: true}, 0)))
	var words []string
	for f, _ := q.take(); f != nil; f, _ = q.take() {
		words = append(words, fmt.Sprint(f.word, f.source))
	}
	assert.Equal(t, []string{"state0", "replay0", "state1", "replay1", "replay0"}, words, "and the end of a replay is kept beside its last position")
}

func TestFrames(t *testing.T) {
	for name, c := range map[string]struct {
		m      capture.Message
		source uint64
		want   string
	}{
		"readings":       {capture.Readings{At: []int64{1, 2}, Lift: []int64{-3, 4}}, 0, `{"type":"readings","t_us":[1,2],"lift_nm":[-3,4],"lost":0}`},
		"with encoder":   {capture.Readings{At: []int64{1}, Lift: []int64{2}, Angle: []int64{3}}, 0, `{"type":"readings","t_us":[1],"lift_nm":[2],"angle_udeg":[3],"lost":0}`},
		"of a replay":    {batch(1), 12, `{"type":"readings","replay":12,"t_us":[1],"lift_nm":[1],"lost":0}`},
		"mark":           {Marked{At: 1_500_000}, 0, `{"type":"mark","t_s":1.5}`},
		"nothing inside": {Alive{}, 0, `{"type":"alive"}`},
		"replayed mark":  {Marked{}, 3, `{"type":"mark","replay":3,"t_s":0}`},
	} {
		t.Run(name, func(t *testing.T) {
			f := mustFrame(t, c.m, c.source)
			assert.Equal(t, c.want, string(f.body))
			assert.True(t, json.Valid(f.body))
		})
	}
	lost := mustFrame(t, batch(1), 0).withLost(42)
	assert.Equal(t, `{"type":"readings","t_us":[1],"lift_nm":[1],"lost":42}`, string(lost))
	opened := mustFrame(t, capture.Opened{}, 0)
	assert.Contains(t, string(opened.body), `{"type":"opening","trace":7,"opening":{`)
}

// The hand-written encoder says what encoding/json would.
func TestReadingsAreJSON(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 30).Draw(t, "n")
		column := func(name string) []int64 { return rapid.SliceOfN(rapid.Int64(), n, n).Draw(t, name) }
		m := capture.Readings{At: column("at"), Lift: column("lift")}
		if n > 0 && rapid.Bool().Draw(t, "encoder") {
			m.Angle = column("angle")
		}
		var back capture.Readings
		require.NoError(t, json.Unmarshal(mustFrame(t, m, 0).body, &back))
		assert.Equal(t, m, back)
	})
}

// What says all that the one before it said takes one place, however often it
// comes: a client that is slow to hear how openings agree, or how a proving
// goes, is not sent away for it, and loses no cue.
func TestOnlyTheNewestOfWhatSaysAll(t *testing.T) {
	q := queue{maxLossless: 20, maxBatches: 4, maxReadings: 12}
	for n := range 20 {
		require.NoError(t, q.put(mustFrame(t, capture.Cue{Kind: capture.AtHalf, ToGo: int64(n)}, 0)))
		for range 10 {
			require.NoError(t, q.put(mustFrame(t, Agreement{Count: n}, 0)))
			require.NoError(t, q.put(mustFrame(t, ProofNow{Indicator: fmt.Sprint(n)}, 0)))
		}
	}
	var words []string
	var last []string
	for f, _ := q.take(); f != nil; f, _ = q.take() {
		words, last = append(words, f.word), append(last, string(f.body))
	}
	require.Len(t, words, 22)
	for n := range 20 {
		assert.Equal(t, "cue", words[n])
	}
	assert.Equal(t, []string{"agreement", "proof"}, words[20:])
	assert.Contains(t, last[20], `"count":19`)
	assert.Contains(t, last[21], `"indicator":"19"`)
}
