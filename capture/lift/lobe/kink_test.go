package lobe

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A nose that falls with the square of the angle has no kink, and neither has one that is
// harmonic, with an overtone; followed by a fifth of the way from a level on either has, there
// and of that size. The laws are those of any textbook on cams; the stop is derived here.
func TestKinkOf(t *testing.T) {
	const height, step = 10e6, 0.25
	for name, law := range map[string]func(u float64) float64{
		"parabola": func(u float64) float64 { return 1 - u*u },
		"harmonic": func(u float64) float64 { return (1 + math.Cos(math.Pi*u)) / 2 },
		"overtone": func(u float64) float64 { return (1+math.Cos(math.Pi*u))/2 + 0.05*(1-math.Cos(2*math.Pi*u)) },
	} {
		flank := func(from, follows float64) Kink {
			var x, y []float64
			for a := -90.0; a <= 0; a += step {
				v := height * law(a/90)
				x, y = append(x, a), append(y, math.Round((min(v, from)+follows*max(v-from, 0))/2.5e3)*2.5e3)
			}
			return KinkOf(x, y, 0.1, y[len(y)-1], 1e3)
		}
		for i, says := range flank(height, 1) {
			assert.LessOrEqual(t, says, 1.0, "%s, sound, kink %d", name, i)
		}
		pressed := flank(0.8*height, 0.2)
		best := 0
		for i, says := range pressed {
			if says > pressed[best] {
				best = i
			}
		}
		deep, follows := kinkAt(best)
		assert.Greater(t, pressed[best], 20.0, name)
		assert.InDelta(t, 0.2*0.2/0.84, deep, 0.02, name)
		assert.InDelta(t, 0.2, follows, 0.15, name)
		assert.InEpsilon(t, 0.8*0.2/0.84, kinkTakes(best), 0.5, name)
	}
	assert.Equal(t, Kink{}, KinkOf([]float64{-1, 0}, []float64{0, height}, 0.1, height, 1e3), "too few readings say nothing")
}
