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
		if at, ok := p.see(measure.Stamp(ms)*measure.Millisecond, level(ms)); ok {
			marks = append(marks, at/measure.Millisecond)
		}
	}
	assert.Len(t, marks, 2)
	assert.InDelta(t, 100, float64(marks[0]), 16, "the moment of the press and not of our belief in it")
	assert.Equal(t, measure.Stamp(600), marks[1])

	// A port that opens with the line up does not begin with a mark.
	p = pedal{}
	for ms := range 200 {
		_, ok := p.see(measure.Stamp(ms)*measure.Millisecond, true)
		assert.False(t, ok)
	}
}
