package tracefile

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"

	"lobescribe/device/measure"
)

// A table of another program's is read where its header leaves no doubt:
// semicolons or tabs between columns, then also decimal commas, and names like
// "Time (s)" or "Valve lift [in]". What it was taken for is said in one line,
// [Reader.How]. A name that leaves the unit of a length open is refused.

// foreignName takes a header's cell apart: a word or more, and a unit behind it
// in brackets, after a comma or by itself.
var foreignName = regexp.MustCompile(`^(.*?)[\s_]*[\s_(\[,/]\s*(s|sec|secs|seconds?|ms|milliseconds?|us|µs|μs|mm|millimet(?:er|re)s?|in|inch|inches|"|thou|mils?|um|µm|μm|micrometres?|micrometers?|deg|degrees?|°)\s*[)\]]?$`)

// foreignWords are what other programs call the columns, without a unit.
var foreignWords = map[string]quantity{
	"t": timeQ, "time": timeQ, "elapsed": timeQ, "elapsed time": timeQ, "seconds": timeQ, "sec": timeQ,
	"lift": liftQ, "valve lift": liftQ, "valve": liftQ, "indicator": liftQ, "dial": liftQ, "displacement": liftQ, "travel": liftQ, "position": liftQ, "reading": liftQ,
	"angle": angleQ, "crank": angleQ, "crank angle": angleQ, "crankshaft": angleQ, "degrees": angleQ, "deg": angleQ,
}

var foreignUnits = map[string]struct {
	of   quantity
	unit int64
	says string
}{
	"s": {timeQ, 1_000_000, "seconds"}, "sec": {timeQ, 1_000_000, "seconds"}, "secs": {timeQ, 1_000_000, "seconds"}, "second": {timeQ, 1_000_000, "seconds"}, "seconds": {timeQ, 1_000_000, "seconds"},
	"ms": {timeQ, 1000, "milliseconds"}, "millisecond": {timeQ, 1000, "milliseconds"}, "milliseconds": {timeQ, 1000, "milliseconds"},
	"us": {timeQ, 1, "microseconds"}, "µs": {timeQ, 1, "microseconds"}, "μs": {timeQ, 1, "microseconds"},
	"deg": {angleQ, int64(measure.Degree), "degrees"}, "degree": {angleQ, int64(measure.Degree), "degrees"}, "degrees": {angleQ, int64(measure.Degree), "degrees"}, "°": {angleQ, int64(measure.Degree), "degrees"},
}

// foreignColumn says what a header's cell of another program means, and in
// words what it was taken for; what is other when nobody can tell.
func foreignColumn(name string) (c column, says string) {
	word, unit := strings.TrimSpace(name), ""
	if m := foreignName.FindStringSubmatch(name); m != nil {
		word, unit = strings.TrimSpace(m[1]), m[2]
	}
	word = strings.Join(strings.FieldsFunc(word, func(r rune) bool { return r == ' ' || r == '_' || r == '\t' }), " ")
	what := foreignWords[word]
	switch what {
	case other:
		return column{}, ""
	case liftQ:
		u, err := measure.ParseUnit(unit)
		if unit == "" || err != nil {
			return column{}, "" // a bare length means two different things
		}
		return column{what: liftQ, unit: int64(u.Length())}, fmt.Sprintf("%q as lift in %s", name, u)
	case angleQ:
		if unit == "" || foreignUnits[unit].of == angleQ {
			return column{what: angleQ, unit: int64(measure.Degree)}, fmt.Sprintf("%q as degrees", name)
		}
	case timeQ:
		if unit == "" {
			unit = word // a column called "seconds"; "time" alone may be in anything
		}
		if u := foreignUnits[unit]; u.of == timeQ {
			return column{what: timeQ, unit: u.unit}, fmt.Sprintf("%q as %s", name, u.says)
		}
	}
	return column{}, ""
}

// foreignSeparator finds what parts the columns of a header: a comma unless
// there is none outside of its names.
func foreignSeparator(header []byte) (sep byte, says string) {
	switch {
	case bytes.IndexByte(header, '\t') >= 0:
		return '\t', "tabs between columns"
	case bytes.IndexByte(header, ';') >= 0:
		return ';', "semicolons between columns"
	}
	return ',', ""
}

// foreignLine rereads lines that another character parts, as ours: then a comma
// is a decimal point.
func (r *Reader) foreignLine(sep byte) func([]byte) error {
	return func(line []byte) error {
		if bytes.IndexByte(line, ',') >= 0 {
			r.commas = true
		}
		line = bytes.ReplaceAll(bytes.ReplaceAll(line, []byte(","), []byte(".")), []byte{sep}, []byte(","))
		return r.csvLine(line)
	}
}

// How says in one line how a table of another program was read; empty for a
// trace as it is promised.
func (r *Reader) How() string {
	if len(r.how) == 0 {
		return ""
	}
	how := r.how
	if r.commas {
		how = append(how[:len(how):len(how)], "commas as decimal points")
	}
	return "Read as a table of another program: " + strings.Join(how, ", ") + "."
}

// takeForeign reads the names of another program's columns, for what no column
// of ours gives: an extra column beside ours stays out of the way.
func (r *Reader) takeForeign() {
	var had [numberQ + 1]bool
	for _, c := range r.csv.columns {
		had[c.what] = true
	}
	if had[timeQ] && (had[liftQ] || had[angleQ] || had[sweepQ]) {
		return // as it is promised
	}
	for i, c := range r.csv.columns {
		if c.what != other {
			continue
		}
		if got, says := foreignColumn(c.name); got.what != other && !had[got.what] {
			got.name = c.name
			r.csv.columns[i] = got
			r.how = append(r.how, says)
		}
	}
}
