package guess

import (
	"slices"
	"strings"
	"unicode"

	"lobescribe/device/lines"
)

// turnBeside finds the angle or the counts in a line with a lift; -1 if there
// are none.
func (t *table) turnBeside(lift int, counted bool) (int, lines.Role) {
	steps := []func(lift int, counted bool) (int, lines.Role){t.turnByName, t.turnByLetter, t.turnByCounts, t.turnByPlace}
	for _, step := range steps {
		if i, role := step(lift, counted); i >= 0 {
			return i, role
		}
	}
	return -1, lines.Ignored
}

// turnByName takes what a unit or a name says is an angle, or counts where it is
// known how many make a turn. Of several, degrees are taken.
func (t *table) turnByName(lift int, counted bool) (int, lines.Role) {
	best, role, points := -1, lines.Ignored, 0
	for i, x := range t.facts {
		if i == lift || x.word || x.other || x.course.motion == jittering || t.restsWhile(lift, i) {
			continue
		}
		p, r := 0, lines.Angle
		switch {
		case x.angle == lines.Degrees:
			p = 4
		case x.named.meaning == namesAngle && x.angle == lines.NoAngle:
			p = 3
		case x.angle == lines.Radians:
			p = 2
		case x.named.meaning == namesCounts && counted && x.column.Whole:
			p, r = 1, lines.Counts
		}
		if p > points {
			best, role, points = i, r, p
		}
	}
	return best, role
}

// restsWhile reports whether column i stands still while the valve was seen to
// open and close: then it is no crank. One that is named crank may stand.
func (t *table) restsWhile(lift, i int) bool {
	c := t.facts[lift].course
	return (c.motion == swinging || c.motion == climbing && c.span > 10*c.step) && !t.facts[i].course.moved()
}

// turnByLetter takes an A beside a lift for the angle, unless a B says that
// these are channels.
func (t *table) turnByLetter(lift int, _ bool) (int, lines.Role) {
	for i, x := range t.facts {
		next := func(b facts) bool { return nextChannel(x.column, b.column) }
		if i != lift && strings.EqualFold(x.name, "a") && !slices.ContainsFunc(t.facts, next) {
			return i, lines.Angle
		}
	}
	return -1, lines.Ignored
}

// turnByCounts takes whole numbers for the counts where counts= was said. Of
// several, one that grows evenly is the number of the line; but the only ones
// are the counts, even if the crank was turned as evenly as a clock.
func (t *table) turnByCounts(lift int, counted bool) (int, lines.Role) {
	if !counted {
		return -1, lines.Ignored
	}
	var whole []int
	for i, x := range t.facts {
		if i != lift && x.column.Whole && !x.word && t.turnAt(i, lift) {
			whole = append(whole, i)
		}
	}
	if len(whole) == 1 && t.onlyWhole(whole[0]) {
		return whole[0], lines.Counts
	}
	for _, even := range []bool{false, true} {
		for _, i := range whole {
			x := t.facts[i]
			if t.free(i, lift) && (even || !grows(x.fields)) && !t.restsWhile(lift, i) {
				return i, lines.Counts
			}
		}
	}
	return -1, lines.Ignored
}

// onlyWhole reports whether no column but i has whole numbers.
func (t *table) onlyWhole(i int) bool {
	for j, x := range t.facts {
		if j != i && x.column.Whole && !x.word && x.column.Role == lines.Ignored {
			return false
		}
	}
	return !t.facts[i].other
}

// turnByPlace takes decimals before the lift for the angle, as most boards print
// it.
func (t *table) turnByPlace(lift int, _ bool) (int, lines.Role) {
	for i, x := range t.facts {
		if i == lift || !t.free(i, lift) || x.column.Whole || !t.turnAt(i, lift) || t.restsWhile(lift, i) {
			continue
		}
		if m := x.course.motion; m == swinging && x.course.span < spindleSpan || m == jittering || t.follows(i, lift) {
			continue
		}
		if i > lift && strings.ContainsFunc(x.behind, unicode.IsLetter) {
			continue // a unit that is none of an angle, or a word
		}
		return i, lines.Angle
	}
	return -1, lines.Ignored
}

// follows reports whether column i goes out and back as the lift does, as the force
// of its spring: no crank turns so.
func (t *table) follows(i, lift int) bool {
	a, b := t.facts[i].fields, t.facts[lift].fields
	if t.facts[lift].course.motion != swinging || len(a) != len(b) {
		return false
	}
	var n, sa, sb, saa, sbb, sab float64
	for j := range a {
		if a[j].word || b[j].word {
			continue
		}
		x, y := valueOf(a[j]), valueOf(b[j])
		n, sa, sb, saa, sbb, sab = n+1, sa+x, sb+y, saa+x*x, sbb+y*y, sab+x*y
	}
	va, vb := saa-sa*sa/n, sbb-sb*sb/n
	cov := sab - sa*sb/n
	const alike = 0.9 // of the variance
	return n > 2 && va > 0 && vb > 0 && cov*cov > alike*va*vb
}

// free reports whether a column may still be given a role by what it looks
// like: it has none, its name tells no other, it is not the board's clock, and
// no second channel of the same kind as one before it.
func (t *table) free(i, lift int) bool {
	x := t.facts[i]
	if x.word || x.other || x.named.setting || x.length != 0 || x.column.Role != lines.Ignored || x.course.motion == ticking || x.named.meaning != unnamed {
		return false
	}
	return !t.oneOfChannels(i)
}

// turnAt reports whether column i may be the angle or counts by its place. What
// stands behind the lift with a word of its own before it is a status.
func (t *table) turnAt(i, lift int) bool {
	wordy := func(tag string) bool {
		return strings.ContainsFunc(tag, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) })
	}
	return i < lift || !slices.ContainsFunc(t.facts[i].column.Tags, wordy)
}
