package device

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/measure"
)

func TestPedal(t *testing.T) {
	var p pedal
	var marks []measure.Stamp
	// Pressed at 100 ms with 15 ms of bounce, held, let go with bounce at
	// 300 ms, touched for 10 ms at 500 ms, pressed again at 600 ms.
	level := func(ms int) bool {
		switch {
		case ms >= 100 && ms < 115:
			return ms%4 < 2
		case ms >= 115 && ms < 300:
			return true
		case ms >= 300 && ms < 310:
			return ms%4 < 2
		case ms >= 500 && ms < 510:
			return true
		}
		return ms >= 600
	}
	for ms := range 800 {
		if at, did := p.see(measure.Stamp(ms)*measure.Millisecond, level(ms)); did == pressed {
			marks = append(marks, at/measure.Millisecond)
		}
	}
	assert.Len(t, marks, 2)
	assert.InDelta(t, 100, float64(marks[0]), 16, "the moment of the press and not of our belief in it")
	assert.Equal(t, measure.Stamp(600), marks[1])

	// A port that opens with the line up does not begin with a mark.
	p = pedal{}
	for ms := range 200 {
		_, did := p.see(measure.Stamp(ms)*measure.Millisecond, true)
		assert.Equal(t, noPress, did)
	}
}

// Held down, the pedal is a mark first and then, once, the end of the trace; a
// bounce on the way begins the press again and makes no second mark.
func TestPedalHeldDown(t *testing.T) {
	told := func(level func(ms int) bool) (what []press, when []measure.Stamp) {
		var p pedal
		for ms := 0; ms < 8000; ms += 10 { // as often as the source looks
			now := measure.Stamp(ms) * measure.Millisecond
			if _, did := p.see(now, level(ms)); did != noPress {
				what, when = append(what, did), append(when, now/measure.Millisecond)
			}
		}
		return what, when
	}
	what, when := told(func(ms int) bool { return ms >= 1000 && ms < 5000 || ms >= 6000 && ms < 7000 })
	assert.Equal(t, []press{pressed, heldDown, pressed}, what)
	assert.Equal(t, []measure.Stamp{1030, 2500, 6030}, when)
	what, when = told(func(ms int) bool { return ms >= 1000 && ms < 5000 && ms != 2000 })
	assert.Equal(t, []press{pressed, heldDown}, what)
	assert.Equal(t, []measure.Stamp{1030, 3510}, when)
	what, _ = told(func(int) bool { return true })
	assert.Empty(t, what, "down from the start: a plug without a pedal, or the other kind of switch")
}
