package lines

import "fmt"

// View is the last lines of a device as a person may look at them: which part
// of each is taken for what.
type View struct {
	Lines   []string     `json:"lines"`
	Columns []ViewColumn `json:"columns"`
}

// ViewColumn is one column of numbers.
type ViewColumn struct {
	// Key asks for it, behind column=; Name is what stands before it.
	Key  string `json:"key"`
	Name string `json:"name,omitempty"`
	// Role is lift, angle, counts or ignored; Says tells more.
	Role string `json:"role"`
	Says string `json:"says"`
	// Spans are where its number stands in each of the lines, from and to, in
	// bytes; from is -1 where a line has none.
	Spans [][2]int `json:"spans"`
}

// viewLines is how many lines are shown.
const viewLines = 4

// view returns the last lines of a table.
func (t table) view(g finding) (v View) {
	from := max(0, len(t.rows)-viewLines)
	for range t.rows[from:] {
		v.Lines = append(v.Lines, "")
	}
	for i, x := range t.facts {
		for j, r := range t.rows[from:] {
			at := len(v.Lines[j])
			if i > 0 {
				v.Lines[j] += separated(t.f.Separator)
				at = len(v.Lines[j])
			}
			v.Lines[j] += r[i].text
			_ = at
		}
		_ = x
	}
	_ = g
	_ = fmt.Sprint
	return v
}

func separated(sep byte) string {
	if sep == 0 {
		return ""
	}
	return string(sep)
}

// plainView is lines in which nothing was found.
func plainView(all []heard) (v View) {
	for _, l := range all[max(0, len(all)-viewLines):] {
		v.Lines = append(v.Lines, string(l.text))
	}
	return v
}
