package model

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// The polynomial's values (recomputed apart from it): s(0.25), s(0.5), s(0.75),
// s(0.9) of 2-10-18-26 and of 2-10-12-14, and where half of the lift is.
func TestLobe(t *testing.T) {
	for i, want := range [][5]float64{{.904786028, .620031329, .19174372, .01608116, .574941}, {.890629599, .566070557, .134081358, .007974867, .538254}} {
		l := Lobe{Height: 1, Half: 100, Sharp: i == 1}
		for k, x := range []float64{25, 50, 75, 90} {
			assert.InDelta(t, want[k], l.Above(x), 1e-8)
			assert.InDelta(t, want[k], l.Above(720-x), 1e-8)
		}
		opens, closes := l.Passes(0.5)
		assert.InDelta(t, -100*want[4], opens, 1e-4)
		assert.InDelta(t, 100*want[4], closes, 1e-4)
		assert.InDelta(t, 0, l.Above(99.99), 1e-9)
	}
	l := Lobe{Height: 10, Centre: 110, Half: 130, Skew: 0.1}
	assert.InDelta(t, 10, l.Above(l.Nose()), 1e-9)
	assert.Less(t, l.Nose(), 110.0)
}

// Piston of stroke 3.48, rod 5.70 in (the closed form, agreed by two other
// forms): 0.299902 at 30, 2.012072 at 90, 3.48 at 180 degrees.
func TestPiston(t *testing.T) {
	for at, want := range map[float64]float64{0: 0, 30: 0.299902, 90: 2.012072, 150: 3.313670, 180: 3.48, 710: 0.034448} {
		assert.InDelta(t, want, Piston(3.48, 5.70, at), 1e-6)
	}
}
