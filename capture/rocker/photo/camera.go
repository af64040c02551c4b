package photo

import "math"

// camera is how a picture was taken, as far as the plane of the rocker is
// concerned. distance is that of the tip's plane from the lens in pixels of the
// picture at that distance, which is the focal length in pixels as well.
type camera struct {
	alpha, beta float64 // tilt about the level and the upright of the picture
	distance    float64
	bulge       float64 // distortion in the corners, as a share
	corner      float64 // half the diagonal, pixels
}

// back takes a mark back to the rocker's plane, or to one that lies nearer to the
// camera by depth: the ray through the pinhole, cut with the plane.
func (c camera) back(at vec, depth float64) vec {
	if c.bulge != 0 {
		r := at.length() / c.corner
		at = at.times(1 / (1 + c.bulge*r*r))
	}
	sa, ca := math.Sincos(c.alpha)
	sb, cb := math.Sincos(c.beta)
	// The plane's own axes and its normal, turned about the upright after the
	// level: right, down and away as seen by the camera.
	right := [3]float64{cb, 0, sb}
	down := [3]float64{sa * sb, ca, -sa * cb}
	normal := [3]float64{-ca * sb, sa, ca * cb}
	ray := [3]float64{at.x / c.distance, at.y / c.distance, 1}
	far := (normal[2]*c.distance - depth) / dot3(normal, ray)
	p := [3]float64{far * ray[0], far * ray[1], far - c.distance}
	return vec{dot3(right, p), dot3(down, p)}
}

func dot3(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
