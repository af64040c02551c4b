package worksheet

import (
	"fmt"
	"math"
	"slices"

	"lobescribe/device/measure"
)

// Problem is a question that was not well put: which field, and what to write
// there instead.
type Problem struct {
	// Field is the path of the field as it stands in the JSON, as in
	// "trials[1].stack_mm"; empty when the question as a whole is meant.
	Field string
	Says  string
}

// Error returns "field: what is wrong".
func (p *Problem) Error() string {
	if p.Field == "" {
		return p.Says
	}
	return p.Field + ": " + p.Says
}

// Wrongf returns a [Problem] of field.
func Wrongf(field, format string, args ...any) error {
	return &Problem{Field: field, Says: fmt.Sprintf(format, args...)}
}

// Basis stands under every answer: what was taken for granted, in words, and
// where the formulas and constants come from.
type Basis struct {
	Assumes []Sentence `json:"assumes"`
	Sources []string   `json:"sources"`
}

// Assume adds a sentence to what was taken for granted.
func (b *Basis) Assume(format string, args ...any) {
	s := Sayf(format, args...)
	if !slices.ContainsFunc(b.Assumes, func(had Sentence) bool { return had.String() == s.String() }) {
		b.Assumes = append(b.Assumes, s)
	}
}

// Cite adds a source.
func (b *Basis) Cite(source string) {
	if !slices.Contains(b.Sources, source) {
		b.Sources = append(b.Sources, source)
	}
}

// Longest is the largest length any question may hold: ten metres. Nothing on
// an engine stand comes near, and sums of such lengths cannot overflow.
const Longest = 10_000 * measure.Millimetre

// Check gathers the first problem of a question, so that the checks of its
// fields read as a list. Its zero value is ready.
type Check struct{ err error }

// Err returns the first problem, or nil.
func (c *Check) Err() error { return c.err }

// That notes a problem of field unless ok.
func (c *Check) That(ok bool, field, format string, args ...any) {
	if !ok && c.err == nil {
		c.err = Wrongf(field, format, args...)
	}
}

// Positive checks a length that must be given and lie above zero.
func (c *Check) Positive(field string, l measure.Length) {
	c.That(l != 0, field, "is missing (or 0): give it in millimetres")
	c.That(l > 0, field, "is %v, below zero: it can only be above", l)
	c.Sane(field, l)
}

// NotNegative checks a length that may be left out and may not be below zero.
func (c *Check) NotNegative(field string, l measure.Length) {
	c.That(l >= 0, field, "is %v, below zero: it can only be zero or above", l)
	c.Sane(field, l)
}

// Sane checks that a length is no longer than [Longest] either way.
func (c *Check) Sane(field string, l measure.Length) {
	c.That(l >= -Longest && l <= Longest, field, "is longer than %v: was it meant in millimetres?", Longest)
}

// Within checks a bare number; NaN is outside of everything.
func (c *Check) Within(field string, v, least, most float64) {
	c.That(v >= least && v <= most, field, "is %v: expected %v to %v", v, least, most)
}

// Lean checks an angle that must lie within most either way.
func (c *Check) Lean(field string, a, most measure.Angle) {
	c.That(a >= -most && a <= most, field, "is %v: expected no more than %v either way", a, most)
}

// Rounded takes the digits off a length that no instrument has (it keeps
// micrometres), for a sentence that a person reads.
func Rounded(l measure.Length) measure.Length {
	half := measure.Micrometre / 2
	if l < 0 {
		half = -half
	}
	return (l + half) / measure.Micrometre * measure.Micrometre
}

// Combine returns the root of the sum of the squares: how standard (or equally
// expanded) uncertainties of independent causes add (JCGM 100:2008, 5.1.2).
func Combine(u ...float64) float64 {
	sum := 0.0
	for _, v := range u {
		sum += v * v
	}
	return math.Sqrt(sum)
}
