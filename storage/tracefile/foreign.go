package tracefile

import (
	"fmt"
	"regexp"
	"strings"

	"lobescribe/device/measure"
)

// foreignName takes a header's cell apart: a word or more, and a unit behind it
// in brackets, after a comma or by itself.
var foreignName = regexp.MustCompile(`^(.*?)[\s_]*[\s_(\[,/]\s*(s|sec|secs|seconds?|ms|milliseconds?|us|µs|μs|microseconds?|mm|millimet(?:er|re)s?|cm|in|inch|inches|"|thou|mils?|um|µm|μm|micrometres?|micrometers?|deg|degs|degrees?|°|rad|radians?|rev|revs|turns?)\.?\s*[)\]]?$`)

// foreignWords are what other programs call the columns, without a unit.
var foreignWords = map[string]quantity{
	"t": timeQ, "time": timeQ, "elapsed": timeQ, "elapsed time": timeQ, "seconds": timeQ, "sec": timeQ, "milliseconds": timeQ,
	"timestamp": timeQ, "time stamp": timeQ, "datetime": timeQ, "date time": timeQ, "date/time": timeQ, "date and time": timeQ, "clock": timeQ, "time of day": timeQ,
	"lift": liftQ, "valve lift": liftQ, "valve": liftQ, "indicator": liftQ, "dial": liftQ, "displacement": liftQ, "travel": liftQ, "position": liftQ, "reading": liftQ,
	"angle": angleQ, "crank": angleQ, "crank angle": angleQ, "crankshaft": angleQ, "degrees": angleQ, "deg": angleQ, "degree wheel": angleQ, "wheel": angleQ,
}

// foreignUnit is a unit of time or angle; lengths are measure's.
type foreignUnit struct {
	of        quantity
	unit, div int64
	clock     bool
	says      string
}

var foreignUnits = func() map[string]foreignUnit {
	seconds, ms, us := foreignUnit{of: timeQ, unit: 1_000_000, says: "seconds"}, foreignUnit{of: timeQ, unit: 1000, says: "milliseconds"}, foreignUnit{of: timeQ, unit: 1, says: "microseconds"}
	degrees, turns := foreignUnit{of: angleQ, unit: int64(measure.Degree), says: "degrees"}, foreignUnit{of: angleQ, unit: 360 * int64(measure.Degree), says: "turns"}
	// A radian is 57.295779513 degrees, to the thousandth of a microdegree.
	radians := foreignUnit{of: angleQ, unit: 57_295_779_513, div: 1000, says: "radians"}
	units := map[string]foreignUnit{"clock": {of: timeQ, clock: true, says: "time of day"}}
	for _, u := range []struct {
		names string
		unit  foreignUnit
	}{
		{"s sec secs second seconds", seconds}, {"ms millisecond milliseconds", ms}, {"us µs μs microsecond microseconds", us},
		{"deg degs degree degrees °", degrees}, {"rad radian radians", radians}, {"rev revs turn turns", turns},
	} {
		for _, name := range strings.Fields(u.names) {
			units[name] = u.unit
		}
	}
	return units
}()

// foreignColumn says what a header's cell of another program means, by its name and
// the first cell below it, and in words what it was taken for; what is other when
// nobody can tell.
func foreignColumn(name string, cell []byte) (c tableColumn, says string) {
	word, unit := strings.TrimSpace(name), ""
	if m := foreignName.FindStringSubmatch(name); m != nil {
		word, unit = strings.TrimSpace(m[1]), m[2]
	}
	word = strings.Join(strings.FieldsFunc(word, func(r rune) bool { return r == ' ' || r == '_' || r == '\t' }), " ")
	what := foreignWords[word]
	switch what {
	case liftQ:
		u, err := measure.ParseUnit(unit)
		if unit == "" || err != nil {
			return tableColumn{}, "" // a bare length means two different things
		}
		return tableColumn{column: column{what: liftQ, unit: int64(u.Length())}}, fmt.Sprintf("%q as lift in %s", name, u)
	case angleQ:
		if unit == "" {
			unit = "deg"
		}
	case timeQ:
		if looksLikeClock(cell) {
			return tableColumn{column: column{what: timeQ}, clock: true}, fmt.Sprintf("%q as time of day", name)
		}
		if unit == "" {
			unit = word // a column called "seconds"; "time" alone may be in anything
		}
	default:
		return tableColumn{}, ""
	}
	c, err := unitColumn(what, unit)
	if err != nil || c.clock {
		return tableColumn{}, ""
	}
	return c, fmt.Sprintf("%q as %s", name, foreignUnits[unit].says)
}

// unitIn is the unit of a quantity that stands in a column's name, or "".
func unitIn(name string, what quantity) string {
	if m := foreignName.FindStringSubmatch(name); m != nil {
		if _, err := unitColumn(what, m[2]); err == nil {
			return m[2]
		}
	}
	return ""
}

// How says in one line how a table of another program was read, and that readings of
// one time were spread; empty for a trace as it is promised.
func (r *Reader) How() string {
	if len(r.how) == 0 {
		return r.burst.how()
	}
	how := r.how
	if r.commas {
		how = append(how[:len(how):len(how)], "commas as decimal points")
	}
	if r.table != nil && r.table.wrapped {
		how = append(how[:len(how):len(how)], "angles counted on where the wheel begins again")
	}
	says := "Read as a table of another program: " + strings.Join(how, ", ") + "."
	if spread := r.burst.how(); spread != "" {
		says += " " + spread + "."
	}
	return says
}
