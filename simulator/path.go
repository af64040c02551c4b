package simulator

import (
	"math"
	"sort"
)

// knot is a moment and the crank angle there: seconds and engine degrees.
type knot struct{ t, crank float64 }

// path is the crank angle over time: a cubic through knots that is monotone
// between neighbours, with a continuous speed, at rest in both ends and at
// every turning point. Slopes are the weighted harmonic means of Fritsch &
// Butland (SIAM J. Sci. Stat. Comput. 5, 1984, from memory), zero where the
// direction changes or the crank rests.
//
// A hand that does whatever it likes is then only a list of knots, and where
// and when any crank angle is passed can be solved piece by piece.
type path struct {
	knots  []knot
	slopes []float64
}

func newPath(knots []knot) *path {
	p := &path{knots, make([]float64, len(knots))}
	for i := 1; i < len(knots)-1; i++ {
		h0, h1 := knots[i].t-knots[i-1].t, knots[i+1].t-knots[i].t
		d0, d1 := (knots[i].crank-knots[i-1].crank)/h0, (knots[i+1].crank-knots[i].crank)/h1
		if d0*d1 <= 0 {
			continue
		}
		w0, w1 := 2*h1+h0, h1+2*h0
		p.slopes[i] = (w0 + w1) / (w0/d0 + w1/d1)
	}
	return p
}

// end returns the time of the last knot.
func (p *path) end() float64 { return p.knots[len(p.knots)-1].t }

// pieceAt returns the piece that t lies in.
func (p *path) pieceAt(t float64) int {
	i := sort.Search(len(p.knots), func(i int) bool { return p.knots[i].t > t }) - 1
	return min(max(i, 0), len(p.knots)-2)
}

// at returns the crank angle at t; before and after the path it rests.
func (p *path) at(t float64) float64 { return p.in(p.pieceAt(t), t) }

// in returns the crank angle at t within piece i.
func (p *path) in(i int, t float64) float64 {
	a, b := p.knots[i], p.knots[i+1]
	switch {
	case t <= a.t:
		return a.crank
	case t >= b.t:
		return b.crank
	case a.crank == b.crank:
		return a.crank
	}
	h := b.t - a.t
	u := (t - a.t) / h
	rise := b.crank - a.crank
	m0, m1 := p.slopes[i]*h, p.slopes[i+1]*h
	return a.crank + u*(m0+u*(3*rise-2*m0-m1+u*(m0+m1-2*rise)))
}

// when returns the time within piece i at which the crank passes an angle that
// lies between the piece's ends.
func (p *path) when(i int, crank float64) float64 {
	a, b := p.knots[i], p.knots[i+1]
	return root(a.t, b.t, func(t float64) float64 { return p.in(i, t) - crank })
}

// cursor reads a path at times that do not fall, in constant time each.
type cursor struct {
	p *path
	i int
}

func (c *cursor) at(t float64) float64 {
	for c.i < len(c.p.knots)-2 && c.p.knots[c.i+1].t <= t {
		c.i++
	}
	if t < c.p.knots[c.i].t { // gone back after all
		c.i = c.p.pieceAt(t)
	}
	return c.p.in(c.i, t)
}

// fastest returns the highest speed at a knot or in the mean of a piece, in
// degrees a second.
func (p *path) fastest() float64 {
	v := 0.0
	for i, s := range p.slopes {
		v = max(v, math.Abs(s))
		if i > 0 {
			v = max(v, math.Abs(p.knots[i].crank-p.knots[i-1].crank)/(p.knots[i].t-p.knots[i-1].t))
		}
	}
	return v
}
