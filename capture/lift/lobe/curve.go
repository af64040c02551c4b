package lobe

import (
	"cmp"
	"slices"
)

// Axis is what a curve is along.
type Axis uint8

// The axes.
const (
	OfTime Axis = iota
	OfAngle
)

// Curve is readings of a lobe in order of X.
type Curve struct {
	X, Y, W []float64 // lift over the heel, and how many readings stand behind each
	Top     int       // the highest of them
	Height  float64   // of the lobe, about
	Scatter float64   // standard deviation of one reading, rounding included
	Along   Axis
}

// ByAngle returns the curve of readings in order of their crank angles, where neither
// the speed of the hand nor a back-turn matters. Readings at one count are one.
func ByAngle(a, y, w []float64) Curve {
	order := make([]int, len(a))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(a[i], a[j]) })
	c := Curve{X: make([]float64, 0, len(a)), Y: make([]float64, 0, len(a)), W: make([]float64, 0, len(a)), Along: OfAngle}
	for _, i := range order {
		if n := len(c.X); n > 0 && a[i]-c.X[n-1] < 1e-6 {
			c.Y[n-1] += (y[i] - c.Y[n-1]) * w[i] / (w[i] + c.W[n-1])
			c.W[n-1] += w[i]
			continue
		}
		c.X, c.Y, c.W = append(c.X, a[i]), append(c.Y, y[i]), append(c.W, w[i])
	}
	for i := range c.Y {
		if c.Y[i] > c.Y[c.Top] {
			c.Top = i
		}
	}
	return c
}

// Between interpolates where y passes level between points i and i+1.
func Between(x, y []float64, i int, level float64) float64 {
	if i+1 >= len(x) || y[i+1] == y[i] {
		return x[i]
	}
	f := (level - y[i]) / (y[i+1] - y[i])
	return x[i] + min(max(f, 0), 1)*(x[i+1]-x[i])
}
