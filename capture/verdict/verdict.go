// Package verdict says whether a figure keeps to its limit. Everything that
// is judged anywhere (trials, clearances, the cam card, valves side by side,
// the sheet, the command line) is judged here, so that one engine never gets
// two answers.
//
// Words: a figure is a value with its expanded uncertainty U (k = 2); a limit is
// the least or the most that it may be; a doubt is why a figure must not be
// judged at all. A verdict is one of four:
//
//	meets         the figure is inside its limits, and so is everything within U of it
//	fails         the figure is outside, and so is everything within U of it
//	cannot-tell   a limit lies within U of the figure: U is too wide to say
//	not-judged    what the figure stands on is missing, doubtful or simulated
//
// The decision rule is guarded acceptance and guarded rejection with a guard
// band of one U on either side of each limit: JCGM 106:2012, 8.3.2 and 8.3.3
// (acceptance limit = tolerance limit less w, with w = U), which is the rule of
// ISO 14253-1 for proving conformity and for proving nonconformity. A limit
// itself is allowed. For one limit and a normal distribution a figure that just
// meets is inside with a probability of 97.7 %.
//
// Call [Judge] with a figure and its limits; [Worst] joins several verdicts.
package verdict

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
)

// Kind is one of the four verdicts.
type Kind string

// The verdicts. The zero Kind is none: nobody judged.
const (
	Meets      Kind = "meets"
	Fails      Kind = "fails"
	CannotTell Kind = "cannot-tell"
	NotJudged  Kind = "not-judged"
)

// Cause is why a figure must not be judged.
type Cause string

// The causes.
const (
	Missing   Cause = "missing"   // something that was never told or measured
	Doubtful  Cause = "doubtful"  // something that was measured, but is not believed
	Simulated Cause = "simulated" // readings of the simulator's
)

// Doubt is one reason not to judge a figure, in words: "no limit was given",
// "top dead centre was set by eye".
type Doubt struct {
	Cause Cause  `json:"cause"`
	Says  string `json:"says"`
}

// Quantity is what can be judged: a measure.Length, a measure.Angle, a plain
// number such as a ratio. Lengths and angles are judged exactly, in integers.
type Quantity interface{ ~int64 | ~float64 }

// Figure is what is judged.
type Figure[Q Quantity] struct {
	Value Q
	// U is the expanded uncertainty, k = 2, in the unit of Value. Nothing is
	// known exactly: a U of zero stands for one that nobody worked out, and then
	// the figure is not judged.
	U Q
	// Doubts are the reasons not to judge it.
	Doubts []Doubt
}

// Limits are the least and the most that a figure may be, both allowed; nil for
// no limit on that side.
type Limits[Q Quantity] struct{ Least, Most *Q }

// AtLeast is the limit of a figure that may not be smaller.
func AtLeast[Q Quantity](least Q) Limits[Q] { return Limits[Q]{Least: &least} }

// Within are the limits of a figure that may be off by a tolerance either way.
func Within[Q Quantity](nominal, tolerance Q) Limits[Q] {
	least, most := nominal-tolerance, nominal+tolerance
	return Limits[Q]{Least: &least, Most: &most}
}

// Stricter returns the limits that keep to both: of two on one side, the
// stricter.
func (l Limits[Q]) Stricter(other Limits[Q]) Limits[Q] {
	if l.Least == nil || other.Least != nil && *other.Least > *l.Least {
		l.Least = other.Least
	}
	if l.Most == nil || other.Most != nil && *other.Most < *l.Most {
		l.Most = other.Most
	}
	return l
}

// Verdict is what is said of a figure.
type Verdict struct {
	Kind Kind `json:"is"`
	// Probability is how likely the figure's true value is inside the limits,
	// 0 to 1, for a normal distribution with the standard uncertainty U/2
	// (JCGM 106:2012, 7.2 to 7.4). It is absent where nothing was judged.
	Probability *float64 `json:"probability,omitempty"`
	// Doubts are the reasons of NotJudged; empty for the others.
	Doubts []Doubt `json:"doubts,omitempty"`
}

// Judge holds a figure against its limits. Without a limit, without a U or with
// a doubt the verdict is NotJudged with every reason.
func Judge[Q Quantity](f Figure[Q], l Limits[Q]) Verdict {
	doubts := append([]Doubt{}, f.Doubts...)
	say := func(c Cause, says string) { doubts = append(doubts, Doubt{c, says}) }
	switch {
	case !finite(f.Value):
		say(Missing, "the figure is not known")
	case !(f.U > 0) || !finite(f.U):
		say(Missing, "its uncertainty is not known")
	}
	switch {
	case l.Least == nil && l.Most == nil:
		say(Missing, "no limit was given")
	case l.Least != nil && !finite(*l.Least) || l.Most != nil && !finite(*l.Most):
		say(Missing, "its limit is no number")
	case l.Least != nil && l.Most != nil && *l.Least > *l.Most:
		say(Doubtful, "its limits leave no room between them")
	}
	if len(doubts) > 0 {
		return Verdict{Kind: NotJudged, Doubts: doubts}
	}
	v := Verdict{Kind: Meets, Probability: new(probability(f, l))}
	low, high := f.Value-f.U, f.Value+f.U
	switch {
	case l.Least != nil && high < *l.Least, l.Most != nil && low > *l.Most:
		v.Kind = Fails
	case l.Least != nil && low < *l.Least, l.Most != nil && high > *l.Most:
		v.Kind = CannotTell
	}
	return v
}

func finite[Q Quantity](q Q) bool {
	v := float64(q)
	return !math.IsNaN(v) && !math.IsInf(v, 0)
}

// probability is JCGM 106:2012, 7.4: the area of the normal distribution
// between the limits.
func probability[Q Quantity](f Figure[Q], l Limits[Q]) float64 {
	u := float64(f.U) / 2
	p := 1.0
	if l.Least != nil {
		p -= normal(float64(*l.Least-f.Value) / u)
	}
	if l.Most != nil {
		p -= normal(float64(f.Value-*l.Most) / u)
	}
	return min(max(p, 0), 1)
}

// normal is the standard normal distribution function.
func normal(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// Spare is how far the value is from the nearer limit: below zero outside. ok is
// false without a limit.
func (l Limits[Q]) Spare(value Q) (spare Q, ok bool) {
	if l.Least != nil {
		spare, ok = value-*l.Least, true
	}
	if l.Most != nil && (!ok || *l.Most-value < spare) {
		spare, ok = *l.Most-value, true
	}
	return spare, ok
}

// Not is the verdict of what must not be judged.
func Not(cause Cause, format string, args ...any) Verdict {
	return Verdict{Kind: NotJudged, Doubts: []Doubt{{cause, fmt.Sprintf(format, args...)}}}
}

// Good says that a tick may stand beside the figure: that it meets.
func (v Verdict) Good() bool { return v.Kind == Meets }

// String says the verdict for a person: "meets", "fails", "cannot tell: the
// uncertainty reaches over the limit", "not to be judged: no limit was given".
func (v Verdict) String() string {
	switch v.Kind {
	case Meets, Fails:
		return string(v.Kind)
	case CannotTell:
		return "cannot tell: the uncertainty reaches over the limit"
	}
	var why []string
	for _, d := range v.Doubts {
		why = append(why, d.Says)
	}
	if len(why) == 0 {
		return "not judged"
	}
	return "not to be judged: " + strings.Join(why, "; ")
}

// UnmarshalJSON refuses a verdict that is none of the four, so that a word from
// elsewhere never passes for one.
func (k *Kind) UnmarshalJSON(b []byte) error {
	var s string
	if err := json.Unmarshal(b, &s); err != nil {
		return err
	}
	switch Kind(s) {
	case Meets, Fails, CannotTell, NotJudged:
		*k = Kind(s)
		return nil
	}
	return fmt.Errorf("verdict %q is not known: expected meets, fails, cannot-tell or not-judged", s)
}
