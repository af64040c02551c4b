package tracefile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"lobescribe/device/measure"
)

// A table of another program's is a text whose header is not that of the promised
// CSV: other names, another character between the columns, decimal commas, lines
// above the header, a row of units below it, dates as times, or no time at all. It
// is read where header and first rows leave no doubt, or as a [Choice] says, and
// [Reader.How] says in one line what it was taken for.

// table is how such a text is read.
type table struct {
	sep     byte // between columns; ' ' is any run of blanks
	decimal byte // ',', '.', or 0: a comma is a decimal sign unless it parts columns
	paired  bool // a comma parts columns and is the decimal sign as well
	columns []tableColumn
	clock   clock
	timed   bool // a column holds the time
	// Without one: the usual time between two rows, or the angle tells it.
	step  measure.Stamp
	rows  int64
	at    measure.Stamp // of the row before
	angle measure.Angle
	// The angle of the row before, as it stands there and as it was given out: a
	// wheel that begins again at 0 is counted on.
	turned         bool
	shown, counted measure.Angle
	wrapped        bool
}

// tableColumn is a column of a table.
type tableColumn struct {
	column
	div   int64 // the unit is in so many parts of it; 0 means 1
	clock bool  // a time of day, with or without a date
}

// wheelRate is how fast a crank is taken to turn in a table that has angles and no
// times, degrees a second. The figures do not depend on it.
const wheelRate = 30

// headLines is how many lines are searched for a header.
const headLines = 60

// Table is what a text looked like of which nobody could tell the columns, for
// somebody who can.
type Table struct {
	// Names of the columns; "" where the first row is one of numbers.
	Names []string `json:"names"`
	// Rows are the first rows, at most five.
	Rows [][]string `json:"rows"`
	// Taken is what each column seems to be, as a choice says it ("time:s"); "" for
	// what nothing tells.
	Taken []string `json:"taken"`
}

// ahead returns the whole lines that stand in the buffer, behind one that was
// taken already, and takes none.
func (l *lines) ahead(first []byte) [][]byte {
	found := [][]byte{first}
	rest := l.buf[l.start:l.end]
	for len(rest) > 0 && len(found) < headLines {
		line, more, whole := bytes.Cut(rest, []byte("\n"))
		if !whole && l.err != io.EOF {
			break
		}
		found, rest = append(found, bytes.TrimSuffix(line, []byte("\r"))), more
	}
	return found
}

// header is a candidate for the header of a table.
type header struct {
	table
	names []string
	line  int // from 0, of those looked at
	rows  int // how many lines it takes
	how   []string
}

// readTable finds out how the text below is laid out. first was taken from
// r.lines already. It returns false when its columns cannot be known.
func (r *Reader) readTable(first []byte) (bool, error) {
	seen := r.lines.ahead(first)
	for i := range seen {
		h, ok := headerAt(seen, i)
		if !ok {
			continue
		}
		if i > 0 {
			h.how = append([]string{linesAbove(i, "header")}, h.how...)
		}
		err := r.takeTable(h)
		var f *Fault
		if errors.As(err, &f) {
			f.Table = lookAt(seen)
		}
		return true, err
	}
	return false, nil
}

func linesAbove(n int, what string) string {
	if n == 1 {
		return fmt.Sprintf("the line above the %s passed over", what)
	}
	return fmt.Sprintf("%d lines above the %s passed over", n, what)
}

// whyNoTable says of a header that makes no trace what it lacks.
func (r *Reader) whyNoTable(first []byte, at int) error {
	h := header{table: table{sep: ','}}
	for _, sep := range []byte{'\t', ';', ',', ' '} {
		if bytes.IndexByte(first, sep) >= 0 {
			h.sep = sep
			break
		}
	}
	h.names = namesOf(first, h.sep)
	row := firstRow(r.lines.ahead(first)[1:]).first
	h.takeColumns(cellsOf(nil, row, h.sep))
	r.csv.columns = nil
	for _, c := range h.columns {
		r.csv.columns = append(r.csv.columns, c.column)
	}
	if err := r.checkHeader(at); err != nil {
		return err
	}
	return r.fault(at, "the row has %d cells and the one below it %d; each row needs as many as the header", len(h.names), len(cellsOf(nil, row, h.sep)))
}

// takeTable begins to read a table by its header.
func (r *Reader) takeTable(h header) error {
	for range h.line + h.rows - 1 {
		if _, err := r.lines.next(); err != nil {
			return err
		}
	}
	r.table, r.how, r.row = &h.table, h.how, r.tableLine
	r.csv.columns = nil
	var found [numberQ + 1]string
	for _, c := range h.columns {
		r.csv.columns = append(r.csv.columns, c.column)
		if had := found[c.what]; had != "" && c.what != other {
			return r.fault(r.lines.n, "there are two columns for the same: %s and %s; keep one of them", had, c.name)
		}
		found[c.what] = c.name
	}
	r.table.timed, r.csv.numbered = found[timeQ] != "", found[numberQ] != ""
	return nil
}

// headerAt takes line i for a header and says whether its columns make a trace.
func headerAt(seen [][]byte, i int) (header, bool) {
	if passedOver(seen[i]) {
		return header{}, false
	}
	below := firstRow(seen[i+1:])
	for _, sep := range []byte{'\t', ';', ',', ' '} {
		if sep != ' ' && bytes.IndexByte(seen[i], sep) < 0 {
			continue
		}
		h := header{table: table{sep: sep}, names: namesOf(seen[i], sep), line: i, rows: 1}
		if len(h.names) < 2 {
			continue
		}
		rows := below
		if units := namesOf(rows.first, sep); len(units) == len(h.names) && joinUnits(h.names, units) {
			h.rows, rows = h.rows+rows.at+1, firstRow(seen[i+rows.at+2:])
		}
		h.sayLayout()
		h.takeColumns(cellsOf(nil, rows.first, sep))
		if !h.makesTrace() || !h.fits(rows.first) {
			continue
		}
		return h, true
	}
	return header{}, false
}

// row is the first line that holds anything, and where it stands.
type row struct {
	first []byte
	at    int
}

func firstRow(below [][]byte) row {
	for i, line := range below {
		if !passedOver(line) {
			return row{line, i}
		}
	}
	return row{at: len(below)}
}

// passedOver says whether a line is empty or a remark.
func passedOver(line []byte) bool {
	line = bytes.TrimSpace(line)
	return len(line) == 0 || line[0] == '#'
}

func namesOf(line []byte, sep byte) []string {
	cells := cellsOf(nil, line, sep)
	names := make([]string, len(cells))
	for i, c := range cells {
		names[i] = nameOf(c)
	}
	return names
}

// nameOf is the text of a header's cell.
func nameOf(cell []byte) string {
	return strings.ToLower(strings.TrimSpace(strings.Trim(strings.TrimSpace(string(cell)), `"`)))
}

// joinUnits puts a row of units behind the names above it, and says whether it is
// one: a unit that is known in it, and no number.
func joinUnits(names, units []string) bool {
	some := false
	joined := make([]string, len(names))
	for i, unit := range units {
		unit = strings.Trim(unit, "[]() ")
		joined[i] = names[i]
		if unit == "" || unit == "-" {
			continue
		}
		if strings.ContainsAny(unit, "0123456789") {
			return false
		}
		some = some || foreignName.MatchString("x ("+unit+")")
		joined[i] += " (" + unit + ")"
	}
	if some {
		copy(names, joined)
	}
	return some
}

var sepWords = map[byte]string{'\t': "tabs between columns", ';': "semicolons between columns", ' ': "blanks between columns"}

func (h *header) sayLayout() {
	if says := sepWords[h.sep]; says != "" {
		h.how = append(h.how, says)
	}
}

// takeColumns says what each column is, by its name and its first cell.
func (h *header) takeColumns(first [][]byte) {
	h.columns = make([]tableColumn, len(h.names))
	said := make([]string, len(h.names))
	finest := -1 // the column of the time
	for i, name := range h.names {
		h.columns[i].name = name
		c, says := tableColumn{column: columnNamed([]byte(name))}, ""
		var cell []byte
		if i < len(first) {
			cell = first[i]
		}
		switch {
		case c.what == other:
			c, says = foreignColumn(name, cell)
		case c.what == timeQ && looksLikeClock(cell):
			c, says = tableColumn{column: column{what: timeQ}, clock: true}, fmt.Sprintf("%q as time of day", name)
		}
		c.name = name
		if c.what == timeQ {
			// A stop watch beside a clock: the stop watch, which is finer.
			if finest >= 0 && c.clock {
				continue
			}
			if finest >= 0 && h.columns[finest].clock {
				h.columns[finest], said[finest] = tableColumn{column: column{name: h.names[finest]}}, ""
			}
			finest = i
		}
		h.columns[i], said[i] = c, says
	}
	for _, says := range said {
		if says != "" {
			h.how = append(h.how, says)
		}
	}
}

// makesTrace says whether the columns are enough: time and a quantity, or lift and
// angle, which is a table off a degree wheel.
func (h *header) makesTrace() bool {
	n := h.count()
	switch {
	case n[timeQ] > 0 && n[liftQ]+n[angleQ]+n[sweepQ] > 0:
		return true
	case n[liftQ] > 0 && n[angleQ] > 0 && n[sweepQ] == 0:
		h.how = append(h.how, fmt.Sprintf("no times: as if turned at %d degrees a second", wheelRate))
		return true
	}
	return false
}

func (h *header) count() (n [numberQ + 1]int) {
	for _, c := range h.columns {
		n[c.what]++
	}
	return n
}

// fits says whether the first row has the header's columns.
func (h *header) fits(first []byte) bool {
	if len(first) == 0 {
		return true // a table of a header alone: there are no readings in it
	}
	n := len(cellsOf(nil, first, h.sep))
	switch {
	case n == len(h.names), n == len(h.names)+1 && h.sep != ' ' && first[len(first)-1] == h.sep:
		return true
	case h.sep == ',' && n == 2*len(h.names) && bytes.IndexByte(first, '"') < 0:
		h.paired = true
		h.how = append(h.how, "commas between columns and in numbers")
		return true
	}
	return false
}

// cellsOf cuts a line into cells, without their quotes and the blanks around them.
func cellsOf(dst [][]byte, line []byte, sep byte) [][]byte {
	if sep == ' ' {
		return append(dst, bytes.Fields(line)...)
	}
	for {
		i, quoted := 0, false
		for ; i < len(line) && (quoted || line[i] != sep); i++ {
			if line[i] == '"' {
				quoted = !quoted
			}
		}
		cell := bytes.Trim(line[:i], " \t")
		if n := len(cell); n >= 2 && cell[0] == '"' && cell[n-1] == '"' {
			cell = cell[1 : n-1]
		}
		dst = append(dst, cell)
		if i == len(line) {
			return dst
		}
		line = line[i+1:]
	}
}

// tableLine reads one row of a table.
func (r *Reader) tableLine(line []byte) error {
	t := r.table
	if passedOver(line) {
		return nil
	}
	if bytes.IndexByte(line, '"') >= 0 {
		var err error
		if line, err = r.wholeQuotes(line); err != nil {
			return err
		}
	}
	cells := cellsOf(r.csv.cells[:0], line, t.sep)
	r.csv.cells = cells
	if n := len(cells); n == len(t.columns)+1 && len(cells[n-1]) == 0 {
		cells = cells[:n-1]
	}
	if t.paired {
		if len(cells) != 2*len(t.columns) {
			return r.fault(r.lines.n, "the row has %d parts between commas, where a number and its decimals each need one: %d; write decimals with a point, or put semicolons between the columns", len(cells), 2*len(t.columns))
		}
		for i := range t.columns {
			cells[i] = bytes.Join(cells[2*i:2*i+2], []byte("."))
		}
		cells = cells[:len(t.columns)]
	}
	if len(cells) != len(t.columns) {
		return r.ragged(len(cells))
	}
	var x measure.Reading
	timed := !t.timed
	for i, c := range t.columns {
		if err := r.tableCell(&x, &timed, c, cells[i]); err != nil {
			return err
		}
	}
	if x.Has == 0 && !timed {
		return nil // a row of other columns only
	}
	if !timed {
		return r.fault(r.lines.n, "the row has no time; every reading needs one")
	}
	if x.Has&measure.HasAngle != 0 {
		x.Angle = t.countOn(x.Angle)
	}
	if !t.timed {
		if err := r.timeOfRow(&x); err != nil {
			return err
		}
	}
	return r.add(x, r.csv.numbered)
}

func (r *Reader) tableCell(x *measure.Reading, timed *bool, c tableColumn, text []byte) error {
	if c.what == other || c.what == numberQ || len(text) == 0 {
		return nil
	}
	if c.clock {
		at, err := r.table.clock.read(string(text))
		if err != nil {
			return r.fault(r.lines.n, "%s is %.40q: %s", c.name, text, err)
		}
		x.At, *timed = at, true
		return nil
	}
	if bytes.IndexByte(text, ',') >= 0 {
		if r.table.decimal == '.' || r.table.decimal == 0 && r.table.sep == ',' && thousands(text) {
			return r.fault(r.lines.n, "%s is %.40q, a thousand or a decimal comma? write decimals with a point, or say decimal=comma among the columns", c.name, text)
		}
		text, r.commas = bytes.ReplaceAll(bytes.Clone(text), []byte(","), []byte(".")), true
	}
	v, ok := quick(text, c.unit)
	if !ok {
		var err error
		if v, err = number(text, c.unit); err != nil {
			return r.fault(r.lines.n, "%s", badNumber(c.name, text, err))
		}
	}
	if c.div > 1 {
		v = (v + c.div/2) / c.div
	}
	if c.what == timeQ {
		*timed = true
	}
	set(x, c.what, v)
	return nil
}

// thousands says whether a number's comma could part thousands: 1,234.
func thousands(text []byte) bool {
	text = bytes.TrimLeft(text, "+-")
	before, behind, _ := bytes.Cut(text, []byte(","))
	return len(behind) == 3 && len(before) >= 1 && len(before) <= 3 && before[0] != '0'
}

// timeOfRow gives a row of a table without times one: by its place, or by how far
// the crank was turned since the row before.
func (r *Reader) timeOfRow(x *measure.Reading) error {
	t := r.table
	defer func() { t.rows, t.at, t.angle = t.rows+1, x.At, x.Angle }()
	if t.step > 0 {
		x.At = measure.Stamp(t.rows) * t.step
		return nil
	}
	if x.Has&measure.HasAngle == 0 {
		return r.fault(r.lines.n, "the row has no angle; in a table without times every row needs one")
	}
	if t.rows == 0 {
		return nil
	}
	by := x.Angle - t.angle
	if by < 0 {
		by = -by
	}
	x.At = t.at + max(measure.Stamp(int64(by)/wheelRate), 1)
	return nil
}

// countOn returns the angle of a row so that it goes on from the row before: a wheel
// that shows 350 and then 0 was turned by ten degrees. Angles beyond one turn are
// counted on already, and stay as they are.
func (t *table) countOn(shown measure.Angle) measure.Angle {
	const turn = 360 * measure.Degree
	within := func(a measure.Angle) bool { return a >= -turn/2 && a <= turn }
	by := shown - t.shown
	if t.turned && within(shown) && within(t.shown) {
		if by > turn/2 {
			by, t.wrapped = by-turn, true
		} else if by < -turn/2 {
			by, t.wrapped = by+turn, true
		}
	}
	if !t.turned {
		t.turned, t.counted = true, shown
	} else {
		t.counted += by
	}
	t.shown = shown
	return t.counted
}
