package guess

import (
	"math"
	"slices"
	"strings"
	"unicode"

	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
)

// kind is lines that look alike: as many columns, and the same words before
// their numbers. A report of several lines, or two channels in turn, are several
// kinds.
type kind struct {
	tags []string
	rows [][]field
}

// fewRows is how many lines make a kind.
const fewRows = 2

// kindsOf takes the lines to pieces and sorts them into kinds, the largest
// first. header holds the words of a line that names the columns, if one came.
func (c cutting) kindsOf(all []Heard) (kinds []kind, header []string) {
	byTags := map[string]int{}
	for _, l := range all {
		row, ok := c.rowOf(l)
		if !ok {
			continue
		}
		if names := headerOf(row); names != nil {
			header = names
			continue
		}
		tags := tagsOf(row)
		key := strings.Join(tags, "\x00") + classesOf(row)
		at, seen := byTags[key]
		if !seen {
			at = len(kinds)
			byTags[key] = at
			kinds = append(kinds, kind{tags: tags})
		}
		kinds[at].rows = append(kinds[at].rows, row)
	}
	most := 0
	for _, k := range kinds {
		most = max(most, len(k.rows))
	}
	kinds = slices.DeleteFunc(kinds, func(k kind) bool { return len(k.rows) < fewRows || len(k.rows)*16 < most })
	slices.SortStableFunc(kinds, func(a, b kind) int { return len(b.rows) - len(a.rows) })
	kinds = joinKinds(kinds)
	if len(kinds) > 0 && header != nil && len(header) != len(kinds[0].rows[0]) {
		header = nil
	}
	return kinds, header
}

// rowOf takes a line to pieces.
func (c cutting) rowOf(l Heard) (row []field, ok bool) {
	pieces := cutFields(string(l.Text), l.cover, c.sep)
	if len(pieces) > lines.MaxColumns || c.sep != 0 && len(pieces) < 2 {
		return nil, false
	}
	numbers := 0
	for _, p := range pieces {
		x, ok := takeApart(p, c.comma)
		if !ok && c.sep != 0 && likelyWord(p) && (c.sep != ' ' || isClockText(p)) {
			x.word, ok = true, true
		}
		if !ok {
			return nil, false
		}
		if !x.word {
			numbers++
		}
		x.at = l.At
		row = append(row, x)
	}
	return row, numbers > 0 || c.sep != 0 && len(row) > 1
}

// headerOf returns the names in a row of words, as a logger writes before its
// numbers; nil if it is none.
func headerOf(row []field) (names []string) {
	known := false
	for _, x := range row {
		if !x.word {
			return nil
		}
		names = append(names, x.text)
		known = known || nameTells(x.text).meaning != unnamed
	}
	if !known {
		return []string{}
	}
	return names
}

// tagsOf returns what stands before the numbers of a row; a mark for a column of
// words.
func tagsOf(row []field) []string {
	tags := make([]string, len(row))
	for i, x := range row {
		tags[i] = x.tag
		if x.word {
			tags[i] = "\x01"
		}
	}
	return tags
}

// classesOf returns the kinds of units behind the numbers of a row: numbers of
// different kinds are not one column. Inch and metric are.
func classesOf(row []field) string {
	var b strings.Builder
	for _, x := range row {
		b.WriteByte(0)
		if w := firstWord(x.status); x.n.Unit == measure.NoUnit && w != "" && !x.word {
			if _, angle := lines.ParseAngleUnit(w); angle || len(w) > 1 && slices.Contains(otherWords, w) {
				b.WriteString(w)
			}
		}
	}
	return b.String()
}

// joinKinds puts together kinds that are one channel with a word before it that
// changes, as "ST" and "US" of a balance. Where they are channels, they stay
// apart.
func joinKinds(kinds []kind) (out []kind) {
	for _, k := range kinds {
		i := slices.IndexFunc(out, func(have kind) bool { return oneChannel(have, k) })
		if i < 0 {
			out = append(out, k)
			continue
		}
		out[i].rows = append(out[i].rows, k.rows...)
		slices.SortStableFunc(out[i].rows, byTime)
	}
	return out
}

// oneChannel reports whether b goes on where a is: they differ in one word at
// most, which does not name channels, and the numbers of both together move as
// smoothly as those of each.
func oneChannel(a, b kind) bool {
	if len(a.tags) != len(b.tags) || classesOf(a.rows[0]) != classesOf(b.rows[0]) {
		return false
	}
	at, differ := 0, 0
	for i := range a.tags {
		if (a.tags[i] == "\x01") != (b.tags[i] == "\x01") {
			return false
		}
		if a.tags[i] != b.tags[i] {
			at, differ = i, differ+1
		}
	}
	if differ != 1 || channels(a.tags[at], b.tags[at]) {
		return differ == 0
	}
	x, y := column(a.rows, at), column(b.rows, at)
	if x[0].n.Decimals != y[0].n.Decimals || x[0].n.Unit != y[0].n.Unit {
		return false
	}
	if m, n := nameTells(a.tags[at]), nameTells(b.tags[at]); m.meaning != n.meaning {
		return false
	}
	both := append(slices.Clone(x), y...)
	slices.SortStableFunc(both, func(a, b field) int { return int(a.at - b.at) })
	apart := path(x) + path(y)
	_, step := path(both), lastPlace(x[0])
	return path(both) <= 1.5*apart+2*step
}

// channels reports whether two tags name channels of one kind: they differ in a
// letter or a digit that counts on, or are axes.
func channels(a, b string) bool {
	if nextTag(a, b) || nextTag(b, a) {
		return true
	}
	return axisName(a) && axisName(b) || wordsNumber(a) != "" && wordsNumber(b) != "" && letters(a) == letters(b)
}

// wordsNumber returns the digits in a tag.
func wordsNumber(tag string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsDigit(r) {
			return r
		}
		return -1
	}, tag)
}

func letters(tag string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsDigit(r) {
			return -1
		}
		return r
	}, tag)
}

// path is how far the numbers went in all, in the units printed.
func path(fields []field) (sum float64) {
	for i := 1; i < len(fields); i++ {
		sum += math.Abs(valueOf(fields[i]) - valueOf(fields[i-1]))
	}
	return sum
}

func valueOf(x field) float64 { return float64(x.n.Mantissa) / math.Pow10(x.n.Decimals) }

func lastPlace(x field) float64 { return math.Pow10(-x.n.Decimals) }

func column(rows [][]field, i int) []field {
	out := make([]field, len(rows))
	for j, r := range rows {
		out[j] = r[i]
	}
	return out
}

// chatter returns the beginnings of lines to skip, and the words that are
// conditions: what comes again and again beside the readings. It is nothing
// wrong with the line, and does not count against it.
func (c cutting) chatter(all []Heard, kinds []kind, picked table) (skip []string, words []lines.Word) {
	words = formats.Words()
	counts, whole := map[string]int{}, map[string]bool{} // whole: a line drawn of signs, say
	var order []string
	for _, l := range all {
		if row, ok := c.rowOf(l); ok && slices.Equal(tagsOf(row), picked.tags) && classesOf(row) == classesOf(picked.rows[0]) {
			continue
		}
		begin := beginning(string(l.Text), l.cover)
		if counts[begin]++; counts[begin] == 1 {
			order = append(order, begin)
			whole[begin] = len(begin) >= 4 && !strings.ContainsAny(l.cover, digits)
		}
	}
	for _, begin := range order {
		if counts[begin] < fewRows || len(begin) == 0 || !strings.ContainsFunc(begin, unicode.IsLetter) && !whole[begin] {
			continue
		}
		if slices.ContainsFunc(words, func(w lines.Word) bool { return strings.EqualFold(w.Text, begin) }) {
			continue
		}
		if slices.ContainsFunc(picked.rows, func(r []field) bool { return strings.HasPrefix(lineOf(r), begin) }) {
			continue // it would take readings away
		}
		switch ill := illWord(begin); {
		case ill != "" && len(words) < 60:
			words = append(words, lines.Word{Text: begin, Says: ill})
		case len(skip) < 12:
			skip = append(skip, begin)
		}
	}
	return skip, words
}

// lineOf is how a line of the row begins.
func lineOf(row []field) string { return row[0].text }

// beginning is what a line begins with: the whole of it where no number is in
// it, otherwise what stands before the first.
func beginning(text, cover string) string {
	i := strings.IndexAny(cover, digits)
	if i < 0 {
		return text
	}
	return strings.TrimRight(text[:i], " +-.")
}

// illWord says what is the matter where a line has a word for it instead of a
// number.
func illWord(text string) string {
	low := strings.ToLower(text)
	for _, w := range []string{"error", "fail", "out of range", "out-of-range", "overrange", "no signal", "no target", "timeout", "timed out", "invalid", "nan", "not found", "low batt", "overflow", "saturat"} {
		if strings.Contains(low, w) {
			return "the device says " + strings.TrimSpace(text)
		}
	}
	return ""
}
