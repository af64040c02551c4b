// Package spread compares one valve over several engines of a type: how far their
// max lifts lie apart, with the uncertainty of that, and which one stands out.
//
// It knows nothing of where the lifts come from. Call [Of].
package spread

import (
	"math"

	"lobescribe/capture/timing"
	"lobescribe/device/measure"
)

// LeastWorth is the least difference worth a word: 0.05 mm, 0.002 in; common
// practice, no source.
const LeastWorth = 50 * measure.Micrometre

// Lift is one engine's max lift of the valve, with its expanded uncertainty (k = 2).
type Lift struct {
	Engine string // each once
	Max, U measure.Length
}

// Spread is what the lifts come to.
type Spread struct {
	Median measure.Length
	// Range is largest minus least, RangeU its expanded uncertainty (k = 2), of the
	// two that make it (JCGM 100:2008, 5.1.2); 0 for a single lift.
	Range, RangeU measure.Length
	// Least is what a difference must come to before it is worth a word: LeastWorth,
	// or what two lifts may differ by the largest uncertainty among them.
	Least measure.Length
	// Each stands in the order of the lifts.
	Each []Place
}

// Place is where one lift lies.
type Place struct {
	Off measure.Length // from the median
	// Outlier: it stands out by the same rule as a valve among its neighbours, see
	// [timing.Member]; never with fewer than three.
	Outlier bool
}

// Of compares lifts. The error is that of [timing.CompareValves]: none was given, an
// engine stands there twice, or a lift is no valve's.
func Of(lifts []Lift) (Spread, error) {
	var s Spread
	figures := make([]timing.Figures, len(lifts))
	var low, high Lift
	largest := measure.Length(0)
	for i, l := range lifts {
		figures[i] = timing.Figures{Name: l.Engine, MaxLift: l.Max}
		largest = max(largest, l.U)
		if i == 0 || l.Max < low.Max {
			low = l
		}
		if i == 0 || l.Max > high.Max {
			high = l
		}
	}
	s.Range = high.Max - low.Max
	if len(lifts) > 1 {
		s.RangeU = together(high.U, low.U)
	}
	s.Least = max(LeastWorth, together(largest, largest))
	c, err := timing.CompareValves(figures, timing.CompareOptions{LiftU: s.Least})
	if err != nil {
		return s, err
	}
	g := c.Groups[0] // nothing but max lift was given
	s.Median = measure.FromMillimetres(g.Median)
	for _, m := range g.Members {
		s.Each = append(s.Each, Place{Off: measure.FromMillimetres(m.Off), Outlier: m.Outlier})
	}
	return s, nil
}

// together is the root of the sum of two squares, rounded up.
func together(a, b measure.Length) measure.Length {
	return measure.Length(math.Ceil(math.Hypot(float64(a), float64(b))))
}
