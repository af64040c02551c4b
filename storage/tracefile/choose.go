package tracefile

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"lobescribe/device/measure"
)

// A Choice says which column of a table is what, where its header does not. The
// zero value leaves everything to the header.
type Choice struct {
	columns []chosen
	rate    float64 // rows a second; 0 where times or angles tell
	decimal byte    // '.', ',' or 0
	sep     byte    // 0: found out
}

// none says whether nothing was chosen.
func (c Choice) none() bool {
	return len(c.columns) == 0 && c.rate == 0 && c.decimal == 0 && c.sep == 0
}

// chosen is one quantity, in a column by number from 1 or by name.
type chosen struct {
	what   quantity
	number int
	name   string
	unit   string // "" where the column's name tells it
}

// choiceHelp is what every refusal of a choice ends with.
const choiceHelp = `write it like time=1:s,lift=3:in,angle="Crank angle"`

// ParseChoice reads a choice:
//
//	time=1:s,lift=3:in                 columns by number, each with its unit
//	time=Timestamp,lift="Travel (mm)"  by name; the unit may stand in the name
//	angle=1,lift=2:mm                  a table off a degree wheel
//	lift=2:mm,rate=50                  no times: so many rows a second
//
// Units of time are s, ms, us and clock (a time of day); of lift mm, in, thou, um and
// cm; of angle deg, rad and turns. decimal=comma or point and
// separator=comma, semicolon, tab or space settle what a file leaves open. The
// error says what to write.
func ParseChoice(text string) (Choice, error) {
	c := Choice{}
	refuse := func(format string, args ...any) (Choice, error) {
		return Choice{}, fmt.Errorf("columns: "+format+"; "+choiceHelp, args...)
	}
	if strings.TrimSpace(text) == "" {
		return c, nil
	}
	items := cellsOfChoice(text)
	for _, item := range items {
		key, value, ok := strings.Cut(item, "=")
		key, value = strings.ToLower(strings.TrimSpace(key)), strings.TrimSpace(value)
		if !ok || value == "" {
			return refuse("%.40q is no choice", strings.TrimSpace(item))
		}
		switch key {
		case "time", "lift", "angle":
			col, err := parseChosen(key, value)
			if err != nil {
				return refuse("%s", err)
			}
			if slices.ContainsFunc(c.columns, func(had chosen) bool { return had.what == col.what }) {
				return refuse("%s is chosen twice", key)
			}
			c.columns = append(c.columns, col)
		case "rate":
			rate, err := strconv.ParseFloat(value, 64)
			if err != nil || !(rate >= 0.001 && rate <= 1e6) {
				return refuse("rate=%.20s is not a number of rows a second between 0.001 and 1000000", value)
			}
			c.rate = rate
		case "decimal":
			words := map[string]byte{"comma": ',', "point": '.', ",": ',', ".": '.'}
			if c.decimal = words[strings.ToLower(value)]; c.decimal == 0 {
				return refuse("decimal=%.20s is not known: comma or point", value)
			}
		case "separator":
			words := map[string]byte{"comma": ',', "semicolon": ';', "tab": '\t', "space": ' ', ";": ';'}
			if c.sep = words[strings.ToLower(value)]; c.sep == 0 {
				return refuse("separator=%.20s is not known: comma, semicolon, tab or space", value)
			}
		default:
			return refuse("there is no %.20q: time, lift, angle, rate, decimal and separator can be said", key)
		}
	}
	return c, c.whole()
}

// whole says what a choice lacks to make a trace.
func (c Choice) whole() error {
	n := map[quantity]int{}
	for _, col := range c.columns {
		n[col.what]++
		for _, also := range c.columns {
			if also.what != col.what && also.number == col.number && strings.EqualFold(also.name, col.name) {
				return errors.New("columns: one column is chosen for two things; " + choiceHelp)
			}
		}
	}
	switch {
	case len(c.columns) == 0 && c.rate == 0: // only how the text is laid out
		return nil
	case n[liftQ]+n[angleQ] == 0:
		return errors.New("columns: no column is chosen for the lift (or the angle); " + choiceHelp)
	case n[timeQ] > 0 && c.rate > 0:
		return errors.New("columns: time and rate say the same; leave one out")
	case n[timeQ] == 0 && c.rate == 0 && n[liftQ]*n[angleQ] == 0:
		return errors.New("columns: nothing says when the rows were measured; choose a column for time, or say how many rows a second, as in lift=2:mm,rate=50")
	}
	return nil
}

// cellsOfChoice parts a choice at its commas, but for those in quotes; the quotes
// stay.
func cellsOfChoice(text string) []string {
	var items []string
	quoted, from := false, 0
	for i := range len(text) {
		switch {
		case text[i] == '"':
			quoted = !quoted
		case text[i] == ',' && !quoted:
			items, from = append(items, text[from:i]), i+1
		}
	}
	return append(items, text[from:])
}

var quantityWords = map[string]quantity{"time": timeQ, "lift": liftQ, "angle": angleQ}

func parseChosen(key, value string) (chosen, error) {
	c := chosen{what: quantityWords[key]}
	if name, unit, ok := strings.Cut(strings.TrimPrefix(value, `"`), `"`); strings.HasPrefix(value, `"`) {
		if !ok || unit != "" && unit[0] != ':' {
			return c, fmt.Errorf("the quotes of %.40s are not whole", value)
		}
		c.name, c.unit = name, strings.TrimPrefix(unit, ":")
	} else if i := strings.LastIndexByte(value, ':'); i >= 0 {
		c.name, c.unit = value[:i], value[i+1:]
	} else {
		c.name = value
	}
	c.name, c.unit = strings.TrimSpace(c.name), strings.ToLower(strings.TrimSpace(c.unit))
	if n, err := strconv.Atoi(c.name); err == nil && !strings.HasPrefix(value, `"`) {
		if n < 1 || n > 1000 {
			return c, fmt.Errorf("column %s is not there: columns count from 1", c.name)
		}
		c.number, c.name = n, ""
	} else if c.name == "" {
		return c, fmt.Errorf("%s has no column", key)
	}
	if c.unit != "" {
		if _, err := unitColumn(c.what, c.unit); err != nil {
			return c, err
		}
	}
	return c, nil
}

// unitColumn is a column of a quantity in a unit.
func unitColumn(what quantity, unit string) (tableColumn, error) {
	if what == liftQ {
		u, err := measure.ParseUnit(unit)
		if err != nil {
			return tableColumn{}, err
		}
		return tableColumn{column: column{what: liftQ, unit: int64(u.Length())}}, nil
	}
	u, ok := foreignUnits[unit]
	if !ok || u.of != what {
		if what == timeQ {
			return tableColumn{}, fmt.Errorf("unit %.20q is none of time: write s, ms, us or clock", unit)
		}
		return tableColumn{}, fmt.Errorf("unit %.20q is none of an angle: write deg, rad or turns", unit)
	}
	return tableColumn{column: column{what: what, unit: u.unit}, div: u.div, clock: u.clock}, nil
}

// readChosen reads a table as it was said. first was taken from r.lines already.
func (r *Reader) readChosen(c Choice, first []byte) error {
	seen := r.lines.ahead(first)
	start := 0
	for start < len(seen) && passedOver(seen[start]) {
		start++
	}
	var lacks error
	for i := start; i < len(seen); i++ {
		if passedOver(seen[i]) {
			continue
		}
		h, err := c.headerAt(seen, i)
		if err != nil {
			if lacks == nil {
				lacks = err
			}
			continue
		}
		h.decimal = c.decimal
		if c.rate > 0 {
			h.step = measure.Stamp(math.Round(1e6 / c.rate))
			h.how = append(h.how, fmt.Sprintf("%v rows a second", c.rate))
		}
		headless := h.rows == 0 // the line in hand is a row of numbers
		if i > start {
			what := "header"
			if headless {
				what = "numbers"
			}
			h.how = append([]string{linesAbove(i-start, what)}, h.how...)
		}
		if headless {
			h.rows = 1
		}
		row := bytes.Clone(seen[i])
		if err := r.takeTable(h); err != nil {
			return err
		}
		if headless {
			r.lines.back = row
		}
		return nil
	}
	f := r.fault(r.lines.n, "%s", lacks)
	f.Table = lookAt(seen)
	return f
}

// headerAt takes line i for the header of a table with the chosen columns, or for
// its first row: then h.rows is 0.
func (c Choice) headerAt(seen [][]byte, i int) (h header, err error) {
	below := firstRow(seen[i+1:])
	for _, sep := range c.separators(seen[i]) {
		h = header{table: table{sep: sep}, names: namesOf(seen[i], sep), line: i, rows: 1}
		rows := below
		if units := namesOf(rows.first, sep); len(units) == len(h.names) && joinUnits(h.names, units) {
			h.rows, rows = h.rows+rows.at+1, firstRow(seen[i+rows.at+2:])
		}
		h.sayLayout()
		at, lacks := c.places(h.names)
		if lacks != nil {
			err = lacks
			continue
		}
		first := cellsOf(nil, seen[i], sep)
		if len(c.columns) > 0 && c.numbersAt(first, at) { // no header: a row of numbers already
			h.names = make([]string, len(h.names))
			for j := range h.names {
				h.names[j] = fmt.Sprintf("column %d", j+1)
			}
			h.rows = 0
		} else if len(rows.first) == 0 && i > 0 {
			err = fmt.Errorf("there is no row of numbers in the chosen columns")
			continue
		} else if len(rows.first) > 0 {
			first = cellsOf(nil, rows.first, sep)
			if !h.fits(rows.first) || !h.paired && !c.numbersAt(first, at) {
				err = fmt.Errorf("the row below %.60q has no numbers in the chosen columns", bytes.TrimSpace(seen[i]))
				continue
			}
		}
		if err = c.fill(&h, at, first); err != nil {
			continue
		}
		return h, nil
	}
	return h, err
}

// separators are what may part the columns of a line.
func (c Choice) separators(line []byte) []byte {
	if c.sep != 0 {
		return []byte{c.sep}
	}
	var seps []byte
	for _, sep := range []byte{'\t', ';', ',', ' '} {
		if bytes.IndexByte(line, sep) >= 0 {
			seps = append(seps, sep)
		}
	}
	if len(seps) == 0 {
		seps = []byte{','} // one column
	}
	return seps
}

// places finds the chosen columns among so many names.
func (c Choice) places(names []string) ([]int, error) {
	at := make([]int, len(c.columns))
	for i, col := range c.columns {
		if col.name == "" {
			if at[i] = col.number - 1; at[i] >= len(names) {
				return nil, fmt.Errorf("there is no column %d: the row has %d", col.number, len(names))
			}
			continue
		}
		if at[i] = slices.Index(names, strings.ToLower(col.name)); at[i] < 0 {
			return nil, fmt.Errorf("there is no column %.40q: the columns are %.100q", col.name, names)
		}
	}
	return at, nil
}

// numbersAt says whether the chosen cells of a row hold figures.
func (c Choice) numbersAt(cells [][]byte, at []int) bool {
	some := len(c.columns) == 0
	for i := range c.columns {
		if at[i] >= len(cells) {
			return false
		}
		cell := cells[at[i]]
		if len(cell) == 0 {
			continue
		}
		if !isNumber(cell) && !looksLikeClock(cell) {
			return false
		}
		some = true
	}
	return some
}

// isNumber says whether a cell holds a number, with a point or a comma.
func isNumber(cell []byte) bool {
	_, err := number(bytes.Replace(bytes.Clone(bytes.TrimSpace(cell)), []byte(","), []byte("."), 1), 1)
	return err == nil || errors.Is(err, measure.ErrOutOfRange)
}

// fill makes the columns of a table as they were chosen.
func (c Choice) fill(h *header, at []int, first [][]byte) error {
	h.columns = make([]tableColumn, len(h.names))
	for i, name := range h.names {
		h.columns[i].name = name
	}
	if len(c.columns) == 0 { // only the layout was said
		h.takeColumns(first)
		if !h.makesTrace() {
			return fmt.Errorf("the columns %.100q do not say what they hold", h.names)
		}
		return nil
	}
	for i, col := range c.columns {
		name := h.names[at[i]]
		got, unit := tableColumn{}, col.unit
		var cell []byte
		if at[i] < len(first) {
			cell = first[at[i]]
		}
		switch told, _ := foreignColumn(name, cell); {
		case unit != "":
			got, _ = unitColumn(col.what, unit)
		case columnNamed([]byte(name)).what == col.what:
			got.column = columnNamed([]byte(name))
		case told.what == col.what:
			got = told
		case col.what == timeQ && looksLikeClock(cell):
			got = tableColumn{column: column{what: timeQ}, clock: true}
		case unitIn(name, col.what) != "":
			got, _ = unitColumn(col.what, unitIn(name, col.what))
		case col.what == angleQ:
			got, _ = unitColumn(angleQ, "deg")
		default:
			return fmt.Errorf("nothing says what unit %q is in: say it behind the column, as in %s", name, map[quantity]string{timeQ: "time=1:s", liftQ: "lift=2:mm"}[col.what])
		}
		got.name = name
		h.columns[at[i]] = got
		h.how = append(h.how, fmt.Sprintf("%q as %s", name, got.words()))
	}
	if n := h.count(); n[timeQ] == 0 && c.rate == 0 {
		h.how = append(h.how, fmt.Sprintf("no times: as if turned at %d degrees a second", wheelRate))
	}
	return nil
}

// words says what a column was taken for.
func (c tableColumn) words() string {
	switch {
	case c.clock:
		return "time of day"
	case c.what == liftQ:
		for _, u := range []measure.Unit{measure.InMillimetres, measure.InInches, measure.InThou} {
			if int64(u.Length()) == c.unit {
				return "lift in " + u.String()
			}
		}
		return fmt.Sprintf("lift in %s", measure.Length(c.unit))
	}
	for _, name := range []string{"seconds", "milliseconds", "microseconds", "degrees", "radians", "turns"} {
		if u := foreignUnits[name]; u.of == c.what && u.unit == c.unit && u.div == c.div {
			return u.says
		}
	}
	return "a number"
}

// lookAt is what a text looks like of which nobody could tell the columns.
func lookAt(seen [][]byte) *Table {
	const most, wide, cut = 5, 40, 40
	clean := func(cells [][]byte) []string {
		text := make([]string, min(len(cells), wide))
		for i := range text {
			text[i] = strings.ToValidUTF8(string(cells[i][:min(len(cells[i]), cut)]), "?")
		}
		return text
	}
	// The columns are those of most lines: what stands above them is another matter.
	var sep byte
	best, columns := 0, 1
	for _, s := range []byte{'\t', ';', ',', ' '} {
		counts := map[int]int{}
		for _, line := range seen {
			if n := len(cellsOf(nil, line, s)); n > 1 && !passedOver(line) {
				if counts[n]++; counts[n] > best {
					best, sep, columns = counts[n], s, n
				}
			}
		}
	}
	if sep == 0 {
		sep = ','
	}
	t := &Table{}
	var first [][]byte
	for _, line := range seen {
		cells := cellsOf(nil, line, sep)
		if passedOver(line) || len(cells) != columns || len(t.Rows) == most {
			continue
		}
		figures := slices.ContainsFunc(cells, func(cell []byte) bool { return isNumber(cell) || looksLikeClock(cell) })
		if !figures && t.Names == nil && len(t.Rows) == 0 {
			t.Names = clean(cells)
			continue
		}
		if first == nil {
			first = cells
		}
		t.Rows = append(t.Rows, clean(cells))
	}
	if t.Names == nil {
		t.Names = make([]string, min(columns, wide))
	}
	t.Taken = make([]string, len(t.Names))
	for i, name := range t.Names {
		var cell []byte
		if i < len(first) {
			cell = first[i]
		}
		t.Taken[i] = seems(strings.ToLower(name), cell)
	}
	return t
}

// seems is what a column seems to be, in the words of a choice.
func seems(name string, cell []byte) string {
	c, _ := foreignColumn(name, cell)
	if ours := columnNamed([]byte(name)); ours.what != other && ours.what != numberQ {
		c = tableColumn{column: ours}
	}
	if c.what == other && looksLikeClock(cell) {
		c = tableColumn{column: column{what: timeQ}, clock: true}
	}
	word := map[quantity]string{timeQ: "time", liftQ: "lift", angleQ: "angle"}[c.what]
	if word == "" {
		return ""
	}
	for _, unit := range []string{"clock", "s", "ms", "us", "mm", "in", "thou", "um", "cm", "deg", "rad", "turns"} {
		if u, err := unitColumn(c.what, unit); err == nil && u.unit == c.unit && u.div == c.div && u.clock == c.clock {
			return word + ":" + unit
		}
	}
	return ""
}
