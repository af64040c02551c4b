package tracefile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"lobescribe/device/measure"
)

// csvRow is the header of a CSV and the memory of its slow path.
type csvRow struct {
	columns  []column
	quick    []quickColumn // nil where something else than commas parts them
	numbered bool
	joined   []byte
	cells    [][]byte
}

// readHeader finds the header row and what its columns are.
func (r *Reader) readHeader() error {
	var line []byte
	for {
		var err error
		if line, err = r.lines.next(); err == io.EOF {
			return r.fault(0, "the file is empty; a trace begins with the row t_s,lift_mm")
		} else if err != nil {
			return err
		}
		if !passedOver(line) {
			break
		}
	}
	at := r.lines.n
	if !r.o.Columns.none() {
		return r.readChosen(r.o.Columns, line)
	}
	r.csv.columns = nil
	for _, name := range namesOf(bytes.TrimSpace(line), ',') {
		c := columnNamed([]byte(name))
		c.name = name
		r.csv.columns = append(r.csv.columns, c)
	}
	fault := r.checkHeader(at)
	if fault == nil && r.promised(line) {
		r.quickly()
		return nil
	}
	if read, err := r.readTable(line); read {
		return err
	}
	if fault == nil {
		r.quickly()
		return nil
	}
	fault = r.whyNoTable(line, at)
	var f *Fault
	if errors.As(fault, &f) {
		f.Table = lookAt(r.lines.ahead(line))
	}
	return fault
}

// quickly prepares the quick way through rows of ours.
func (r *Reader) quickly() {
	for _, c := range r.csv.columns {
		r.csv.quick = append(r.csv.quick, quickColumnOf(c))
	}
}

// promised says whether the row below a header of ours is one of ours, too: not a
// row of units, and without commas for a decimal sign.
func (r *Reader) promised(header []byte) bool {
	below := firstRow(r.lines.ahead(header)[1:]).first
	cells := cellsOf(nil, below, ',')
	if len(below) == 0 || len(cells) != 2*len(r.csv.columns) && len(cells) != len(r.csv.columns) {
		return true // what is wrong with it is told where it is read
	}
	for i, cell := range cells {
		if i >= len(r.csv.columns) {
			return false
		}
		if c := r.csv.columns[i]; c.what != other && c.what != numberQ && len(cell) > 0 {
			if _, err := number(cell, 1); err != nil && !errors.Is(err, measure.ErrOutOfRange) && (isNumber(cell) || looksLikeClock(cell) || unitIn("x ("+nameOf(cell)+")", c.what) != "") {
				return false
			}
		}
	}
	return true
}

func (r *Reader) checkHeader(line int) error {
	var found [numberQ + 1]string
	for _, c := range r.csv.columns {
		if c.what == other {
			continue
		}
		if had := found[c.what]; had != "" {
			return r.fault(line, "there are two columns for the same: %s and %s; keep one of them", had, c.name)
		}
		found[c.what] = c.name
	}
	r.csv.numbered = found[numberQ] != ""
	switch {
	case found[timeQ] != "" && (found[liftQ] != "" || found[angleQ] != "" || found[sweepQ] != ""):
		return nil
	case r.numbersOnly():
		return r.fault(line, "the header row is missing; the first row must name the columns, as in t_s,lift_mm")
	case found[timeQ] == "":
		return r.fault(line, "there is no column t_s (time in seconds)%s", r.nearest("t", "time", "sec", "stamp", "ms"))
	}
	return r.fault(line, "there is neither a column lift_mm (millimetres; lift_in and lift_thou are taken too) nor angle_deg nor sweep_mm%s", r.nearest("lift", "travel", "indicator", "position", "mm", "inch", "deg", "angle"))
}

// numbersOnly says whether the would-be header is a row of data.
func (r *Reader) numbersOnly() bool {
	for _, c := range r.csv.columns {
		if _, err := number([]byte(c.name), 1); err != nil && c.name != "" {
			return false
		}
	}
	return true
}

// nearest names the column that was probably meant.
func (r *Reader) nearest(hints ...string) string {
	for _, hint := range hints {
		for _, c := range r.csv.columns {
			if c.what == other && (strings.Contains(c.name, hint) && len(hint) > 1 || c.name == hint) {
				return fmt.Sprintf("; %q looks like it: give it that name, in that unit", c.name)
			}
		}
	}
	names := make([]string, 0, len(r.csv.columns))
	for _, c := range r.csv.columns {
		names = append(names, c.name)
	}
	all := strings.ToValidUTF8(strings.Join(names, ","), "?")
	if len(all) > 60 {
		all = all[:60] + "..."
	}
	if r.parquet != nil {
		return fmt.Sprintf("; its columns are %q", all)
	}
	return fmt.Sprintf("; the first row is %q", all)
}

// csvLine reads one row. Empty rows and rows that begin with # are passed over.
func (r *Reader) csvLine(line []byte) error {
	if len(line) == 0 || line[0] == '#' || line[0] <= ',' && len(bytes.Trim(line, ", \t")) == 0 {
		return nil
	}
	if bytes.IndexByte(line, '"') >= 0 {
		return r.quotedLine(line)
	}
	var x measure.Reading
	timed := false
	for i := range r.csv.columns {
		text := line
		comma := bytes.IndexByte(line, ',')
		last := i == len(r.csv.columns)-1
		if last != (comma < 0) {
			return r.ragged(i + 1 + bytes.Count(line, []byte(",")))
		}
		if !last {
			text, line = line[:comma], line[comma+1:]
		}
		if err := r.csvCell(&x, &timed, &r.csv.columns[i], text); err != nil {
			return err
		}
	}
	return r.csvEnd(x, timed)
}

func (r *Reader) ragged(n int) error {
	want := len(r.csv.columns)
	if n == 2*want {
		return r.fault(r.lines.n, "the row has %d cells, the header %d; are decimals written with a comma? write them with a point", n, want)
	}
	return r.fault(r.lines.n, "the row has %d cells, the header %d; a cell that was not measured stands empty between its commas", n, want)
}

func (r *Reader) csvCell(x *measure.Reading, timed *bool, c *column, text []byte) error {
	if c.what == other || c.what == numberQ {
		return nil
	}
	v, ok := quick(text, c.unit)
	if !ok {
		text = bytes.Trim(text, " \t")
		if len(text) == 0 {
			return nil
		}
		var err error
		if v, err = number(text, c.unit); err != nil {
			return r.fault(r.lines.n, "%s", badNumber(c.name, text, err))
		}
	}
	*timed = *timed || c.what == timeQ
	set(x, c.what, v)
	return nil
}

func (r *Reader) csvEnd(x measure.Reading, timed bool) error {
	if !timed {
		return r.fault(r.lines.n, "the row has no time; every reading needs one")
	}
	return r.add(x, r.csv.numbered)
}

// quotedLine reads a row with quotes, in which commas and line ends may stand.
func (r *Reader) quotedLine(line []byte) error {
	buf, err := r.wholeQuotes(line)
	if err != nil {
		return err
	}
	cells := r.csv.cells[:0]
	for rest := buf; ; {
		i, quoted := 0, false
		for ; i < len(rest) && (quoted || rest[i] != ','); i++ {
			if rest[i] == '"' {
				quoted = !quoted
			}
		}
		cells = append(cells, bytes.Trim(rest[:i], " \t"))
		if i == len(rest) {
			break
		}
		rest = rest[i+1:]
	}
	r.csv.cells = cells
	if len(cells) != len(r.csv.columns) {
		return r.ragged(len(cells))
	}
	var x measure.Reading
	timed := false
	for i, text := range cells {
		if n := len(text); n >= 2 && text[0] == '"' && text[n-1] == '"' {
			text = text[1 : n-1]
		}
		if err := r.csvCell(&x, &timed, &r.csv.columns[i], text); err != nil {
			return err
		}
	}
	return r.csvEnd(x, timed)
}

// wholeQuotes joins to a line those behind it, until its quotes are closed.
func (r *Reader) wholeQuotes(line []byte) ([]byte, error) {
	first := r.lines.n
	buf := append(r.csv.joined[:0], line...)
	for bytes.Count(buf, []byte(`"`))%2 == 1 {
		more, err := r.lines.next()
		if err == io.EOF || len(buf) > maxLineBytes {
			return nil, r.fault(first, "a quote is opened and never closed")
		} else if err != nil {
			return nil, err
		}
		buf = append(append(buf, '\n'), more...)
	}
	r.csv.joined = buf
	return buf, nil
}
