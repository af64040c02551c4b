package lines

import (
	"slices"
	"strings"

	"lobescribe/device/measure"
)

// field is a column of one line, taken to pieces.
type field struct {
	tag    string
	n      number
	status string
	glued  bool // the status stands right behind the number
	word   bool // there is no number in it
	text   string
	at     measure.Stamp
}

// cutFields cuts a line. Where blanks part columns, a word without a digit
// belongs to the number before it if it is a unit or the last, otherwise to
// the number after it.
func cutFields(line string, sep byte) []string {
	if sep == 0 {
		return []string{line}
	}
	if sep != ' ' {
		return strings.Split(line, string(sep))
	}
	var out []string
	before := ""
	words := strings.Fields(line)
	for i, w := range words {
		numeric := strings.ContainsAny(w, "0123456789")
		u, _ := scanUnit([]byte(w))
		switch last := !slices.ContainsFunc(words[i+1:], func(s string) bool { return strings.ContainsAny(s, "0123456789") }); {
		case numeric:
			out, before = append(out, before+w), ""
		case len(out) > 0 && (u != measure.NoUnit || degreeWord(w) || last):
			out[len(out)-1] += " " + w
		default:
			before += w + " "
		}
	}
	return out
}

func degreeWord(w string) bool {
	return slices.Contains([]string{"deg", "°", "\xb0", "degrees"}, strings.ToLower(w))
}

// likelyWord reports whether a field without a number is a column of its own: a
// status, or the name of the device. A unit is none: it belongs to a number.
func likelyWord(text string) bool {
	return len(text) <= 24 && !strings.ContainsAny(text, "0123456789") && unitWord(text) == measure.NoUnit &&
		!strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r > '~' })
}

// unitWord returns the unit that text is the name of.
func unitWord(text string) measure.Unit {
	if text == "" {
		return measure.NoUnit
	}
	u, used := scanUnit([]byte(text))
	if used != len(text) {
		return measure.NoUnit
	}
	return u
}

// partedUnit returns the unit in a status that is a unit behind a comma or so:
// ",mm".
func partedUnit(status string) measure.Unit {
	if word := strings.TrimLeft(status, ",; "); word != status {
		return unitWord(word)
	}
	return measure.NoUnit
}

// takeApart finds the number of a field: what stands before it is a tag; what
// stands behind is a unit and a status without digits of its own.
func takeApart(text string, comma bool) (x field, ok bool) {
	text = strings.TrimSpace(text)
	x.text = text
	b := []byte(text)
	start := numberStart(text)
	if start < 0 {
		return x, false
	}
	if !comma { // a comma parts the tag from the number
		start += len(text[start:]) - len(strings.TrimLeft(text[start:], ","))
	}
	x.tag = strings.TrimSpace(text[:start])
	if !likelyTag(x.tag) {
		return x, false
	}
	c := Column{Role: Lift}
	var scratch []byte
	if comma {
		scratch = make([]byte, len(b))
	}
	rest, v := parseColumn(&x.n, &c, b[start:], scratch)
	if v != taken {
		return x, false
	}
	x.status = strings.TrimSpace(string(rest))
	x.glued = len(rest) > 0 && letter(rest[0])
	if strings.ContainsAny(x.status, "0123456789,") && partedUnit(x.status) == measure.NoUnit || len(x.status) > 24 {
		return x, false
	}
	return x, true
}

// likelyTag reports whether a text is what stands before a number and not a
// column by itself, which may well stand still while we listen. The digits of
// a tag number a channel: a few, and glued to a letter. Behind the name of an
// angle or counts they are these.
func likelyTag(tag string) bool {
	first := strings.IndexAny(tag, "0123456789")
	if first < 0 {
		return true
	}
	if r, _ := roleNamed(tag[:first]); r == Angle || r == Counts {
		return false
	}
	last := strings.LastIndexAny(tag, "0123456789")
	digits := tag[first : last+1]
	return len(digits) <= 3 && strings.Trim(digits, "0123456789") == "" && !strings.ContainsAny(tag, " \t.,;|/") &&
		strings.ContainsFunc(tag, func(r rune) bool { return r < 128 && letter(byte(r)) })
}

// numberStart finds where the last number of text starts, with its sign. The
// digits of a tag are glued to a letter ("CH1", "01A") or end in a colon.
func numberStart(text string) int {
	i := len(text) - 1
	for i >= 0 && !(text[i] >= '0' && text[i] <= '9') {
		i--
	}
	if i < 0 {
		return -1
	}
	for i >= 0 && (text[i] >= '0' && text[i] <= '9' || text[i] == '.' || text[i] == ',') {
		i--
	}
	j := i
	for j >= 0 && text[j] == ' ' {
		j--
	}
	if j >= 0 && (text[j] == '+' || text[j] == '-') {
		return j
	}
	return i + 1
}
