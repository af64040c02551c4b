package silence

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/measure"
)

const both = measure.HasLift | measure.HasAngle

// heard returns a habit of so many lifts, a spacing apart, each so much higher.
func heard(n int, apart measure.Stamp, by func(i int) measure.Length) *Habit {
	h, r := &Habit{}, measure.Reading{At: measure.Second, Has: measure.HasLift}
	for i := range n {
		r.At, r.Lift = r.At+apart, r.Lift+by(i)
		h.See(&r)
	}
	return h
}

// after says whether a silence before the next reading is explained.
func after(h *Habit, apart measure.Stamp, by measure.Length, turned measure.Angle) bool {
	r := measure.Reading{At: h.last.At + apart, Lift: h.last.Lift + by, Angle: h.last.Angle + turned, Has: h.last.Has}
	return h.Explains(h.Spell(&r))
}

func TestAnInstrumentThatSpeaksOnChange(t *testing.T) {
	const apart = 20 * measure.Millisecond
	changes := func(int) measure.Length { return 10 * measure.Micrometre }
	assert.True(t, after(heard(200, apart, changes), 3*measure.Second, 10*measure.Micrometre, 0), "it never repeats itself")
	assert.False(t, after(heard(200, apart, changes), 3*measure.Second, 11*measure.Micrometre, 0), "it moved farther than it does at once")
	assert.False(t, after(heard(20, apart, changes), 3*measure.Second, 0, 0), "who knows yet")
	half := func(i int) measure.Length { return measure.Length(i%2) * measure.Micrometre }
	for _, apart := range []measure.Stamp{5, 20, 200, 1000} {
		assert.False(t, after(heard(200, apart*measure.Millisecond, half), 20*measure.Second, 0, 0), "it speaks all the time, every %d ms", apart)
	}
}

// A rest at the start, with a line each second, says nothing of how it speaks when it moves.
func TestSignsOfLife(t *testing.T) {
	h, r := &Habit{}, measure.Reading{Has: measure.HasLift}
	rest := func(n int) {
		for range n {
			r.At += 1040 * measure.Millisecond
			h.See(&r)
		}
	}
	rest(12)
	for range 60 {
		r.At, r.Lift = r.At+190*measure.Millisecond, r.Lift+5*measure.Micrometre
		h.See(&r)
	}
	rest(3)
	assert.True(t, after(h, 1040*measure.Millisecond, 0, 0), "the next line is a sign of life")
	assert.False(t, after(h, 30*measure.Second, 0, 0), "none came for half a minute")
}

// Where the crank makes an instrument speak it does not go on in silence; where the lift
// alone does it may.
func TestTheCrankGoesOnInSilence(t *testing.T) {
	for _, c := range []struct {
		name           string
		alone          int // rows of the crank alone for one of both
		apart          measure.Stamp
		turned         measure.Angle
		explained, was bool // was: the rows of the crank went on in the silence
	}{
		{"rests", 3, 5 * measure.Second, measure.Degree, true, false},
		{"both were cut off", 3, 5 * measure.Second, 30 * measure.Degree, false, false},
		{"the lift stood still and the crank went on", 3, 5 * measure.Second, 30 * measure.Degree, true, true},
		{"the lift alone makes it speak", 0, 5 * measure.Second, 300 * measure.Degree, true, false},
	} {
		h, r := &Habit{}, measure.Reading{Has: both}
		step := func(lift measure.Length) {
			r.At, r.Angle = r.At+20*measure.Millisecond, r.Angle+measure.Degree
			if r.Has = measure.HasAngle; lift > 0 {
				r.Has, r.Lift = both, r.Lift+lift
			}
			h.See(&r)
		}
		for range 60 {
			step(10 * measure.Micrometre)
			for range c.alone {
				step(0)
			}
		}
		for c.was && r.Angle < h.last.Angle+30*measure.Degree && r.At < 20*measure.Second {
			step(0)
		}
		assert.Equal(t, c.explained, after(h, c.apart, 0, c.turned*measure.Angle(1-b2i(c.was))), c.name)
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}
