package tidy

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"

	"lobescribe/device/measure"
)

// maxDigits is how many digits a reading may have.
const maxDigits = 18

// ScanUnit reads the name of a unit at the start of b, which is not empty, and how
// long it is.
type ScanUnit func(b []byte) (measure.Unit, int)

// Line returns the line in plain decimals, in dst, and whether anything was to
// tidy.
func Line(dst, line []byte, scan ScanUnit) ([]byte, bool) {
	signs, figures := false, false
	for _, c := range line {
		figures = figures || digit(c)
		signs = signs || c < ' ' && c != '\t' || c > '~' || c == ',' || c == '/' || c|0x20 == 'e'
	}
	if !signs || !figures {
		return line, false
	}
	dst = plainBytes(dst[:0], line)
	dst = withoutThousands(dst, scan)
	dst = replaced(dst, exponent, plainExponent)
	dst = replaced(dst, fraction, plainFraction)
	dst = replaced(dst, arcText, plainArc)
	return dst, !bytes.Equal(dst, line)
}

// plainBytes leaves out what moves or colours a terminal's text, and a checksum
// behind ETX; blanks that do not break become blanks, and none between digits.
func plainBytes(dst, b []byte) []byte {
	for i := 0; i < len(b); i++ {
		c := b[i]
		switch {
		case c == 0x1b && byteOf(b, i+1) == '[':
			i += 2
			for i < len(b) && (b[i] < '@' || b[i] > '~') {
				i++
			}
		case c == 0x03 && i > 0 && i >= len(b)-3:
			return dst
		case wideBlank(b, i) > 0:
			n := wideBlank(b, i)
			if !(i > 0 && digit(b[i-1]) && threeDigits(b[i+n:])) {
				dst = append(dst, ' ')
			}
			i += n - 1
		default:
			dst = append(dst, c)
		}
	}
	return dst
}

// wideBlank is how many bytes at i are a blank that does not break, in UTF-8 or in
// eight bits; 0 if none.
func wideBlank(b []byte, i int) int {
	switch {
	case b[i] == 0xC2 && byteOf(b, i+1) == 0xA0:
		return 2
	case b[i] == 0xE2 && byteOf(b, i+1) == 0x80 && (byteOf(b, i+2) == 0xAF || byteOf(b, i+2) == 0x89):
		return 3
	case b[i] == 0xA0 && (i == 0 || b[i-1] < 0x80):
		return 1
	}
	return 0
}

func byteOf(b []byte, i int) byte {
	if i < len(b) {
		return b[i]
	}
	return 0
}

// threeDigits reports whether b begins with three digits and no fourth.
func threeDigits(b []byte) bool {
	return len(b) >= 3 && digit(b[0]) && digit(b[1]) && digit(b[2]) && !digit(byteOf(b, 3))
}

// withoutThousands takes the commas out of 1,234 where a unit follows of which
// nobody shows thousandths: micrometres and counts. Elsewhere a comma may be the
// decimal one.
func withoutThousands(b []byte, scan ScanUnit) []byte {
	for i := 0; i < len(b); i++ {
		if !digit(b[i]) || i > 0 && (digit(b[i-1]) || b[i-1] == '.' || b[i-1] == ',') {
			continue
		}
		end := i
		for digit(byteOf(b, end)) {
			end++
		}
		groups := 0
		for end-i <= 3+4*groups && byteOf(b, end) == ',' && threeDigits(b[end+1:]) {
			end, groups = end+4, groups+1
		}
		if groups == 0 || !countedUnit(b[end:], scan) {
			continue
		}
		n := copy(b[i:], bytes.ReplaceAll(b[i:end], []byte(","), nil))
		b = append(b[:i+n], b[end:]...)
	}
	return b
}

func countedUnit(b []byte, scan ScanUnit) bool {
	if b = bytes.TrimLeft(b, " \t"); len(b) == 0 {
		return false
	}
	if u, _ := scan(b); u == measure.InMicrometres {
		return true
	}
	n := 0
	for n < len(b) && letter(b[n]) {
		n++
	}
	switch string(bytes.ToLower(b[:n])) {
	case "count", "counts", "tick", "ticks", "step", "steps", "pulse", "pulses", "nm", "micron", "microns":
		return true
	}
	return false
}

// replaced is b with each match of a pattern rewritten; where write returns
// nil, a match stays.
func replaced(b []byte, pattern *regexp.Regexp, write func(b []byte, m []int) []byte) []byte {
	var out []byte
	from := 0
	for _, m := range pattern.FindAllSubmatchIndex(b, -1) {
		if plain := write(b, m); plain != nil {
			out = append(append(out, b[from:m[2]]...), plain...)
			from = m[3]
		}
	}
	if out == nil {
		return b
	}
	return append(out, b[from:]...)
}

// exponent is 1.25E+00: a sign behind the E, or a point before it.
var exponent = regexp.MustCompile(`(?:^|[^0-9A-Za-z.,_])((\d+)(?:[.,](\d+))?[eE]([+-]?\d{1,2}))(?:$|[^0-9.])`)

func plainExponent(b []byte, m []int) []byte {
	whole, power := b[m[4]:m[5]], b[m[8]:m[9]]
	var part []byte
	if m[6] >= 0 {
		part = b[m[6]:m[7]]
	} else if digit(power[0]) {
		return nil
	}
	exp, _ := strconv.Atoi(string(power))
	figures := append(bytes.Clone(whole), part...)
	at := len(whole) + exp // of the point
	if at > maxDigits || len(figures)-min(at, 1) > maxDigits {
		return nil
	}
	for at < 1 {
		figures, at = append([]byte{'0'}, figures...), at+1
	}
	for len(figures) < at {
		figures = append(figures, '0')
	}
	if at == len(figures) {
		return figures
	}
	return fmt.Appendf(nil, "%s.%s", figures[:at], figures[at:])
}

// fraction is 1-25/64", of inches.
var fraction = regexp.MustCompile(`(?:^|[^0-9A-Za-z.,/])((?:(\d{1,2})[ -])?(\d{1,3})/(2|4|8|16|32|64|128))\s?(?:"|''|in\b|inch)`)

func plainFraction(b []byte, m []int) []byte {
	of := func(i int) float64 {
		if m[i] < 0 {
			return 0
		}
		n, _ := strconv.Atoi(string(b[m[i]:m[i+1]]))
		return float64(n)
	}
	return fmt.Appendf(nil, "%.7f", of(4)+of(6)/of(8)) // 1/128 has seven decimals
}

// arcText is 123° 27' 06", with the sign of UTF-8, or of eight bits, which
// Go's patterns see as any byte that is none.
var arcText = regexp.MustCompile(`(?:^|[^0-9.])((\d{1,4})[^ -~]{1,2}\s?(\d{1,2})'\s?(\d{1,2}(?:\.\d{1,4})?)(?:"|''))`)

func plainArc(b []byte, m []int) []byte {
	if !bytes.ContainsAny(b[m[5]:m[6]], "°º") && !bytes.Contains(b[m[5]:m[6]], []byte{0xB0}) && !bytes.Contains(b[m[5]:m[6]], []byte{0xBA}) {
		return nil
	}
	whole, _ := strconv.Atoi(string(b[m[4]:m[5]]))
	minutes, _ := strconv.Atoi(string(b[m[6]:m[7]]))
	seconds, _ := strconv.ParseFloat(string(b[m[8]:m[9]]), 64)
	return fmt.Appendf(nil, "%.6f°", float64(whole)+(float64(minutes)+seconds/60)/60)
}

func letter(c byte) bool { c |= 0x20; return c >= 'a' && c <= 'z' }

func digit(c byte) bool { return c >= '0' && c <= '9' }
