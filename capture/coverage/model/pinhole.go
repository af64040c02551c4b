package model

import (
	"math"
	"math/rand/v2"
)

// Camera is a pinhole in front of the engine's plane, which it looks at from the
// side of the reader: K [R | t] in the words of the textbooks (Hartley and
// Zisserman, Multiple View Geometry, 2nd ed., section 6.1, from memory), with the
// radial distortion of Brown's model, its first term only.
type Camera struct {
	// Aim is the point of the plane in the picture's middle.
	Aim             Vec
	Distance, Focal float64 // mm and pixels
	Up, Aside, Roll float64 // radians that it stands off the plane's normal; Roll is about its own axis
	Width, Height   int
	Bulge           float64 // distortion in the corners, as a share
}

// See is where a point of the plane, or one nearer to the camera, shows: pixels
// from the upper left corner.
func (c Camera) See(p Vec, near float64) (x, y float64) {
	v := [3]float64{p.X - c.Aim.X, p.Y - c.Aim.Y, near}
	// The world is turned against the camera: aside about the upright, then up
	// about the level, then about the axis of view.
	s, k := math.Sincos(-c.Aside)
	v = [3]float64{k*v[0] + s*v[2], v[1], -s*v[0] + k*v[2]}
	s, k = math.Sincos(c.Up)
	v = [3]float64{v[0], k*v[1] - s*v[2], s*v[1] + k*v[2]}
	s, k = math.Sincos(-c.Roll)
	v = [3]float64{k*v[0] - s*v[1], s*v[0] + k*v[1], v[2]}
	depth := c.Distance - v[2]
	x, y = c.Focal*v[0]/depth, -c.Focal*v[1]/depth
	corner := math.Hypot(float64(c.Width), float64(c.Height)) / 2
	r := math.Hypot(x, y) / corner
	x, y = x*(1+c.Bulge*r*r), y*(1+c.Bulge*r*r)
	return x + float64(c.Width)/2, y + float64(c.Height)/2
}

// Finger marks a place with a scatter of one standard deviation, in pixels.
func (c Camera) Finger(r *rand.Rand, p Vec, near, scatter float64) (x, y float64) {
	x, y = c.See(p, near)
	return x + r.NormFloat64()*scatter, y + r.NormFloat64()*scatter
}

// StemAt is a point of the stem's axis so far below its end at a pose; the stem
// stands below the tip's centre at half lift, give or take what wanders there.
func (b Bench) StemAt(p Pose, axis, below float64) Vec {
	return Vec{axis, b.Closed - p.Lift - below}
}
