// Package agree says whether openings of one valve agree, and which of them
// does not.
//
// Two figures agree when they differ by no more than the root of the sum of
// the squares of their expanded uncertainties, as with the E_n number of
// ISO 13528 (|x - y| / sqrt(Ux² + Uy²) at most 1). Each opening is held against
// the median of the others, so that one that is off does not make the others
// look off. Two that differ are both marked: which of them is right a third one
// tells.
//
// What the openings have in common, as the indicator's scale, does not show in
// their difference, though it stands in their uncertainties: openings that
// disagree do so for certain, and some that do are not seen.
package agree

import (
	"math"
	"slices"

	"lobescribe/device/measure"
)

// Figure is one opening's max lift with its expanded uncertainty, k = 2.
type Figure struct {
	Value, U measure.Length
}

// Off is how far a figure is from the median of the others; Beyond tells that
// this is more than both uncertainties explain.
type Off struct {
	By     measure.Length `json:"by_mm"`
	Beyond bool           `json:"beyond"`
}

// Result of several figures.
type Result struct {
	Count int `json:"count"`
	// Agree: there are two at least, and none is off.
	Agree bool `json:"agree"`
	// Value is their mean and U its expanded uncertainty. Nothing is gained by
	// repeating: what they share stays, so U is the mean of theirs, or of the
	// way they scatter when that is more.
	Value measure.Length `json:"max_lift_mm"`
	U     measure.Length `json:"max_lift_u_mm"`
	Each  []Off          `json:"each"` // in the order given
}

// Of judges figures of one valve.
func Of(figures []Figure) Result {
	r := Result{Count: len(figures), Each: make([]Off, len(figures))}
	if len(figures) == 0 {
		return r
	}
	sum, sumU := 0.0, 0.0
	for _, f := range figures {
		sum += float64(f.Value)
		sumU += float64(f.U)
	}
	n := float64(len(figures))
	mean := sum / n
	r.Value, r.U = measure.Length(math.Round(mean)), measure.Length(math.Ceil(sumU/n))
	r.Agree = len(figures) > 1
	scatter := 0.0
	values, us := sorted(figures, func(f Figure) measure.Length { return f.Value }), sorted(figures, func(f Figure) measure.Length { return f.U })
	for i, f := range figures {
		scatter += (float64(f.Value) - mean) * (float64(f.Value) - mean)
		if len(figures) == 1 {
			continue
		}
		by, u := f.Value-medianWithout(values, f.Value), medianWithout(us, f.U)
		r.Each[i] = Off{By: by, Beyond: float64(by.Abs()) > math.Hypot(float64(f.U), float64(u))}
		r.Agree = r.Agree && !r.Each[i].Beyond
	}
	if n > 1 {
		r.U = max(r.U, measure.Length(math.Ceil(2*math.Sqrt(scatter/(n-1)/n))))
	}
	return r
}

func sorted(figures []Figure, of func(Figure) measure.Length) []measure.Length {
	all := make([]measure.Length, len(figures))
	for i, f := range figures {
		all[i] = of(f)
	}
	slices.Sort(all)
	return all
}

// medianWithout is the median of all but one of them: a trace may hold thousands of
// openings, and nobody waits for a sort of the others for each.
func medianWithout(sorted []measure.Length, one measure.Length) measure.Length {
	gone, _ := slices.BinarySearch(sorted, one)
	at := func(i int) measure.Length {
		if i >= gone {
			i++
		}
		return sorted[i]
	}
	others := len(sorted) - 1
	return (at((others-1)/2) + at(others/2)) / 2
}
