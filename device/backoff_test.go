package device

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

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
