package contrary_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/lift/contrary"
)

// leg turns the crank to an angle at so many degrees a second.
type leg struct{ to, speed float64 }

// lobe is a versed sine of 10 mm over 240 degrees of the crank, invented.
func lobe(a float64) float64 {
	if math.Abs(a) >= 120 {
		return 0
	}
	return 5e6 * (1 + math.Cos(math.Pi*a/120))
}

// turned reads the lobe fifty times a second as the crank is turned, the angle by as many
// milliseconds later; spoil changes a lift by the time since it began, in seconds.
func turned(late float64, spoil func(t, a, y float64) float64, legs ...leg) contrary.Opening {
	const every, count, step = 0.02, 0.36, 1e4
	o := contrary.Opening{Way: 1, Count: count, Step: step, Scatter: step / math.Sqrt(12)}
	var at []float64
	a := -125.0
	for _, l := range legs {
		for way := math.Copysign(1, l.to-a); (l.to-a)*way > 0; {
			a += way * l.speed * every
			t := float64(len(at)) * every
			at = append(at, a)
			o.T = append(o.T, t*1e6)
			o.Y = append(o.Y, math.Round(spoil(t, a, lobe(a))/step)*step)
			if o.Y[len(o.Y)-1] > o.Y[o.Top] {
				o.Top = len(o.Y) - 1
			}
		}
	}
	for i := range at {
		o.A = append(o.A, math.Floor(at[max(i-int(late/1e3/every), 0)]/count)*count)
	}
	return o
}

func sound(_, _, y float64) float64 { return y }

// The lift runs back where something slips, on either flank, and nowhere else: not where the
// hand turns back, rocks over the nose or stops, also with a port that is late, and not where
// something shakes.
func TestLiftThatRunsBackAsTheCrankGoesOn(t *testing.T) {
	slips := func(by float64) func(t, a, y float64) float64 {
		return func(_, a, y float64) float64 {
			if a > -60 && a < 70 { // and back again on the closing flank
				return y - by
			}
			return y
		}
	}
	shakes := func(t, a, y float64) float64 {
		if a > -70 && a < -40 {
			return y + 2e5*math.Sin(2*math.Pi*6*t)
		}
		return y
	}
	burst := func(_, a, y float64) float64 { // a few readings together, ahead of all others
		if a > -60 && a < -58 {
			return y + 6e5
		}
		return y
	}
	for name, c := range map[string]struct {
		o  contrary.Opening
		by float64
	}{
		"sound":                    {turned(0, sound, leg{125, 30}), 0},
		"slips by 0.3 mm":          {turned(0, slips(3e5), leg{125, 20}), 3e5},
		"slips by a count":         {turned(0, slips(1e4), leg{125, 20}), 0},
		"turned back on the flank": {turned(0, sound, leg{-50, 40}, leg{-56, 40}, leg{125, 40}), 0},
		"the same, the angle a tenth of a second late": {turned(100, sound, leg{-50, 40}, leg{-56, 40}, leg{125, 40}), 0},
		"rocked over the nose":                         {turned(0, sound, leg{20, 30}, leg{-20, 30}, leg{125, 30}), 0},
		"misread together":                             {turned(0, burst, leg{125, 20}), 0},
		"shaken":                                       {turned(0, shakes, leg{125, 30}), 0},
	} {
		by, at := c.o.Slipped()
		assert.InDelta(t, c.by, by, 1e5, name) // less what the lobe moved by meanwhile
		assert.Equal(t, c.by > 0, by > 0, name)
		if c.by > 0 {
			assert.Contains(t, []float64{-60, 70}, math.Round(c.o.A[at]/5)*5, name)
		}
	}
}

// An encoder that counts both ways as one goes on where the valve goes back.
func TestAnEncoderThatCountsBothWaysAsOne(t *testing.T) {
	legs := []leg{{-40, 40}, {-60, 40}, {125, 40}}
	o := turned(0, sound, legs...)
	by, _ := o.Counted()
	assert.Zero(t, by)
	for i, last := 1, o.A[0]; i < len(o.A); i++ {
		a := o.A[i]
		o.A[i], last = o.A[i-1]+math.Abs(a-last), a
	}
	by, at := o.Counted()
	assert.InDelta(t, 40, by, 3) // back by 20, and on
	assert.InDelta(t, -40, o.A[at], 2)
}
