package sheet

import (
	"slices"
	"strconv"
	"strings"

	"lobescribe/capture/valve"
	"lobescribe/device/measure"
)

// words prints quantities in the unit of the sheet.
type words struct {
	unit measure.Unit
	own  valve.OwnNames
}

func (w words) decimals() int {
	if w.unit == measure.InInches {
		return 4
	}
	return 3
}

// length prints a length without its unit, which the sheet says once.
func (w words) length(l measure.Length) string { return minus(l.Decimal(w.unit, w.decimals())) }

// minus prints the sign that figures have, which is as wide as a plus.
func minus(text string) string { return strings.Replace(text, "-", "−", 1) }

// u prints an uncertainty, rounded up: it must not look better than it is.
func (w words) u(l measure.Length) string {
	last := w.unit.Length()
	for range w.decimals() {
		last /= 10
	}
	return w.length((l + last - 1) / last * last)
}

// with prints a length with its unit.
func (w words) with(l measure.Length) string { return w.length(l) + " " + w.unit.String() }

func (w words) known(l measure.Length) string {
	if l == 0 {
		return none
	}
	return w.length(l)
}

func (w words) maybe(l *measure.Length) string {
	if l == nil {
		return none
	}
	return w.length(*l)
}

func (w words) signed(l measure.Length) string {
	text := w.length(l)
	if l > 0 {
		return "+" + text
	}
	return text
}

func degrees(a measure.Angle) string {
	return minus(strconv.FormatFloat(a.Degrees(), 'f', 1, 64))
}

func degreesU(a, u measure.Angle) string { return degrees(a) + " ± " + degrees(u) }

// valveWords writes a valve's name as it is said: "3 intake", "2 exhaust 1". No
// valve is the whole engine.
func valveWords(name string) string {
	if name == "" {
		return "Whole engine"
	}
	cylinder, rest, kind := name, "", ""
	if i := strings.IndexAny(name, "IE"); i > 0 {
		cylinder, rest = name[:i], name[i+1:]
		kind = map[byte]string{'I': " intake", 'E': " exhaust"}[name[i]]
	}
	if rest != "" {
		rest = " " + rest
	}
	return cylinder + kind + rest
}

// valveWords is what the builder calls a valve with the usual words behind it, "A3 (3
// intake)", or those alone.
func (w words) valveWords(name string) string {
	says := valveWords(name)
	if own := w.own[name]; own != "" && own != says {
		return own + " (" + says + ")"
	}
	return says
}

func (d Data) words() words { return words{d.Units, d.Engine.ValveNames} }

func (d Data) valveWords(name string) string { return d.words().valveWords(name) }

// cylinderWords names the cylinder of a valve.
func cylinderWords(valve string) string {
	if i := strings.IndexAny(valve, "IE"); i > 0 {
		return "Cylinder " + valve[:i]
	}
	return "Cylinder"
}

// once appends a sentence that has not been said yet.
func once(said []string, says string) []string {
	if slices.Contains(said, says) {
		return said
	}
	return append(said, says)
}
