package lines

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"lobescribe/device/measure"
)

// roles decides what each column is. What a unit or tag tells goes first; then
// whole numbers are counts and decimals a lift; and of two alike, the first is
// the angle, as most boards print it.
func roles(columns []Column, rows [][]field, o Options) {
	for i := range columns {
		columns[i].Role = Ignored
	}
	lift, turn := -1, -1
	take := func(at *int, i int, r Role) {
		if *at < 0 && columns[i].Role == Ignored {
			*at, columns[i].Role = i, r
		}
	}
	for i, c := range columns {
		switch {
		case c.UnitRule == UnitMustFollow:
			take(&lift, i, Lift)
		case degrees(c):
			take(&turn, i, Angle)
		}
	}
	counted := o.Crank != nil && o.Crank.Step() > 0
	for i, c := range columns {
		switch roleOf(c) {
		case Lift:
			take(&lift, i, Lift)
		case Angle:
			take(&turn, i, Angle)
		case Counts:
			if counted { // others are left out; the words say what is missing
				take(&turn, i, Counts)
			}
		}
	}
	// An A may be a channel too; beside a lift it is the angle, unless a B is there.
	for i, c := range columns {
		next := func(b Column) bool { return nextChannel(c, b) }
		if lift >= 0 && len(c.Tags) == 1 && tagName(c.Tags[0]) == "a" && !slices.ContainsFunc(columns, next) {
			take(&turn, i, Angle)
		}
	}
	if len(columns) == 1 && lift < 0 && turn < 0 && free(columns, rows, 0) && counted {
		switch whole := columns[0].Whole; {
		case whole:
			take(&turn, 0, Counts)
		case len(columns[0].Tags) == 0: // who says counts= speaks of an encoder
			take(&turn, 0, Angle)
		}
		if turn >= 0 {
			return
		}
	}
	for i := range columns {
		if free(columns, rows, i) && !columns[i].Whole && lift < 0 && !laterDecimals(columns, rows, i) {
			take(&lift, i, Lift)
		}
	}
	// With counts= said, the only whole numbers are the counts, even if the
	// crank was turned as evenly as a clock.
	if only := onlyWhole(columns); counted && lift >= 0 && only >= 0 && turnAt(columns, only, lift) {
		take(&turn, only, Counts)
	}
	// Of several, one that grows evenly is the number of the line.
	for i := range columns {
		if columns[i].Whole && counted && free(columns, rows, i) && turnAt(columns, i, lift) && !grows(rows[i]) {
			take(&turn, i, Counts)
		}
	}
	for i := range columns {
		if !free(columns, rows, i) {
			continue
		}
		switch {
		case columns[i].Whole && counted && turnAt(columns, i, lift):
			take(&turn, i, Counts)
		case columns[i].Whole && lift >= 0:
			// Counts that nobody can make degrees of yet are left out of the
			// readings; the words say what is missing.
		case columns[i].Whole:
			take(&lift, i, Lift)
		case turnAt(columns, i, lift):
			take(&turn, i, Angle)
		}
	}
}

// roleNamed tells what a number is by the name that boards print before it.
// Ignored and known is what is neither lift nor turn.
func roleNamed(tag string) (r Role, known bool) {
	switch tagName(tag) {
	case "lift", "l", "z", "pos", "ind", "dial", "height":
		return Lift, true
	case "angle", "ang", "deg", "degrees", "crank", "th", "theta":
		return Angle, true
	case "counts", "count", "cnt", "c", "enc", "encoder", "e":
		return Counts, true
	case "t", "time", "ms", "us", "millis", "temp", "v", "volt", "bat", "batt", "hz", "rate", "rpm", "n", "seq", "no", "id":
		return Ignored, true
	}
	return Ignored, false
}

// tagName returns the last word of what stands before a number.
func tagName(tag string) string {
	tag = strings.Trim(strings.ToLower(strings.TrimSpace(tag)), " :=_-#")
	return tag[strings.LastIndexAny(tag, " ,;")+1:]
}

// roleOf returns what the tag of a column says that it is.
func roleOf(c Column) Role {
	if len(c.Tags) != 1 {
		return Ignored
	}
	r, _ := roleNamed(c.Tags[0])
	return r
}

// free reports whether a column may still be given a role by what it looks
// like: it has none, its tag names no other, it is not the board's clock, and
// no second channel of the same kind as one before it.
func free(columns []Column, rows [][]field, i int) bool {
	c := columns[i]
	if c.word || c.Role != Ignored || clock(columns, rows, i) {
		return false
	}
	if len(c.Tags) == 1 {
		if _, known := roleNamed(c.Tags[0]); known {
			return false
		}
	}
	return !slices.ContainsFunc(columns[:i], func(before Column) bool { return nextChannel(before, c) })
}

// nextChannel reports whether two columns are channels of one kind, as "A:" and
// "B:" or "CH1" and "CH2" say.
func nextChannel(a, b Column) bool {
	if len(a.Tags) != 1 || len(b.Tags) != 1 || len(a.Tags[0]) != len(b.Tags[0]) || a.Whole != b.Whole {
		return false
	}
	differ := 0
	for i := range len(a.Tags[0]) {
		switch x, y := a.Tags[0][i], b.Tags[0][i]; {
		case x == y:
		case y == x+1 && (letter(y) || y >= '0' && y <= '9'):
			differ++
		default:
			return false
		}
	}
	return differ == 1
}

// turnAt reports whether column i may be the angle or counts by its place. What
// stands behind the lift with a word of its own before it is a status.
func turnAt(columns []Column, i, lift int) bool {
	return lift < 0 || i < lift || len(columns[i].Tags) == 0
}

// onlyWhole returns the one column of whole numbers that has no role yet, or -1
// if there is none or more than one.
func onlyWhole(columns []Column) int {
	at := -1
	for i, c := range columns {
		if c.Role == Ignored && c.Whole {
			if at >= 0 {
				return -1
			}
			at = i
		}
	}
	return at
}

func degrees(c Column) bool {
	return len(c.Status) > 0 && degreeWord(c.Status[0].Text)
}

// laterDecimals reports whether a column behind i has decimals too, so that i
// is more likely the angle. If a column is the angle already, none is.
func laterDecimals(columns []Column, rows [][]field, i int) bool {
	if slices.ContainsFunc(columns, func(c Column) bool { return c.Role == Angle || c.Role == Counts }) {
		return false
	}
	for j := i + 1; j < len(columns); j++ {
		if !columns[j].Whole && free(columns, rows, j) && !nextChannel(columns[i], columns[j]) {
			return true
		}
	}
	return false
}

// clock reports whether a column is the board's own clock.
func clock(columns []Column, rows [][]field, i int) bool {
	return len(columns) > 1 && columns[i].Role == Ignored && !columns[i].word && isClock(rows[i])
}

// isClock: it grows by 1, 1000 or 1000000 a second of the time in which the
// lines came. A crank may be turned as evenly, but hardly at such a speed.
func isClock(fields []field) bool {
	if !grows(fields) {
		return false
	}
	first, last := fields[0], fields[len(fields)-1]
	span := (last.at - first.at).Seconds()
	if span <= 0 { // the times are not known
		return first.n.decimals == 0
	}
	perSecond := float64(last.n.mantissa-first.n.mantissa) / math.Pow10(first.n.decimals) / span
	return slices.ContainsFunc([]float64{1, 1e3, 1e6}, func(tick float64) bool { return math.Abs(perSecond-tick) <= tick/10 })
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

// roleWords fills in what depends on the role and says it.
func roleWords(c *Column, fields []field, says string, lone bool, o Options) string {
	switch c.Role {
	case Lift:
		says = "lift: " + says
		orDegrees := ""
		if lone && len(c.Tags) == 0 {
			orDegrees = ", or format=degrees if it is an angle"
		}
		bare := c.UnitRule != UnitMustFollow
		switch {
		case !bare:
		case c.Whole && o.Scale == 0 && o.Unit == measure.NoUnit:
			c.Scale = assumedScale
			says += fmt.Sprintf(", assumed %s a count (say scale= to be sure, or counts= if these are an encoder's)", c.Scale)
		case c.Whole && o.Scale > 0:
			says += fmt.Sprintf(", %s a count as you said", o.Scale)
		case o.Unit != measure.NoUnit:
			says += fmt.Sprintf(", %s as you said", o.Unit)
		default:
			c.Unit = guessUnit(fields)
			says += fmt.Sprintf(", without a unit, assumed %s (say unit= to be sure%s)", c.Unit, orDegrees)
		}
	case Angle:
		if degrees(*c) || roleOf(*c) == Angle {
			says = "angle: " + says
		} else {
			says = "angle, by its place: " + says
		}
	case Counts:
		says = "counts: " + says
	default:
		switch {
		case !c.word && isClock(fields):
			says = "left out (looks like a clock): " + says
		case c.Whole && (len(c.Tags) == 0 || roleOf(*c) == Counts):
			says = "left out (say counts= if these are an encoder's): " + says
		default:
			says = "left out: " + says
		}
	}
	return says
}

// assumedScale is the count of a device that prints whole numbers and says
// nothing: the commonest step of metric indicators that do so. It is said to
// be assumed.
const assumedScale = measure.Micrometre

// guessUnit guesses at the unit of bare decimals. An inch read-out moves by
// 0.0005 or 0.00005, a metric one shows two or three decimals.
func guessUnit(fields []field) measure.Unit {
	decimals, fives := fields[0].n.decimals, true
	for _, x := range fields {
		if x.n.decimals != decimals {
			return measure.InMillimetres
		}
		fives = fives && x.n.mantissa%5 == 0
	}
	if decimals == 5 || decimals == 4 && fives {
		return measure.InInches
	}
	return measure.InMillimetres
}

// guessed reports whether the unit or scale of the lift was neither printed nor
// said.
func guessed(f Format, o Options) bool {
	i := f.lift()
	if i < 0 || f.Columns[i].UnitRule == UnitMustFollow || o.Unit != measure.NoUnit {
		return false
	}
	return !f.Columns[i].Whole || o.Scale == 0
}
