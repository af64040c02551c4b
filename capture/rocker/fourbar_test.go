package rocker

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A four-bar linkage of the textbooks: Norton, Design of Machinery, table P4-1, row a
// (from memory; the answers recomputed): links 6, 2, 7 and 9, the crank at 30 degrees;
// open, the coupler at 88.84 and the rocker at 117.29 degrees. Pivot, adjuster's arm,
// pushrod and the lifter's cup are such a linkage, with the crank's pin for the cup.
func TestATextbookFourBar(t *testing.T) {
	s, c := math.Sincos(30 * math.Pi / 180)
	l := linkage{a: 9, b: 9, px: 6, rod: 7, tx: 2 * c, tz: 2 * s}
	theta, err := l.theta(0)
	require.NoError(t, err)
	const printed = 0.006 // half of the last digit, and a little
	assert.InDelta(t, 180-117.29, theta*180/math.Pi, printed)
	x, z := l.ball(theta)
	assert.InDelta(t, 88.84, math.Atan2(z-l.tz, x-l.tx)*180/math.Pi, printed)
}
