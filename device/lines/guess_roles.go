package lines

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
)

// Which column is the lift and which the turn is decided in steps. Each column
// gets points for being a lift, or on an encoder's port a turn: most for a unit,
// then for a name, then for moving as a spindle or crank does, and a few for
// decimals. The column with the most is taken if the next is well behind, or if
// both move alike and a person is told that there is a choice. Where nothing
// tells, nothing is taken, and the person is asked to turn the engine.

// The points, and how many must lie between the first and the next.
const (
	pointsUnit     = 100
	pointsName     = 60
	pointsAxis     = 5
	pointsMoves    = 40
	pointsDecimals = 20
	pointsClear    = 15
	never          = -1000
)

// Plausible movement of a spindle, in any unit that is printed: none goes
// further than a few tens of millimetres, or as fast as a crank's degrees.
const (
	spindleSpan  = 30.0
	spindleSpeed = 40.0 // a second
	// crankSpan is how far a column without a name must go, in degrees or counts,
	// to be told from one that drifts.
	crankSpan = 30.0
	// crankAlone is the same where no other column has moved so far.
	crankAlone = 400.0
)

// candidate is a column that may be what is looked for.
type candidate struct {
	table, column int
	points        int
	moves         bool
	strong        bool // by a unit or name
}

// pick chooses the kind of lines and the columns in it, and makes the roles.
func pick(tables []table, o Options) (table, finding) {
	points := liftPoints
	if o.Port == EncoderPort {
		points = turnPoints
	}
	var all []candidate
	for i, t := range tables {
		for j := range t.facts {
			if c := points(t, j, o); c.points > never {
				c.table, c.column = i, j
				all = append(all, c)
			}
		}
	}
	if o.Column != "" {
		return pickTold(tables, all, o)
	}
	if len(all) == 0 && o.Port == AnyPort { // a board of an encoder
		o.Port = EncoderPort
		return pick(tables, o)
	}
	if len(all) == 0 {
		return tables[0], finding{doubt: nothingToTake(tables[0], o)}
	}
	slices.SortStableFunc(all, func(a, b candidate) int { return b.points - a.points })
	first := all[0]
	t := tables[first.table]
	note := ""
	if doubt := t.asksCounts(first.column, o); doubt != "" {
		return t, finding{near: true, doubt: doubt}
	}
	if other := otherChannel(tables, all); other >= 0 {
		next := all[other]
		here, there := keyName(t.name(first.column)), keyName(tables[next.table].name(next.column))
		if tables[next.table].facts[next.column].course.moved() {
			return t, finding{near: true, doubt: fmt.Sprintf("two channels come in turn, %s and %s, and both move: say which is the %s, as in column=%s or column=%s",
				t.label(first.column), tables[next.table].label(next.column), wanted(o), here, there)}
		}
		note = fmt.Sprintf("of the channels that come in turn %s is taken, since it moves: say column=%s for the other", t.label(first.column), there)
	}
	if len(all) > 1 && first.points-all[1].points < pointsClear {
		next := all[1]
		switch {
		case first.moves && next.moves || first.strong && next.strong && next.table == first.table && !axisName(t.facts[first.column].name):
			note = fmt.Sprintf("%s is taken for the %s, and %s may be it as well: say column=%s or column=%s", t.label(first.column), wanted(o), tables[next.table].label(next.column), keyName(t.name(first.column)), keyName(tables[next.table].name(next.column)))
		default:
			return t, finding{near: true, doubt: fmt.Sprintf("it cannot be told yet which is the %s, %s or %s: turn the engine by hand until the valve has opened and closed, or say column=%s",
				wanted(o), t.label(first.column), tables[next.table].label(next.column), keyName(t.name(first.column)))}
		}
	}
	t, g := finish(t, first, note, o)
	g.alone = len(all) == 1
	return t, g
}

// otherChannel returns the index of a candidate that comes in other lines than the
// first, which moves, and is as likely but for that; -1 if there is none.
func otherChannel(tables []table, all []candidate) int {
	first := all[0]
	if !first.moves {
		return -1
	}
	for i, c := range all[1:] {
		x, y := tables[first.table].facts[first.column], tables[c.table].facts[c.column]
		m := y.course.motion
		if x.angle != y.angle || x.named.meaning != y.named.meaning {
			continue // the same in other words
		}
		if c.table != first.table && c.points >= first.points-pointsMoves-pointsClear/3 && c.strong == first.strong && m != jittering && m != ticking {
			return i + 1
		}
	}
	return -1
}

// pickTold takes the column that the person named.
func pickTold(tables []table, all []candidate, o Options) (table, finding) {
	for i, t := range tables {
		n := 0
		for j := range t.facts {
			if t.facts[j].column.word {
				continue
			}
			n++
			if fmt.Sprint(n) == o.Column || sameName(t.facts[j].name, o.Column) {
				t, g := finish(tables[i], candidate{table: i, column: j, strong: true, moves: true}, "", o)
				g.alone = true
				return t, g
			}
		}
	}
	return tables[0], finding{near: true, doubt: fmt.Sprintf("there is no column %s in the lines: there are %s", o.Column, tables[0].labels())}
}

func sameName(name, said string) bool {
	clean := func(s string) string { return strings.Join(wordsOf(s), "") + wordsNumber(s) }
	return clean(name) != "" && clean(name) == clean(said)
}

// wanted is the word for what is looked for on a port.
func wanted(o Options) string {
	if o.Port == EncoderPort {
		return "angle"
	}
	return "lift"
}

func nothingToTake(t table, o Options) string {
	if o.Port == EncoderPort {
		return "no column turns as a crank does: there are " + t.labels()
	}
	return "no column may be a lift: there are " + t.labels()
}

// finish makes the roles of a table whose first column was chosen.
func finish(t table, first candidate, note string, o Options) (table, finding) {
	if o.Port == EncoderPort {
		if doubt := t.takeTurn(first.column, o); doubt != "" {
			return t, finding{near: true, doubt: doubt}
		}
	} else if doubt := t.takeRoles(first.column, o); doubt != "" {
		return t, finding{near: true, doubt: doubt}
	}
	g := finding{ok: true, choice: strings.Join(t.tags, "|") + fmt.Sprint("#", first.column), strong: first.strong, moved: first.moves, note: note}
	t.f.Columns = nil
	var words, assumed []string
	if note != "" {
		assumed = append(assumed, note)
	}
	for i := range t.facts {
		w, a := t.facts[i].roleWords(t.says[i], len(t.facts) == 1, o)
		words = append(words, w)
		if a != "" {
			assumed = append(assumed, a)
			g.guessed = g.guessed || t.facts[i].column.Role == Lift
		}
		t.f.Columns = append(t.f.Columns, t.facts[i].column)
	}
	g.says, g.assumes = strings.Join(words, " | "), strings.Join(assumed, "; ")
	return t, g
}

// liftPoints says how likely a column is the lift.
func liftPoints(t table, i int, o Options) (c candidate) {
	x := t.facts[i]
	c.points = never
	if x.column.word || x.other || x.angle != NoAngle || x.course.motion == ticking && x.length == 0 {
		return c
	}
	if x.named.meaning == namesAngle || x.named.meaning == namesTurns {
		return c
	}
	counted := o.Crank != nil && o.Crank.Step() > 0
	if x.named.meaning == namesCounts && x.length == 0 && (counted && o.Port == IndicatorPort || len(t.facts) > 1) {
		return c
	}
	if i > 0 && t.facts[i-1].length == 0 && nextChannel(t.facts[i-1].column, x.column) && x.course.motion == still {
		return c // the second of two gauges, at rest
	}
	c.points = 0
	switch {
	case x.length != 0:
		c.points += pointsUnit
		c.strong = true
	case axisName(x.name):
		c.points += pointsAxis
	case x.named.meaning == namesLift:
		c.points += pointsName
		c.strong = true
	}
	if !x.column.Whole {
		c.points += pointsDecimals
	}
	if x.named.setting {
		c.points -= pointsMoves
	}
	far := x.length == 0 && (x.course.span > spindleSpan || x.course.speed > spindleSpeed) && !x.column.Whole
	switch x.course.motion {
	case swinging:
		// What goes to and fro without a rest is less like a valve, which stays on
		// its heel for most of a turn.
		if c.moves = x.course.rests; c.moves {
			c.points += pointsMoves
		} else {
			c.points += pointsDecimals / 2
		}
	case wrapping:
		c.points -= pointsMoves
	case climbing:
		if far && x.named.meaning != namesLift {
			c.points -= pointsMoves
		}
	case jittering:
		c.points -= pointsDecimals / 2
	}
	return c
}

// turnPoints says how likely a column is the crank, on an encoder's port.
func turnPoints(t table, i int, o Options) (c candidate) {
	x := t.facts[i]
	c.points = never
	if x.column.word || x.other || x.length != 0 || x.course.motion == ticking && x.named.meaning == unnamed {
		return c
	}
	counted := o.Crank != nil && o.Crank.Step() > 0
	c.points = 0
	switch {
	case x.angle == Degrees, x.angle == Radians:
		c.points += pointsUnit
		c.strong = true
	case x.named.meaning == namesAngle:
		c.points += pointsName
		c.strong = true
	case x.named.meaning == namesTurns && x.column.Whole: // whole turns are too coarse
		c.points -= pointsMoves
	case x.named.meaning == namesTurns:
		c.points += pointsName / 2
	case x.named.meaning == namesCounts, x.named.meaning == namesLift && x.column.Whole:
		c.points += pointsName / 2
		c.strong = true
	}
	if x.angle == Radians {
		c.points -= pointsClear // of both, degrees
	}
	if x.column.Whole == counted {
		c.points += pointsDecimals
	}
	if counted && x.column.Whole && (x.named.meaning == namesCounts || x.named.meaning == namesLift) {
		c.points += pointsUnit
	}
	if x.named.setting {
		c.points -= pointsMoves
	}
	// A number without a name must have gone further than one that drifts.
	far := c.strong || x.course.span >= crankSpan && (x.course.span >= crankAlone || t.allMove(i))
	switch x.course.motion {
	case climbing:
		if c.moves = far; far {
			c.points += pointsMoves
		}
	case wrapping:
		if c.moves = far; far {
			c.points += pointsMoves - pointsDecimals/4
		}
	case swinging:
		if x.angle == NoAngle && x.named.meaning == unnamed {
			c.points -= pointsMoves
		}
	case jittering:
		c.points -= pointsUnit
	}
	return c
}

// allMove reports whether every column with decimals or without a name moves,
// that might be the crank instead of column i.
func (t table) allMove(i int) bool {
	for j, x := range t.facts {
		if j != i && !x.column.word && !x.other && x.column.Whole == t.facts[i].column.Whole && !x.course.moved() {
			return false
		}
	}
	return true
}

// takeTurn makes a column of an encoder's lines the turn, and the others
// nothing.
func (t *table) takeTurn(i int, o Options) (doubt string) {
	for j := range t.facts {
		t.facts[j].column.Role = Ignored
	}
	x := &t.facts[i]
	x.column.Role = Angle
	if counted := o.Crank != nil && o.Crank.Step() > 0; counted && x.column.Whole && x.angle == NoAngle {
		x.column.Role = Counts
	}
	return t.asksCounts(i, o)
}

// asksCounts says that counts= is missing, if the column has counts on an
// encoder's port and nobody said how many make a turn.
func (t *table) asksCounts(i int, o Options) string {
	x := t.facts[i]
	counted := o.Crank != nil && o.Crank.Step() > 0
	if o.Port != EncoderPort || counted || x.angle != NoAngle || x.named.meaning == namesAngle || !x.column.Whole || o.Angle != NoAngle {
		return ""
	}
	return fmt.Sprintf("counts of an encoder come (%q), and how many make a turn was not said: add counts=, as in counts=2400", x.fields[len(x.fields)-1].text)
}

// takeRoles makes a column the lift, and another the turn if one is beside it.
func (t *table) takeRoles(lift int, o Options) (doubt string) {
	for j := range t.facts {
		t.facts[j].column.Role = Ignored
	}
	counted := o.Crank != nil && o.Crank.Step() > 0
	x := &t.facts[lift]
	// A lone number of which somebody says counts= is an encoder's.
	if len(t.facts) == 1 && counted && o.Port == AnyPort && x.length == 0 && (x.column.Whole || x.name == "") {
		x.column.Role = Counts
		if !x.column.Whole {
			x.column.Role = Angle
		}
		return ""
	}
	x.column.Role = Lift
	if turn, role := t.turnBeside(lift, counted); turn >= 0 {
		t.facts[turn].column.Role = role
	}
	return ""
}

// turnBeside finds the angle or the counts in a line with a lift; -1 if there
// are none.
func (t *table) turnBeside(lift int, counted bool) (int, Role) {
	steps := []func(lift int, counted bool) (int, Role){t.turnByName, t.turnByLetter, t.turnByCounts, t.turnByPlace}
	for _, step := range steps {
		if i, role := step(lift, counted); i >= 0 {
			return i, role
		}
	}
	return -1, Ignored
}

// turnByName takes what a unit or a name says is an angle, or counts where it is
// known how many make a turn. Of several, degrees are taken.
func (t *table) turnByName(lift int, counted bool) (int, Role) {
	best, role, points := -1, Ignored, 0
	for i, x := range t.facts {
		if i == lift || x.column.word || x.other || x.course.motion == jittering || t.restsWhile(lift, i) {
			continue
		}
		p, r := 0, Angle
		switch {
		case x.angle == Degrees:
			p = 4
		case x.named.meaning == namesAngle && x.angle == NoAngle:
			p = 3
		case x.angle == Radians:
			p = 2
		case x.named.meaning == namesCounts && counted && x.column.Whole:
			p, r = 1, Counts
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
	return t.facts[lift].course.motion == swinging && !t.facts[i].course.moved()
}

// turnByLetter takes an A beside a lift for the angle, unless a B says that
// these are channels.
func (t *table) turnByLetter(lift int, _ bool) (int, Role) {
	for i, x := range t.facts {
		next := func(b facts) bool { return nextChannel(x.column, b.column) }
		if i != lift && strings.EqualFold(x.name, "a") && !slices.ContainsFunc(t.facts, next) {
			return i, Angle
		}
	}
	return -1, Ignored
}

// turnByCounts takes whole numbers for the counts where counts= was said. Of
// several, one that grows evenly is the number of the line; but the only ones
// are the counts, even if the crank was turned as evenly as a clock.
func (t *table) turnByCounts(lift int, counted bool) (int, Role) {
	if !counted {
		return -1, Ignored
	}
	var whole []int
	for i, x := range t.facts {
		if i != lift && x.column.Whole && !x.column.word && t.turnAt(i, lift) {
			whole = append(whole, i)
		}
	}
	if len(whole) == 1 && t.onlyWhole(whole[0]) {
		return whole[0], Counts
	}
	for _, even := range []bool{false, true} {
		for _, i := range whole {
			x := t.facts[i]
			if t.free(i, lift) && (even || !grows(x.fields)) && !t.restsWhile(lift, i) {
				return i, Counts
			}
		}
	}
	return -1, Ignored
}

// onlyWhole reports whether no column but i has whole numbers.
func (t *table) onlyWhole(i int) bool {
	for j, x := range t.facts {
		if j != i && x.column.Whole && !x.column.word && x.column.Role == Ignored {
			return false
		}
	}
	return !t.facts[i].other
}

// turnByPlace takes decimals before the lift for the angle, as most boards print
// it.
func (t *table) turnByPlace(lift int, _ bool) (int, Role) {
	for i, x := range t.facts {
		if i == lift || !t.free(i, lift) || x.column.Whole || !t.turnAt(i, lift) || t.restsWhile(lift, i) {
			continue
		}
		if m := x.course.motion; m == swinging && x.course.span < spindleSpan || m == jittering {
			continue
		}
		if i > lift && strings.ContainsFunc(x.behind, unicode.IsLetter) {
			continue // a unit that is none of an angle, or a word
		}
		return i, Angle
	}
	return -1, Ignored
}

// free reports whether a column may still be given a role by what it looks
// like: it has none, its name tells no other, it is not the board's clock, and
// no second channel of the same kind as one before it.
func (t *table) free(i, lift int) bool {
	x := t.facts[i]
	if x.column.word || x.other || x.length != 0 || x.column.Role != Ignored || x.course.motion == ticking || x.named.meaning != unnamed {
		return false
	}
	return !slices.ContainsFunc(t.facts[:i], func(before facts) bool { return nextChannel(before.column, x.column) })
}

// turnAt reports whether column i may be the angle or counts by its place. What
// stands behind the lift with a word of its own before it is a status.
func (t *table) turnAt(i, lift int) bool { return i < lift || t.facts[i].column.Tags == nil }

// nextChannel reports whether two columns are channels of one kind, as "A:" and
// "B:" or "CH1" and "CH2" say.
func nextChannel(a, b Column) bool {
	return len(a.Tags) == 1 && len(b.Tags) == 1 && a.Whole == b.Whole && nextTag(a.Tags[0], b.Tags[0])
}

// nextTag reports whether tag b counts on from a by one letter or digit.
func nextTag(a, b string) bool {
	if len(a) != len(b) {
		return false
	}
	differ := 0
	for i := range len(a) {
		switch x, y := a[i], b[i]; {
		case x == y:
		case y == x+1 && (letter(y) || digit(y)):
			differ++
		default:
			return false
		}
	}
	return differ == 1
}

// isClock: it grows by 1, 1000 or 1000000 a second of the time in which the
// lines came, and keeps that pace, which a hand does not.
func isClock(fields []field) bool {
	if len(fields) < findLines/2 {
		return false
	}
	v, at := smoothed(fields)
	n := len(v) - 1
	if n < 1 {
		return false
	}
	back := 0
	for i := range n {
		if v[i+1] < v[i] || v[i+1] == v[i] && fields[i].n.decimals > 0 {
			back++
		}
	}
	if back*12 > n || v[n] <= v[0] {
		return false
	}
	span := (at[n] - at[0]).Seconds()
	if span <= 0 { // the times are not known
		return fields[0].n.decimals == 0 && grows(fields)
	}
	pace := (v[n] - v[0]) / span
	if !slices.ContainsFunc([]float64{1, 1e3, 1e6}, func(tick float64) bool { return math.Abs(pace-tick) <= tick/10 }) {
		return false
	}
	if grows(fields) {
		return true
	}
	off := 0
	for i, x := range v {
		if math.Abs(x-v[0]-pace*(at[i]-at[0]).Seconds()) > (v[n]-v[0])/20+2/math.Pow10(fields[0].n.decimals) {
			off++
		}
	}
	return off*12 <= n
}

// grows: always, and by about the same.
func grows(fields []field) bool {
	if len(fields) < findLines/2 {
		return false
	}
	first := fields[0]
	least, most := int64(1)<<62, int64(0)
	for i := 1; i < len(fields); i++ {
		if fields[i].n.decimals != first.n.decimals {
			return false
		}
		d := fields[i].n.mantissa - fields[i-1].n.mantissa
		least, most = min(least, d), max(most, d)
	}
	return least > 0 && most-least <= least/5+2
}
