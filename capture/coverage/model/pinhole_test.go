package model

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// What can be told without a computer: similar triangles straight on, a cosine
// across the tilt, and a vanishing point that stands f/tan(tilt) from the middle
// (Hartley and Zisserman, 2nd ed., section 8.6, from memory).
func TestPinhole(t *testing.T) {
	c := Camera{Distance: 300, Focal: 3000, Width: 1600, Height: 1200}
	x, y := c.See(Vec{10, 5}, 0)
	assert.InDelta(t, 900, x, 1e-9)
	assert.InDelta(t, 550, y, 1e-9)
	x, _ = c.See(Vec{10, 0}, 100)
	assert.InDelta(t, 800+150, x, 1e-9, "nearer by a third is larger by a half")

	c.Up = 0.1
	_, y = c.See(Vec{0, 1e-6}, 0)
	assert.InDelta(t, 10*math.Cos(0.1)*1e-6, 600-y, 1e-12, "an upright is foreshortened by the cosine")
	_, y = c.See(Vec{0, 0}, 1)
	assert.InDelta(t, -10*math.Sin(0.1), (600-y)*(1-math.Cos(0.1)/300), 1e-9, "seen from above, what is nearer shows lower")
	x1, y1 := c.See(Vec{30, -2e9}, 0)
	assert.InDelta(t, 800, x1, 1e-3)
	assert.InDelta(t, 3000/math.Tan(0.1), y1-600, 1, "uprights meet below")
}
