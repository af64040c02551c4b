package device

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// The ring holds the last bytes, whole reads only, within its bounds.
func TestRing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const bytes, chunks = 50, 7
		r := newRing(bytes, chunks)
		all := []RawChunk{}
		at := measure.Stamp(0)
		for _, b := range rapid.SliceOf(rapid.SliceOfN(rapid.Byte(), 0, 60)).Draw(t, "reads") {
			at += measure.Stamp(rapid.Int64Range(0, int64(ringAge/3)).Draw(t, "pause"))
			r.add(at, b)
			if len(b) > 0 {
				all = append(all, RawChunk{at, b[max(0, len(b)-bytes):]})
			}
			got := r.tail()
			assert.Equal(t, all[len(all)-len(got):], got[:len(got):len(got)], "the end of all, in order")
			size := 0
			for _, c := range got {
				size += len(c.Bytes)
				if len(b) > 0 {
					assert.LessOrEqual(t, at-c.At, ringAge)
				}
			}
			assert.LessOrEqual(t, size, bytes)
			assert.LessOrEqual(t, len(got), chunks)
			if len(all) > 0 && at == all[len(all)-1].At {
				assert.NotEmpty(t, got)
			}
		}
	})
}

func TestBackoff(t *testing.T) {
	for _, draw := range []float64{0, 0.5, 0.999} {
		b := backoff{draw: func() float64 { return draw }}
		var sum time.Duration
		for i := range 30 {
			d := b.next()
			assert.LessOrEqual(t, d, 2*time.Second)
			if i > 5 {
				assert.GreaterOrEqual(t, d, time.Second, "it does not hammer")
			}
			sum += d
		}
		assert.LessOrEqual(t, b.draw(), 1.0)
		b.reset()
		assert.LessOrEqual(t, b.next(), 100*time.Millisecond)
		assert.Greater(t, sum, 20*time.Second)
	}
	var b backoff
	first := map[time.Duration]bool{}
	for range 20 {
		b.reset()
		first[b.next()] = true
	}
	assert.Greater(t, len(first), 1, "two sources do not try in step")
}
