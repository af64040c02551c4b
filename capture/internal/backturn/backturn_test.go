package backturn_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/internal/backturn"
)

// Cycloidal motion, h(u - sin(2 pi u)/(2 pi)), is a third law of any textbook of cam design
// (as in Norton, Cam Design and Manufacturing Handbook, ch. 2; from memory), and its flank is
// no steeper than that of the two that the bound is made of, but for a twentieth of the lift.
func TestNoBackTurnOfAnotherLawTakesOffMore(t *testing.T) {
	cycloidal := func(u float64) float64 { return u - math.Sin(2*math.Pi*u)/(2*math.Pi) }
	for _, degrees := range []float64{2, backturn.Usual, backturn.Far} {
		for u := 0.05; u <= 1; u += 0.05 {
			top := 10 * cycloidal(u)
			falls := top - 10*cycloidal(max(u-degrees/100, 0))
			assert.LessOrEqual(t, falls, backturn.TakesOff(top, 10, degrees)+0.5, "%v degrees at %v", degrees, u)
			assert.LessOrEqual(t, backturn.TakesOff(top, 10, degrees), top)
		}
	}
}

// Where the nose may be anywhere it takes off as much as for any nose.
func TestTheNoseMayBeAnywhere(t *testing.T) {
	for _, top := range []float64{1e6, 4e6, 9e6, 14e6} {
		all := backturn.TakesOffAtAll(top)
		for _, most := range []float64{top, 1.3 * top, 15e6} {
			if most >= top {
				assert.GreaterOrEqual(t, all, 0.97*backturn.TakesOff(top, most, backturn.Far))
			}
		}
		assert.LessOrEqual(t, all, top)
	}
}
