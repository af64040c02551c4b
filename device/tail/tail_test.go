package tail

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// The ring holds the last bytes, whole reads only, within its bounds.
func TestRing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const bytes, chunks = 50, 7
		r := newRing(bytes, chunks)
		all := []Chunk{}
		at := measure.Stamp(0)
		for _, b := range rapid.SliceOf(rapid.SliceOfN(rapid.Byte(), 0, 60)).Draw(t, "reads") {
			at += measure.Stamp(rapid.Int64Range(0, int64(ringAge/3)).Draw(t, "pause"))
			r.Add(at, b)
			if len(b) > 0 {
				all = append(all, Chunk{at, b[max(0, len(b)-bytes):]})
			}
			got := r.Tail()
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
