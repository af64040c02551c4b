// Package evidence weighs what the flanks of a trace's openings say for a spindle
// that had come to the end of its travel under the nose, and for one that hung
// free on the heel.
//
// Near a true nose lift falls with the square of the angle, or a higher power of
// it: the nearer a band of lift lies to it, the longer it takes, whatever the
// hand. Where the spindle had stopped the bands are left at full speed, and the
// nose is a flat. Near the heel a ramp and an acceleration make the bands slow; a
// spindle that hung free is hit at full speed. But a lobe may have a flat nose, a
// lash may leave nothing of the ramp, and a hand may rest on every nose: the
// signals overlap, and what is told is told by likelihood.
//
// A [Model] adds up what each of the measures says: the middle, least and most of
// them over all flanks. What one says is a curve, for more is not always more: a
// band can be too slow for a fault and too quick for a lobe. The curves are
// piecewise linear and smoothed (a generalized additive model by penalized splines:
// Eilers and Marx, Flexible Smoothing with B-splines and Penalties, Statistical
// Science 11, 1996). They are learned from simulated sessions and from those of
// package workshop by the test TestLearn of package lift, which writes curves.go and
// prints what they find in sessions that they were not learned from. Straight lines
// in their place, learned from one generator, found few of the faults of the other;
// trees of any depth found no more than curves do.
package evidence

import (
	"slices"
)

// Bands is the number of bands of lift at either end of a flank.
const Bands = 5

// Flank is how slowly a flank goes through its bands against the pace of its
// middle, as logarithms; the outermost band first.
type Flank struct {
	// Top are the bands under the nose, Foot those over the heel.
	Top, Foot [Bands]float64
	// Flat is the nose itself, for a tenth of the lift.
	Flat float64
	// TopGone and FootGone are the logarithms of the share of the lift that seems to
	// be missing at either end.
	TopGone, FootGone float64
}

// Features is the number of what is weighed.
const Features = 20

// Knots is the number of points that make a curve.
const Knots = 12

// Curve is what a measure says: Says at each of At, which grow, on straight lines
// between them, and the same beyond either end.
type Curve struct{ At, Says [Knots]float64 }

// Of returns what a measure of x says.
func (c *Curve) Of(x float64) float64 {
	k, share := c.Place(x)
	if share == 0 {
		return c.Says[k]
	}
	return c.Says[k] + share*(c.Says[k+1]-c.Says[k])
}

// Place returns the knot at or before x and how far x lies on to the next, as a
// share of the way.
func (c *Curve) Place(x float64) (knot int, share float64) {
	if x <= c.At[0] {
		return 0, 0
	}
	for k := 1; k < Knots; k++ {
		if x < c.At[k] {
			return k - 1, (x - c.At[k-1]) / (c.At[k] - c.At[k-1])
		}
	}
	return Knots - 1, 0
}

// Model is one fault's curves, in the order of [Measure].
type Model struct {
	// Prior is what is added to what the curves say.
	Prior  float64
	Curves [Features]Curve
	// Tell is the weight beyond which the fault is told; beyond Mind it cannot be
	// left out of the uncertainty.
	Tell, Mind float64
}

// Fault is what a model speaks of.
type Fault uint8

// The faults.
const (
	CutOff Fault = iota
	HangsFree
)

// Of returns the model of a fault for flanks along the crank angle, or else along
// time.
func Of(f Fault, angles bool) *Model {
	switch {
	case f == CutOff && angles:
		return &cutAlongAngle
	case f == CutOff:
		return &cutAlongTime
	case angles:
		return &freeAlongAngle
	}
	return &freeAlongTime
}

// Weigh returns what flanks say for the fault.
func (m *Model) Weigh(f Fault, flanks []Flank) float64 {
	sum := m.Prior
	for i, x := range Measure(f, flanks) {
		sum += m.Curves[i].Of(x)
	}
	return sum
}

// most is how far a logarithm counts.
const most = 3.5

// Measure returns the features of flanks, the two of an opening behind each
// other. There must be one flank at the least.
func Measure(f Fault, flanks []Flank) (x [Features]float64) {
	near := func(k Flank) [Bands]float64 { return k.Top }
	far := func(k Flank) [Bands]float64 { return k.Foot }
	if f == HangsFree {
		near, far = far, near
	}
	of := func(measure func(Flank) float64) []float64 {
		v := make([]float64, len(flanks))
		for i, k := range flanks {
			v[i] = min(max(measure(k), -most), most)
		}
		slices.Sort(v)
		return v
	}
	n := 0
	add := func(v float64) {
		x[n] = v
		n++
	}
	for i := range Bands {
		add(middle(of(func(k Flank) float64 { return near(k)[i] })))
	}
	for i := 1; i < Bands-1; i++ {
		v := of(func(k Flank) float64 { return near(k)[i] })
		add(v[0])
		add(v[len(v)-1])
	}
	flats := make([]float64, 0, len(flanks)/2+1)
	for i := 0; i < len(flanks); i += 2 {
		flat := flanks[i].Flat
		if i+1 < len(flanks) {
			flat = min(flat, flanks[i+1].Flat)
		}
		flats = append(flats, min(max(flat, -most), most))
	}
	slices.Sort(flats)
	add(middle(flats))
	add(flats[0])
	add(middle(of(func(k Flank) float64 { return far(k)[1] })))
	add(middle(of(func(k Flank) float64 { return far(k)[2] })))
	add(middle(of(func(k Flank) float64 { return near(k)[3] - near(k)[1] })))
	add(middle(of(func(k Flank) float64 { return near(k)[2] - near(k)[0] })))
	missing := of(func(k Flank) float64 {
		if f == HangsFree {
			return k.FootGone + nothingGone
		}
		return k.TopGone + nothingGone
	})
	add(missing[0])
	add(middle(missing))
	add(missing[len(missing)-1])
	return x
}

// nothingGone brings what is missing near to nothing where nothing is.
const nothingGone = 3

func middle(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[n/2] + sorted[(n-1)/2]) / 2
}

// Taken returns which share of the lift that was seen a spindle takes off at the most
// that stopped under the nose, or hung free on the heel, and still leaves flanks of that
// weight. One that hung free by more leaves flanks that speak for it the more, and an
// opening all the same: nothing else bounds it.
func (m *Model) Taken(f Fault, weight float64) float64 {
	if f == HangsFree {
		return min(leastFree+moreFree*(weight-m.Mind), mostFree)
	}
	return 0.14
}

// Of spindles that hung free by 0.6 to 3 mm, on lobes and by hands that the curves were
// not learned from, those at one weight lacked less than this in 95 of 100: so much at
// the least weight that counts, more with each unit of it, and half of what was seen.
const leastFree, moreFree, mostFree = 0.2, 0.05, 0.5
