package guess

import (
	"fmt"
	"slices"
	"strings"

	"lobescribe/device/lines"
)

// Which column is the lift and which the turn is decided in steps. Each column
// gets points for being a lift, or on an encoder's port a turn: most for a unit,
// then for a name, then for moving as a spindle or crank does, and a few for
// decimals. The column with the most is taken if the next is well behind, or if
// both move alike and a person is told that there is a choice. Where nothing
// tells, nothing is taken, and the person is asked to turn the engine.

// candidate is a column that may be what is looked for.
type candidate struct {
	table, column int
	points        int
	moves         bool
	strong        bool // by a unit or name
}

// pick chooses the kind of lines and the columns in it, and makes the roles.
func pick(tables []table, o lines.Options) (table, Finding) {
	points := liftPoints
	if o.Port == lines.EncoderPort {
		points = turnPoints
	}
	var all []candidate
	for i, t := range tables {
		for j := range t.facts {
			if x := &t.facts[j]; o.Port != lines.EncoderPort && x.course.motion == swinging && x.ratchets(o) {
				x.course.motion = climbing
			}
			if c := points(t, j, o); c.points > never {
				c.table, c.column = i, j
				all = append(all, c)
			}
		}
	}
	if o.Column != "" {
		return pickTold(tables, all, o)
	}
	if len(all) == 0 && o.Port == lines.AnyPort { // a board of an encoder
		o.Port = lines.EncoderPort
		return pick(tables, o)
	}
	if len(all) == 0 {
		return tables[0], Finding{Doubt: nothingToTake(tables[0], o)}
	}
	slices.SortStableFunc(all, func(a, b candidate) int { return b.points - a.points })
	first := all[0]
	t := tables[first.table]
	note := ""
	if doubt := t.asksCounts(first.column, o); doubt != "" {
		return t, Finding{near: true, Doubt: doubt}
	}
	if other := otherChannel(tables, all); other >= 0 {
		next := all[other]
		here, there := keyName(t.name(first.column)), keyName(tables[next.table].name(next.column))
		if here == there {
			return t, Finding{near: true, Doubt: fmt.Sprintf("the numbers change places from line to line (%s stands in two of them): have them sent in one order", t.label(first.column))}
		}
		if tables[next.table].facts[next.column].course.moved() {
			return t, Finding{near: true, Doubt: fmt.Sprintf("two channels come in turn, %s and %s, and both move: say which is the %s, as in column=%s or column=%s",
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
			return t, Finding{near: true, Doubt: fmt.Sprintf("it cannot be told yet which is the %s, %s or %s: turn the engine by hand until the valve has opened and closed, or say column=%s",
				wanted(o), t.label(first.column), tables[next.table].label(next.column), keyName(t.name(first.column)))}
		}
	}
	t, g := finish(t, first, note, o)
	g.Alone = len(tables) == 1 && t.number(len(t.facts)-1) == 1
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
func pickTold(tables []table, all []candidate, o lines.Options) (table, Finding) {
	for i, t := range tables {
		n := 0
		for j := range t.facts {
			if t.facts[j].word {
				continue
			}
			n++
			if fmt.Sprint(n) == o.Column || sameName(t.facts[j].name, o.Column) {
				t, g := finish(tables[i], candidate{table: i, column: j, strong: true, moves: true}, "", o)
				g.Alone = true
				return t, g
			}
		}
	}
	return tables[0], Finding{near: true, Doubt: fmt.Sprintf("there is no column %s in the lines: there are %s", o.Column, tables[0].labels())}
}

func sameName(name, said string) bool {
	clean := func(s string) string { return strings.Join(wordsOf(s), "") + wordsNumber(s) }
	return clean(name) != "" && clean(name) == clean(said)
}

// wanted is the word for what is looked for on a port.
func wanted(o lines.Options) string {
	if o.Port == lines.EncoderPort {
		return "angle"
	}
	return "lift"
}

func nothingToTake(t table, o lines.Options) string {
	if o.Port == lines.EncoderPort {
		return "no column turns as a crank does: there are " + t.labels()
	}
	return "no column may be a lift: there are " + t.labels()
}

// finish makes the roles of a table whose first column was chosen.
func finish(t table, first candidate, note string, o lines.Options) (table, Finding) {
	if o.Port == lines.EncoderPort {
		if doubt := t.takeTurn(first.column, o); doubt != "" {
			return t, Finding{near: true, Doubt: doubt}
		}
	} else if doubt := t.takeRoles(first.column, o); doubt != "" {
		return t, Finding{near: true, Doubt: doubt}
	}
	g := Finding{OK: true, Choice: strings.Join(t.tags, "|") + fmt.Sprint("#", first.column), Moved: first.moves, Note: note}
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
			g.Guessed = g.Guessed || t.facts[i].column.Role == lines.Lift
		}
		t.f.Columns = append(t.f.Columns, t.facts[i].column)
	}
	g.Says, g.Assumes = strings.Join(words, " | "), strings.Join(assumed, "; ")
	return t, g
}

// takeTurn makes a column of an encoder's lines the turn, and the others
// nothing.
func (t *table) takeTurn(i int, o lines.Options) (doubt string) {
	for j := range t.facts {
		t.facts[j].column.Role = lines.Ignored
	}
	x := &t.facts[i]
	x.column.Role = lines.Angle
	if counted := o.Crank != nil && o.Crank.Step() > 0; counted && x.column.Whole && x.angle == lines.NoAngle {
		x.column.Role = lines.Counts
	}
	return t.asksCounts(i, o)
}

// asksCounts says that counts= is missing, if the column has counts on an
// encoder's port and nobody said how many make a turn.
func (t *table) asksCounts(i int, o lines.Options) string {
	x := t.facts[i]
	counted := o.Crank != nil && o.Crank.Step() > 0
	if o.Port != lines.EncoderPort || counted || x.angle != lines.NoAngle || x.named.meaning == namesAngle || !x.column.Whole || o.Angle != lines.NoAngle {
		return ""
	}
	return countsWanted(x.fields[len(x.fields)-1].text)
}

func countsWanted(text string) string {
	return fmt.Sprintf("counts of an encoder come (%q), and how many make a turn was not said: add counts=, as in counts=2400", text)
}

// takeRoles makes a column the lift, and another the turn if one is beside it.
func (t *table) takeRoles(lift int, o lines.Options) (doubt string) {
	for j := range t.facts {
		t.facts[j].column.Role = lines.Ignored
	}
	counted := o.Crank != nil && o.Crank.Step() > 0
	x := &t.facts[lift]
	// A lone number of which somebody says counts= is an encoder's.
	if len(t.facts) == 1 && counted && o.Port == lines.AnyPort && x.length == 0 && (x.column.Whole || x.name == "") {
		x.column.Role = lines.Counts
		if !x.column.Whole {
			x.column.Role = lines.Angle
		}
		return ""
	}
	x.column.Role = lines.Lift
	if turn, role := t.turnBeside(lift, counted); turn >= 0 {
		t.facts[turn].column.Role = role
	}
	return ""
}

// nextChannel reports whether two columns are channels of one kind, as "A:" and
// "B:" or "CH1" and "CH2" say.
func nextChannel(a, b lines.Column) bool {
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
