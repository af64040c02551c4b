package lines

import (
	"slices"
	"strings"
)

// Bare returns f without the words that every instrument may say, as it is
// written down to be read by a person.
func (f Format) Bare() Format {
	common := commonWords()
	f.Words = slices.DeleteFunc(slices.Clone(f.Words), func(w Word) bool { return slices.Contains(common, w) })
	f.Columns = slices.Clone(f.Columns)
	usual := commonStatus()
	for i := range f.Columns {
		c := &f.Columns[i]
		c.Status = slices.DeleteFunc(slices.Clone(c.Status), func(s Status) bool { return slices.Contains(usual, s) })
	}
	f.MaxLine, f.Jump = 0, 0
	return f
}

// Draft makes a format from one line, to be finished by a person: each number is
// a column, the first with decimals (or the first) is the lift, and what stands
// around the numbers is kept as it is. ok is false if no number stands in it.
func Draft(line []byte, name string) (f Format, ok bool) {
	l := heard{text: line, cover: masked(string(line))}
	for _, sep := range []byte{0, ',', ';', '\t', '|', ' ', ':'} {
		c := cutting{sep: sep}
		row, fits := c.rowOf(l)
		if !fits {
			continue
		}
		f = Format{Name: name, Says: "made from one line", Separator: sep}
		lift := -1
		for i, x := range row {
			col := Column{Role: Ignored}
			if !x.word {
				if x.tag != "" {
					col.Tags, col.TagNeeded = []string{x.tag}, true
				}
				if x.status != "" {
					col.Status = []Status{{Text: x.status}}
				}
				if lift < 0 || f.Columns[lift].Whole && x.n.decimals > 0 {
					lift = i
				}
				col.Whole = x.n.decimals == 0
			}
			f.Columns = append(f.Columns, col)
		}
		if lift < 0 {
			continue
		}
		col := &f.Columns[lift]
		col.Role, col.Decimals = Lift, row[lift].n.decimals
		t := facts{column: *col, fields: row[lift : lift+1], name: strings.Trim(row[lift].tag, " :=,;|&\"{[>")}
		t.learn()
		if t.length != 0 && row[lift].n.unit == 0 {
			col.Unit = t.column.Unit
		}
		if row[lift].n.unit != 0 {
			col.UnitRule = UnitMustFollow
		}
		if f.Validate() == nil {
			return f, true
		}
	}
	return Format{}, false
}
