package guess

import (
	"bytes"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// field is a column of one line, taken to pieces.
type field struct {
	tag    string
	n      lines.Value
	status string
	glued  bool // the status stands right behind the number
	word   bool // there is no number in it
	text   string
	at     measure.Stamp
}

// clockText is a time of day or a date, which is no number.
var clockText = regexp.MustCompile(`\d{1,2}:\d{2}:\d{2}([.,]\d+)?|\d{4}-\d{2}-\d{2}T?|\d{1,2}[/.]\d{1,2}[/.]\d{4}`)

// masked returns text with a letter in place of each byte that is in quotes or
// in a time of day: what stands there is never a number.
func masked(text string) string {
	b := []byte(text)
	// A look for a time of day costs more than all the rest.
	if two := func(c string) bool { return strings.Count(text, c) >= 2 }; two(":") || two("-") || two("/") || two(".") {
		for _, m := range clockText.FindAllIndex(b, -1) {
			cover(b[m[0]:m[1]])
		}
	}
	if hexLike(b) {
		coverHex(b)
	}
	for _, m := range hexMarked.FindAllIndex(b, -1) {
		cover(b[m[0]:m[1]])
	}
	for from := 0; ; {
		i := bytes.IndexByte(b[from:], '"')
		if i < 0 {
			return string(b)
		}
		i += from
		end := bytes.IndexByte(b[i+1:], '"')
		if end < 0 {
			return string(b)
		}
		end += i + 1
		// A mark right behind a digit is one of inches.
		if i > 0 && b[i-1] >= '0' && b[i-1] <= '9' {
			from = i + 1
			continue
		}
		cover(b[i+1 : end])
		from = end + 1
	}
}

// hexText is a number to the base of sixteen with more than one group of
// letters, which is no decimal.
var hexText = regexp.MustCompile(`\b_?[0-9A-Fa-f]{6,}\b`)

// hexMarked is a number to the base of sixteen as C writes it.
var hexMarked = regexp.MustCompile(`\b0[xX][0-9A-Fa-f]+`)

// hexLike reports whether six digits to the base of sixteen stand in a row, with
// a letter among them.
func hexLike(b []byte) bool {
	run, letters := 0, false
	for _, c := range b {
		switch c |= 0x20; {
		case digit(c):
			run++
		case c >= 'a' && c <= 'f':
			run, letters = run+1, true
		default:
			run, letters = 0, false
		}
		if run >= 6 && letters {
			return true
		}
	}
	return false
}

func coverHex(b []byte) {
	for _, m := range hexText.FindAllIndex(b, -1) {
		groups := 0
		for i := m[0]; i < m[1]; i++ {
			if letter(b[i]) && (i == m[0] || !letter(b[i-1])) {
				groups++
			}
		}
		if groups > 1 {
			cover(b[m[0]:m[1]])
		}
	}
}

func cover(b []byte) {
	for i := range b {
		b[i] = 'q'
	}
}

const digits = "0123456789"

// cutFields cuts a line. Where blanks part columns, a word without a digit
// belongs to the number before it if it is a unit or the last, otherwise to
// the number after it.
func cutFields(line, cover string, sep byte) (out []piece) {
	if sep == 0 {
		return []piece{{line, cover}}
	}
	if sep != ' ' {
		for from := 0; ; {
			i := strings.IndexByte(cover[from:], sep)
			if i < 0 {
				return append(out, piece{line[from:], cover[from:]})
			}
			out = append(out, piece{line[from : from+i], cover[from : from+i]})
			from += i + 1
		}
	}
	words, covered := strings.Fields(line), strings.Fields(cover)
	if len(words) != len(covered) { // blanks in quotes
		return []piece{{line, cover}}
	}
	var before piece
	for i, w := range words {
		p := piece{w, covered[i]}
		numeric := strings.ContainsAny(p.cover, digits)
		last := !slices.ContainsFunc(covered[i+1:], func(s string) bool { return strings.ContainsAny(s, digits) })
		switch {
		case numeric, isClockText(p):
			out, before = append(out, before.plus(p, "")), piece{}
		case len(out) > 0 && before.text == "" && (unitLike(w) || last), last && len(out) > 0:
			n := len(out) - 1
			out[n], before = out[n].plus(before.plus(p, ""), " "), piece{}
		default:
			before = before.plus(p, "").plus(piece{}, " ")
		}
	}
	return out
}

// piece is a part of a line, and the same with a letter where no number may
// stand.
type piece struct{ text, cover string }

func (p piece) plus(q piece, between string) piece {
	return piece{p.text + between + q.text, p.cover + between + q.cover}
}

// isClockText reports whether a piece is a time of day or a date.
func isClockText(p piece) bool {
	return strings.Contains(p.cover, "qqqq") && !strings.Contains(p.text, "qqqq") && strings.ContainsAny(p.text, ":-/.") && clockText.MatchString(p.text)
}

// unitLike reports whether a word is a unit of anything.
func unitLike(w string) bool {
	w = strings.ToLower(strings.Trim(w, ",;:()[]"))
	if _, ok := lines.ParseAngleUnit(w); ok {
		return true
	}
	return unitWord(w) != measure.NoUnit || w == "m" || len(w) > 1 && slices.Contains(otherWords, w)
}

// likelyWord reports whether a field without a number is a column of its own: a
// status, the name of the device, a time of day. A unit is none: it belongs to a
// number.
func likelyWord(p piece) bool {
	text := strings.TrimSpace(p.text)
	return len(text) <= 40 && !strings.ContainsAny(p.cover, digits) && unitWord(text) == measure.NoUnit &&
		!strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r > '~' })
}

// unitWord returns the unit that text is the name of.
func unitWord(text string) measure.Unit {
	if text == "" {
		return measure.NoUnit
	}
	u, used := lines.ScanUnit([]byte(text))
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
func takeApart(p piece, comma bool) (x field, ok bool) {
	text := strings.TrimSpace(p.text)
	from := strings.Index(p.text, text)
	cover := p.cover[from : from+len(text)]
	x.text = text
	b := []byte(text)
	start := numberStart(cover)
	if start < 0 {
		return x, false
	}
	if !comma { // a comma parts the tag from the number
		start += len(text[start:]) - len(strings.TrimLeft(text[start:], ","))
	}
	x.tag = strings.TrimSpace(text[:start])
	if !likelyTag(strings.TrimSpace(cover[:start])) || len(x.tag) > 60 {
		return x, false
	}
	var rest []byte
	if x.n, rest, ok = lines.ScanValue(b[start:], comma); !ok {
		return x, false
	}
	x.status = strings.TrimSpace(string(rest))
	if name, is := strings.CutPrefix(x.status, "|"); is && strings.ContainsFunc(name, unicode.IsLetter) {
		return x, false // the name of the next column
	}
	x.glued = len(rest) > 0 && letter(rest[0])
	if strings.ContainsAny(cover[len(cover)-len(strings.TrimLeft(string(rest), " \t")):], digits+",") && partedUnit(x.status) == measure.NoUnit && !knownUnit(x.status) || len(x.status) > 40 {
		return x, false
	}
	return x, true
}

// knownUnit reports whether a status with a digit is a unit all the same: m/s2.
func knownUnit(status string) bool {
	first, _, _ := strings.Cut(status, " ")
	return strings.ContainsAny(first, digits) && !strings.ContainsAny(status[len(first):], digits+",") && unitLike(first)
}

// likelyTag reports whether a text is what stands before a number and not a
// column by itself, which may well stand still while we listen. The digits of a
// tag number a channel: a few, in brackets, before a colon, or glued to a letter
// or two points. Behind the name of an angle or counts they are these.
func likelyTag(tag string) bool {
	for from := 0; from < len(tag); {
		if !digit(tag[from]) {
			from++
			continue
		}
		end := from
		for end < len(tag) && digit(tag[end]) {
			end++
		}
		left, right := byteAt(tag, from-1), byteAt(tag, end)
		points := left == '.' && byteAt(tag, from-2) == '.' || right == '.' && byteAt(tag, end+1) == '.'
		marked := right == ':' || right == ']' || right == ')' || left == '[' || left == '(' || left == '#' || left == '_' || letter(right)
		glued := letter(left) && (!strings.ContainsAny(tag[end:], " \t,;|/") || strings.IndexAny(strings.TrimLeft(tag[end:], " "), ":=") == 0)
		if end-from > 3 || !points && (left == '.' || right == '.') || !points && !marked && !glued {
			return false
		}
		if r := nameTells(tag[:from]).meaning; (r == namesAngle || r == namesCounts) && right != ':' && right != '_' && !letter(right) {
			return false
		}
		from = end
	}
	return true
}

func letter(c byte) bool { c |= 0x20; return c >= 'a' && c <= 'z' }

func digit(c byte) bool { return c >= '0' && c <= '9' }

// byteAt returns the byte at i, or 0 where there is none.
func byteAt(s string, i int) byte {
	if i < 0 || i >= len(s) {
		return 0
	}
	return s[i]
}

// numberStart finds where the last number of text starts, with its sign. The
// digits of a tag are glued to a letter ("CH1", "01A") or end in a colon.
func numberStart(text string) int {
	i := len(text) - 1
	for i >= 0 && !digit(text[i]) {
		i--
	}
	if i >= 0 && knownUnitDigit(text, i) { // the number is before that unit
		i = strings.LastIndexAny(text[:strings.LastIndexByte(text[:i], ' ')+1], digits)
	}
	if i < 0 {
		return -1
	}
	for i >= 0 && (digit(text[i]) || text[i] == '.' || text[i] == ',') {
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

// knownUnitDigit reports whether the digit at i is the power of a unit: m/s2,
// m/s^2.
func knownUnitDigit(text string, i int) bool {
	from := strings.LastIndexByte(text[:i], ' ') + 1
	return from > 0 && strings.ContainsAny(text[from:], "/") && slices.Contains(otherWords, strings.ToLower(strings.TrimRight(text[from:], " ,;")))
}
