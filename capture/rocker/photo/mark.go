package photo

import (
	"errors"
	"math"
)

// vec is a place in a picture, from its centre, or in the rocker's plane.
type vec struct{ x, y float64 }

func (v vec) less(w vec) vec       { return vec{v.x - w.x, v.y - w.y} }
func (v vec) dot(w vec) float64    { return v.x*w.x + v.y*w.y }
func (v vec) length() float64      { return math.Hypot(v.x, v.y) }
func (v vec) times(k float64) vec  { return vec{k * v.x, k * v.y} }
func (v vec) plus(w vec) vec       { return vec{v.x + w.x, v.y + w.y} }
func (p Point) vec(centre vec) vec { return vec{p.X, p.Y}.less(centre) }

// mark is one place with the scatter of its middle: two directions and how far
// the place may lie along each (one standard deviation), per pixel of scatter of
// a single mark. least is the floor of both: an eye that looks for a middle finds
// the same wrong one again, so that no number of marks finds it to less.
type mark struct {
	at     vec
	spread [2]vec
	many   bool
}

// least is how well the eye finds a middle in however many marks, in pixels (one
// standard deviation; common practice, no source).
const least = 0.5

// along returns the two moves of one standard deviation at a scatter, in pixels.
func (m mark) along(scatter float64) [2]vec {
	out := m.spread
	for i, s := range m.spread {
		size := s.length() * scatter
		if m.many {
			size = max(size, least)
		}
		out[i] = s.times(size / s.length())
	}
	return out
}

// scatter gathers what repeated marks show: a sum of squares and its degrees of
// freedom.
type scatter struct{ squares, freedom float64 }

// averaged is the middle of marks of one place.
func averaged(points []Point, centre vec, s *scatter) mark {
	n := float64(len(points))
	at := middle(points).vec(centre)
	for _, p := range points {
		d := p.vec(centre).less(at)
		s.squares += d.dot(d)
	}
	s.freedom += 2 * (n - 1)
	k := 1 / math.Sqrt(n)
	return mark{at, [2]vec{{k, 0}, {0, k}}, n > 1}
}

var errRim = errors.New("its marks lie on one line or on top of each other: mark them around the rim, far apart")

// rim is the centre of a circle through marks around it: least squares of their
// distances to the circle (Gauss-Newton from the algebraic fit), and from its
// normal matrix how a scatter of the marks scatters the centre.
func rim(points []Point, centre vec, s *scatter) (mark, error) {
	n := float64(len(points))
	m := middle(points).vec(centre)
	// Algebraic: x^2 + y^2 = 2 u x + 2 v y + w, about the middle of the marks.
	var xx, xy, yy, xz, yz float64
	for _, p := range points {
		d := p.vec(centre).less(m)
		z := d.dot(d)
		xx, xy, yy = xx+d.x*d.x, xy+d.x*d.y, yy+d.y*d.y
		xz, yz = xz+d.x*z/2, yz+d.y*z/2
	}
	det := xx*yy - xy*xy
	if !(det > 1e-3*(xx+yy)*(xx+yy)) {
		return mark{}, errRim
	}
	at := vec{(xz*yy - yz*xy) / det, (yz*xx - xz*xy) / det}
	radius := math.Sqrt(at.dot(at) + (xx+yy)/n)
	var a, b, c, squares float64 // of the normal matrix less its radius
	for range 20 {
		var sx, sy, gx, gy, g float64
		a, b, c, squares = 0, 0, 0, 0
		for _, p := range points {
			d := p.vec(centre).less(m).less(at)
			r := d.length()
			if !(r > 1e-6) {
				return mark{}, errRim
			}
			ux, uy, off := d.x/r, d.y/r, r-radius
			a, b, c = a+ux*ux, b+ux*uy, c+uy*uy
			sx, sy = sx+ux, sy+uy
			gx, gy, g = gx+ux*off, gy+uy*off, g+off
			squares += off * off
		}
		a, b, c = a-sx*sx/n, b-sx*sy/n, c-sy*sy/n
		gx, gy = gx-sx*g/n, gy-sy*g/n
		if det = a*c - b*b; !(det > 1e-6) {
			return mark{}, errRim
		}
		step := vec{(gx*c - gy*b) / det, (gy*a - gx*b) / det}
		at = at.plus(step)
		radius += (g - sx*step.x - sy*step.y) / n
		if step.length() < 1e-9*radius {
			break
		}
	}
	if !(radius < 1e5) {
		return mark{}, errRim
	}
	s.squares += squares
	s.freedom += n - 3
	// The centre's covariance is the inverse of [a b; b c]; its root by Cholesky.
	p, q, r := c/det, -b/det, a/det
	l := math.Sqrt(p)
	return mark{m.plus(at), [2]vec{{l, q / l}, {0, math.Sqrt(max(r-q*q/p, 1e-12))}}, true}, nil
}
