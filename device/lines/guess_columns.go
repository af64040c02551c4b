package lines

import (
	"fmt"
	"slices"
	"strings"

	"lobescribe/device/measure"
)

// columnOf makes a column of its fields in every line, and says what it looks
// like. It does not fit if what stands around the number is different in too
// many lines.
func columnOf(fields []field) (c Column, says string, fits bool) {
	const few = 6
	if fields = usual(fields); len(fields) == 0 {
		return c, "", false
	}
	var tags, statuses []string
	units, tagged, points, signs := map[measure.Unit]int{}, 0, 0, 0
	least, most := 99, 0
	for _, x := range fields {
		if x.tag != "" {
			tagged++
			if !slices.Contains(tags, x.tag) {
				tags = append(tags, x.tag)
			}
		}
		if x.status != "" && !slices.Contains(statuses, x.status) {
			statuses = append(statuses, x.status)
		}
		units[x.n.unit]++
		if x.n.decimals > 0 {
			points++
		}
		if strings.ContainsAny(x.text, "+-") {
			signs++
		}
		least, most = min(least, x.n.decimals), max(most, x.n.decimals)
	}
	if len(tags) > few || len(statuses) > few {
		return c, "", false
	}
	nearly := func(n int) bool { return n*10 >= len(fields)*9 } // one in ten may be noise
	c.Tags, c.TagNeeded = tags, nearly(tagged)
	c.Whole = nearly(len(fields) - points)
	c.varies = !c.Whole && varies(fields)
	for _, s := range statuses {
		c.Status = append(c.Status, knownStatus(s))
	}
	for _, s := range commonStatus() {
		if !slices.ContainsFunc(c.Status, func(have Status) bool { return have.Text == s.Text }) {
			c.Status = append(c.Status, s)
		}
	}
	if nearly(len(fields) - units[measure.NoUnit]) {
		c.UnitRule = UnitMustFollow
	}

	var parts []string
	if len(tags) > 0 {
		parts = append(parts, fmt.Sprintf("%q before it", tags[0]))
	}
	switch {
	case signs == len(fields):
		parts = append(parts, "a sign always")
	case signs > 0:
		parts = append(parts, "a sign when below nought")
	}
	switch {
	case c.Whole:
		parts = append(parts, "whole numbers")
	case least == most:
		parts = append(parts, fmt.Sprintf("%d decimals", most))
	default:
		parts = append(parts, fmt.Sprintf("%d to %d decimals", least, most))
	}
	for _, u := range []measure.Unit{measure.InMillimetres, measure.InInches, measure.InThou, measure.InMicrometres} {
		if units[u] > 0 {
			parts = append(parts, fmt.Sprintf("%s behind it", u))
		}
	}
	if len(statuses) > 0 {
		parts = append(parts, fmt.Sprintf("then %q", statuses[0]))
	}
	return c, strings.Join(parts, ", "), true
}

// varies reports whether the decimals differ in more than a line or two, among
// numbers of one unit.
func varies(fields []field) bool {
	places := map[number]int{}
	for _, x := range fields {
		places[number{unit: x.n.unit, decimals: x.n.decimals}]++
	}
	most := map[measure.Unit]int{}
	for n, times := range places {
		most[n.unit] = max(most[n.unit], times)
	}
	rest := len(fields)
	for _, times := range most {
		rest -= times
	}
	return rest >= 2 && rest*20 >= len(fields)
}

// usual leaves out the fields whose tag or status stands in few lines: that is
// chatter or noise, and the format should refuse it. It returns none if less
// than half are left.
func usual(fields []field) []field {
	tags, statuses := map[string]int{}, map[string]int{}
	for _, x := range fields {
		tags[x.tag]++
		statuses[x.status]++
	}
	often := func(n int) bool { return n >= 2 && n*8 >= len(fields) }
	var out []field
	for _, x := range fields {
		if often(tags[x.tag]) && (often(statuses[x.status]) || isCommonStatus(x.status)) {
			out = append(out, x)
		}
	}
	if len(out)*2 < len(fields) {
		return nil
	}
	return out
}

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
	for i, c := range columns {
		if len(c.Tags) != 1 {
			continue
		}
		switch tag := strings.ToLower(strings.Trim(c.Tags[0], " :=")); {
		case slices.Contains([]string{"lift", "l", "z", "pos", "ind", "dial"}, tag):
			take(&lift, i, Lift)
		case slices.Contains([]string{"angle", "ang", "deg", "crank", "th"}, tag):
			take(&turn, i, Angle)
		case slices.Contains([]string{"counts", "count", "cnt", "c", "enc"}, tag):
			take(&turn, i, Counts)
		}
	}
	counted := o.Crank != nil && o.Crank.Step() > 0
	if len(columns) == 1 && lift < 0 && turn < 0 && columns[0].Whole && counted {
		take(&turn, 0, Counts)
		return
	}
	for i := range columns { // a board's own clock is neither
		if clock(columns, rows, i) {
			continue
		}
		if !columns[i].Whole && lift < 0 && !laterDecimals(columns, rows, i) {
			take(&lift, i, Lift)
		}
	}
	// With counts= said, the only whole numbers are the counts, even if the
	// crank was turned as evenly as a clock.
	if only := onlyWhole(columns); counted && lift >= 0 && only >= 0 {
		take(&turn, only, Counts)
	}
	for i := range columns {
		if columns[i].Role != Ignored || clock(columns, rows, i) {
			continue
		}
		switch {
		case columns[i].Whole && counted:
			take(&turn, i, Counts)
		case columns[i].Whole && lift >= 0:
			// Counts that nobody can make degrees of yet are left out of the
			// readings; the words say what is missing.
		case columns[i].Whole:
			take(&lift, i, Lift)
		default:
			take(&turn, i, Angle)
		}
	}
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
// is more likely the angle.
func laterDecimals(columns []Column, rows [][]field, i int) bool {
	for j := i + 1; j < len(columns); j++ {
		if columns[j].Role == Ignored && !columns[j].Whole && !clock(columns, rows, j) {
			return true
		}
	}
	return false
}

// clock reports whether a column is the board's own clock. Of two columns one
// with decimals is none: a crank may be turned as evenly.
func clock(columns []Column, rows [][]field, i int) bool {
	return columns[i].Role == Ignored && (columns[i].Whole && len(columns) > 1 || len(columns) > 2) && isClock(rows[i])
}

// isClock: always growing, by about the same.
func isClock(fields []field) bool {
	if len(fields) < findLines/2 {
		return false
	}
	least, most := int64(1)<<62, int64(0)
	for i := 1; i < len(fields); i++ {
		d := fields[i].n.mantissa - fields[i-1].n.mantissa
		least, most = min(least, d), max(most, d)
	}
	return least > 0 && most-least <= least/5+2
}

// roleWords fills in what depends on the role and says it.
func roleWords(c *Column, fields []field, says string, o Options) string {
	switch c.Role {
	case Lift:
		says = "lift: " + says
		bare := c.UnitRule != UnitMustFollow
		switch {
		case !bare:
		case c.Whole && o.Scale == 0 && o.Unit == measure.NoUnit:
			c.Scale = assumedScale
			says += fmt.Sprintf(", assumed %s a count (say scale= to be sure)", c.Scale)
		case c.Whole && o.Scale > 0:
			says += fmt.Sprintf(", %s a count as you said", o.Scale)
		case o.Unit != measure.NoUnit:
			says += fmt.Sprintf(", %s as you said", o.Unit)
		default:
			c.Unit = guessUnit(fields)
			says += fmt.Sprintf(", without a unit, assumed %s (say unit= to be sure)", c.Unit)
		}
	case Angle:
		says = "angle: " + says
	case Counts:
		says = "counts: " + says
	default:
		switch {
		case isClock(fields):
			says = "left out (looks like a clock): " + says
		case c.Whole:
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
	decimals, fives, values := fields[0].n.decimals, true, map[int64]bool{}
	for _, x := range fields {
		if x.n.decimals != decimals {
			return measure.InMillimetres
		}
		fives = fives && x.n.mantissa%5 == 0
		values[x.n.mantissa] = true
	}
	if decimals == 5 || decimals == 4 && fives && len(values) >= 4 {
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
