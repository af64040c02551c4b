package timing

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// One opening cannot show that what it has comes again: of two it can be said that
// they differ, of one it cannot.
func TestOneOpeningTellsNoDifference(t *testing.T) {
	worn := func(x float64) float64 {
		y := lobe345(110, 125)(x)
		if x > 20 && x < 90 {
			y *= 0.95
		}
		return y
	}
	of := func(shape func(float64) float64, to float64) *Curve {
		h := turn{shape: shape, from: -300, to: to, perReading: 0.3, resolution: 10_000, angleStep: deg(0.05), seed: 5}
		c, err := FromTrace(h.trace(), Options{Valve: Intake})
		require.NoError(t, err)
		return c
	}
	for _, c := range []struct {
		to   float64
		want string
	}{{1860, "differs"}, {470, "cannot-tell"}} {
		d, err := Differ(of(lobe345(110, 125), 1860), of(worn, c.to))
		require.NoError(t, err)
		assert.Equal(t, c.want, d.Is, d.Says.String())
	}
}
