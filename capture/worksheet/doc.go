// Package worksheet is what every calculation on the bench has in common: a
// question that is read strictly, and the basis that stands under an answer.
//
// A question is a struct with JSON tags. [Read] fills it and refuses, naming
// the field, what a lenient reader would swallow: a misspelt name (with the
// near match), a name given twice, null, NaN, a text where a number belongs, a
// second value behind the first. A swallowed "stak_mm" would be an answer to
// another question, and metal is cut to it.
//
// Each number has the tag `bound`, the name of what it is ([Bounds]: a lift, a
// pushrod, a wire); [Check.Bounds] holds it to what that can be on an engine, before
// anything is worked out.
//
// Whoever computes checks the values with [Check] and gives a [Problem] for a
// value that cannot be; a plain error is left for a question that is well put
// and has no answer (an arm shorter than half the lift). The command line
// tells the two apart by its exit status.
//
// Lengths are [measure.Length] and so are numbers of millimetres in JSON;
// angles are numbers of degrees. Uncertainties end in _u_ and are expanded,
// k = 2 (JCGM 100:2008, 6.2.1).
package worksheet
