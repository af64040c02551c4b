package bits

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// A figure that goes from nothing to twelve hundred counts and back passes each of its bits as
// one and as zero (counting, no source); with one of them off none of its ones is ever seen.
func TestStuck(t *testing.T) {
	const step = 10_000
	for off := -1; off < 9; off++ {
		for _, sign := range []int64{1, -1} {
			var s Seen
			for i := range 2400 {
				n := int64(min(i, 2400-i))
				if off >= 0 {
					n &^= 1 << off
				}
				s.See(sign*n*step, step)
			}
			want := int64(0)
			if off >= lowest {
				want = step << off
			}
			assert.Equal(t, want, s.Stuck(), "bit %d of counts that go %d", off, sign)
		}
	}
	var few Seen
	for i := range int64(leastMoves - 1) {
		few.See(i*8*step, step)
	}
	assert.Zero(t, few.Stuck(), "too few places")
	var far Seen // from 2048 counts on, of which no lower bit need be one
	for i := range int64(250) {
		far.See((2048+i%125)*step, step)
	}
	assert.Zero(t, far.Stuck(), "a short way far from zero")
}
