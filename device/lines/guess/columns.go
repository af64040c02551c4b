package guess

import (
	"fmt"
	"slices"
	"strings"

	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
)

// columnOf makes a column of its fields in every line, and says what it looks
// like. It does not fit if what stands around the number is different in too
// many lines.
func columnOf(fields []field) (c lines.Column, says string, fits bool) {
	const few = 6
	if isWord(fields) {
		return c, "words", true
	}
	fields = slices.DeleteFunc(slices.Clone(fields), func(x field) bool { return x.word })
	if fields = usual(fields); len(fields) == 0 {
		return c, "", false
	}
	t := tallied(fields)
	if len(t.tags) > few || len(t.statuses) > few {
		return c, "", false
	}
	nearly := func(n int) bool { return n*10 >= len(fields)*9 } // one in ten may be noise
	c.Tags, c.TagNeeded = t.tags, nearly(t.tagged)
	c.Whole = nearly(len(fields) - t.points)
	c.Varies = !c.Whole && varies(fields)
	for _, s := range t.statuses {
		c.Status = append(c.Status, formats.KnownStatus(s))
	}
	if c.Whole && slices.Contains(t.statuses, "-") { // the index of an encoder, not passed while we listened
		c.Status = append(c.Status, lines.Status{Text: "I"}, lines.Status{Text: "Z"})
	}
	for _, s := range formats.Statuses() {
		if !slices.ContainsFunc(c.Status, func(have lines.Status) bool { return have.Text == s.Text }) {
			c.Status = append(c.Status, s)
		}
	}
	if nearly(len(fields) - t.units[measure.NoUnit]) {
		c.UnitRule = lines.UnitMustFollow
	}
	unitLetter := lettersUnit(fields)
	if unitLetter {
		f, _ := (*formats.Set)(nil).Named("unit-letter")
		c.UnitRule, c.Status = lines.UnitMustFollow, f.Columns[0].Status
	}

	if behind := unitsBehind(fields); len(behind) > 0 {
		c.UnitRule, c.Status = lines.UnitMustFollow, behind
	}

	return c, t.says(c.Whole, fields[0].status, unitLetter), true
}

// tally is what stands around the numbers of a column.
type tally struct {
	tags, statuses        []string
	units                 map[measure.Unit]int
	tagged, points, signs int
	least, most           int // decimals
	fields                int
}

func tallied(fields []field) tally {
	t := tally{units: map[measure.Unit]int{}, least: 99, fields: len(fields)}
	for _, x := range fields {
		if x.tag != "" {
			t.tagged++
			if !slices.Contains(t.tags, x.tag) {
				t.tags = append(t.tags, x.tag)
			}
		}
		if x.status != "" && !slices.Contains(t.statuses, x.status) {
			t.statuses = append(t.statuses, x.status)
		}
		t.units[x.n.Unit]++
		if x.n.Decimals > 0 {
			t.points++
		}
		if strings.ContainsAny(x.text, "+-") {
			t.signs++
		}
		t.least, t.most = min(t.least, x.n.Decimals), max(t.most, x.n.Decimals)
	}
	return t
}

// says is what a column looks like, in words; status is that of its first number.
func (t tally) says(whole bool, status string, unitLetter bool) string {
	var parts []string
	if len(t.tags) > 0 {
		parts = append(parts, fmt.Sprintf("%q before it", t.tags[0]))
	}
	switch {
	case t.signs == t.fields:
		parts = append(parts, "a sign always")
	case t.signs > 0:
		parts = append(parts, "a sign when below zero")
	}
	switch {
	case whole:
		parts = append(parts, "whole numbers")
	case t.least == t.most:
		parts = append(parts, fmt.Sprintf("%d decimals", t.most))
	default:
		parts = append(parts, fmt.Sprintf("%d to %d decimals", t.least, t.most))
	}
	for _, u := range []measure.Unit{measure.InMillimetres, measure.InInches, measure.InThou, measure.InMicrometres} {
		if t.units[u] > 0 {
			parts = append(parts, fmt.Sprintf("%s behind it", u))
		}
	}
	switch {
	case unitLetter:
		parts = append(parts, fmt.Sprintf("the letter %s of its unit behind it", status))
	case len(t.statuses) > 0:
		parts = append(parts, fmt.Sprintf("then %q", t.statuses[0]))
	}
	return strings.Join(parts, ", ")
}

// isWord reports whether a column has no numbers.
func isWord(fields []field) bool {
	n := 0
	for _, x := range fields {
		if x.word {
			n++
		}
	}
	return n*2 > len(fields)
}

// unitsBehind returns the statuses of numbers behind which a unit stands, parted
// from them; none if it is not so in every line.
func unitsBehind(fields []field) (all []lines.Status) {
	for _, x := range fields {
		if partedUnit(x.status) == measure.NoUnit {
			return nil
		}
	}
	status := fields[0].status
	mark := status[:len(status)-len(strings.TrimLeft(status, ",; "))]
	for _, u := range []measure.Unit{measure.InMillimetres, measure.InInches, measure.InThou, measure.InMicrometres} {
		for _, word := range []string{u.String(), strings.ToUpper(u.String())} {
			all = append(all, lines.Status{Text: mark + word, Unit: u})
		}
	}
	for _, x := range fields {
		if !slices.ContainsFunc(all, func(s lines.Status) bool { return s.Text == x.status }) {
			all = append(all, lines.Status{Text: x.status, Unit: partedUnit(x.status)})
		}
	}
	return all
}

// lettersUnit reports whether the same letter, I for inches or M for
// millimetres, stands right behind every number.
func lettersUnit(fields []field) bool {
	for _, x := range fields {
		if !x.glued || x.status != fields[0].status || x.status != "I" && x.status != "M" || x.n.Decimals == 0 || x.n.Unit != measure.NoUnit {
			return false
		}
	}
	return true
}

// varies reports whether the decimals differ in more than a line or two, among
// numbers of one unit.
func varies(fields []field) bool {
	places := map[lines.Value]int{}
	for _, x := range fields {
		places[lines.Value{Unit: x.n.Unit, Decimals: x.n.Decimals}]++
	}
	most := map[measure.Unit]int{}
	for n, times := range places {
		most[n.Unit] = max(most[n.Unit], times)
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
		if often(tags[x.tag]) && (often(statuses[x.status]) || formats.IsStatus(x.status)) {
			out = append(out, x)
		}
	}
	if len(out)*2 < len(fields) {
		return nil
	}
	return out
}
