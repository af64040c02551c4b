package guess

import (
	"strings"

	"lobescribe/device/lines"
)

// Draft makes a format from one line, to be finished by a person: each number is
// a column, the first with decimals (or the first) is the lift, and what stands
// around the numbers is kept as it is. ok is false if no number stands in it.
func Draft(line []byte, name string) (f lines.Format, ok bool) {
	l := Heard{Text: line, cover: masked(string(line))}
	for _, sep := range []byte{0, ',', ';', '\t', '|', ' ', ':'} {
		c := cutting{sep: sep}
		row, fits := c.rowOf(l)
		if !fits {
			continue
		}
		f = lines.Format{Name: name, Says: "made from one line", Separator: sep}
		lift := -1
		for i, x := range row {
			col := lines.Column{Role: lines.Ignored}
			if !x.word {
				if x.tag != "" {
					col.Tags, col.TagNeeded = []string{x.tag}, true
				}
				if x.status != "" {
					col.Status = []lines.Status{{Text: x.status}}
				}
				if lift < 0 || f.Columns[lift].Whole && x.n.Decimals > 0 {
					lift = i
				}
				col.Whole = x.n.Decimals == 0
			}
			f.Columns = append(f.Columns, col)
		}
		if lift < 0 {
			continue
		}
		col := &f.Columns[lift]
		col.Role, col.Decimals = lines.Lift, row[lift].n.Decimals
		t := facts{column: *col, fields: row[lift : lift+1], name: strings.Trim(row[lift].tag, " :=,;|&\"{[>")}
		t.learn()
		if t.length != 0 && row[lift].n.Unit == 0 {
			col.Unit = t.column.Unit
		}
		if row[lift].n.Unit != 0 {
			col.UnitRule = lines.UnitMustFollow
		}
		if f.Validate() == nil {
			return f, true
		}
	}
	return lines.Format{}, false
}
