package guess

import (
	"slices"
	"strings"
	"unicode/utf8"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// View is the last lines of a device as a person may look at them: which part of
// each is taken for what, and what else could be taken.
type View struct {
	Lines   []ViewLine
	Columns []ViewColumn
}

// ViewLine is one line, and where numbers stand in it.
type ViewLine struct {
	Text  string
	Spans []ViewSpan
}

// ViewSpan is a number in a line: from and to count its letters, and Column is
// the index of its column.
type ViewSpan struct{ From, To, Column int }

// ViewColumn is a column of numbers.
type ViewColumn struct {
	// Key asks for it, behind column=.
	Key string
	// Name is what stands before it; "" if nothing does.
	Name string
	Role lines.Role
	// Says is what it is taken for, in words.
	Says string
}

// viewLines is how many lines are shown.
const viewLines = 6

// view returns the last lines, with the columns of all tables in them.
func (c cutting) view(all []Heard, tables []table, picked table) (v View) {
	first := make([]int, len(tables)) // where the columns of each table begin
	for i, t := range tables {
		first[i] = len(v.Columns)
		chosen := strings.Join(t.tags, "\x00") == strings.Join(picked.tags, "\x00")
		for j, x := range t.facts {
			col := ViewColumn{Key: t.key(j, i == 0), Name: x.name}
			if chosen && j < len(picked.facts) {
				col.Role = picked.facts[j].column.Role
			}
			col.Says = col.Role.String()
			if x.word {
				col.Key = ""
			}
			v.Columns = append(v.Columns, col)
		}
	}
	for _, l := range all[max(0, len(all)-viewLines):] {
		line := ViewLine{Text: readableText(l.Text)}
		row, ok := c.rowOf(l)
		if ok {
			for i, t := range tables {
				if len(row) == len(t.tags) && sameTags(tagsOf(row), t.tags) {
					line.Spans = spansOf(string(l.Text), row, first[i])
					break
				}
			}
		}
		v.Lines = append(v.Lines, line)
	}
	return v
}

// Of returns the view of the last lines of raw, which came after f was found: what
// is taken for what is as in v.
func (v View) Of(f lines.Format, raw []byte) View {
	if len(v.Columns) == 0 || len(f.Columns) == 0 || len(v.Columns) < len(f.Columns) {
		return v
	}
	// The columns of the format stand together among those of all lines.
	first := -1
	for i := 0; i+len(f.Columns) <= len(v.Columns) && first < 0; i++ {
		first = i
		for j, c := range f.Columns {
			if v.Columns[i+j].Role != c.Role {
				first = -1
				break
			}
		}
	}
	c := cutting{sep: f.Separator, comma: f.DecimalComma}
	var all []Heard
	lines.Cut([]wire.Chunk{{Bytes: raw}}, f, false, func(line []byte, _ measure.Stamp) {
		all = append(all, Heard{Text: slices.Clone(line)})
	})
	if len(all) == 0 || first < 0 {
		return v
	}
	out := View{Columns: v.Columns}
	for _, l := range all[max(0, len(all)-viewLines):] {
		l.cover = masked(string(l.Text))
		line := ViewLine{Text: readableText(l.Text)}
		if row, ok := c.rowOf(l); ok && len(row) == len(f.Columns) && fits(f, row) {
			line.Spans = spansOf(string(l.Text), row, first)
		}
		out.Lines = append(out.Lines, line)
	}
	return out
}

// fits reports whether what stands before the numbers of a row is what f expects.
func fits(f lines.Format, row []field) bool {
	for i, c := range f.Columns {
		if c.TagNeeded && !row[i].word && !slices.Contains(c.Tags, row[i].tag) {
			return false
		}
	}
	return true
}

// key is how a column is asked for. Numbers count in the first table.
func (t table) key(i int, first bool) string {
	if t.facts[i].name != "" && keyName(t.facts[i].name) != "" {
		return keyName(t.facts[i].name)
	}
	if first {
		return t.name(i)
	}
	return ""
}

// sameTags reports whether a row belongs to a table: but for one word that may
// change, they are the same.
func sameTags(a, b []string) bool {
	differ := 0
	for i := range a {
		if a[i] != b[i] {
			differ++
		}
	}
	return differ <= 1 && (differ == 0 || len(a) == 1 && !channels(a[0], b[0]))
}

// spansOf finds where the numbers of a row stand in its line.
func spansOf(line string, row []field, first int) (spans []ViewSpan) {
	at := 0
	for i, x := range row {
		if x.word {
			continue
		}
		start := numberStart(masked(x.text))
		if start < 0 {
			continue
		}
		number := strings.TrimLeft(x.text[start:], ", ")
		end := strings.IndexFunc(number, func(r rune) bool { return !strings.ContainsRune("+-., 0123456789", r) })
		if end < 0 {
			end = len(number)
		}
		number = strings.TrimRight(number[:end], " ,")
		from := strings.Index(line[at:], number)
		if from < 0 || number == "" {
			continue
		}
		from += at
		at = from + len(number)
		spans = append(spans, ViewSpan{From: len([]rune(readableText([]byte(line[:from])))), To: len([]rune(readableText([]byte(line[:at])))), Column: first + i})
	}
	return spans
}

// readableText is a line as text: bytes beyond ASCII that are no UTF-8 are taken
// as letters of their number, and what cannot be shown is a dot.
func readableText(b []byte) string {
	var s strings.Builder
	for len(b) > 0 {
		r, n := utf8.DecodeRune(b)
		if r == utf8.RuneError && n <= 1 {
			r = rune(b[0])
		}
		if r < ' ' && r != '\t' || r == 0x7f {
			r = '·'
		}
		s.WriteRune(r)
		b = b[n:]
	}
	return s.String()
}

// plainView is lines in which nothing was found.
func plainView(all []Heard) (v View) {
	for _, l := range all[max(0, len(all)-viewLines):] {
		v.Lines = append(v.Lines, ViewLine{Text: readableText(l.Text)})
	}
	return v
}
