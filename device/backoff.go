package device

import (
	"math/rand/v2"
	"time"
)

// backoff is the wait before the next try: it doubles from first to most, and
// each wait is drawn from the upper half of it, so that two sources on one hub
// do not try in step. It never exceeds most.
type backoff struct {
	first, most time.Duration
	tries       int
	draw        func() float64 // 0 to 1; nil draws at random
}

const (
	backoffFirst = 100 * time.Millisecond
	backoffMost  = 2 * time.Second
)

// next returns how long to wait now.
func (b *backoff) next() time.Duration {
	first, most := b.first, b.most
	if first <= 0 {
		first = backoffFirst
	}
	if most <= 0 {
		most = backoffMost
	}
	d := first << min(b.tries, 16)
	if d > most {
		d = most
	}
	b.tries++
	draw := b.draw
	if draw == nil {
		draw = rand.Float64
	}
	return d/2 + time.Duration(draw()*float64(d/2))
}

// reset starts again from the first wait.
func (b *backoff) reset() { b.tries = 0 }
