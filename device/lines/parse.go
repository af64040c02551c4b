package lines

import (
	"bytes"

	"lobescribe/device/measure"
)

// number is one column as it stood in the line.
type number struct {
	mantissa int64
	decimals int
	unit     measure.Unit // NoUnit if none was printed
	status   *Status      // nil if none was printed
}

// verdict is what became of a line or column.
type verdict uint8

const (
	taken verdict = iota
	notANumber
	misshapen
	badChecksum
)

// parseColumn reads one column: blanks, tag, number, unit, status. rest is
// what stands behind the number and was not taken; where blanks part columns
// that is the next column. scratch is room for a copy of the line where the
// decimal point is a comma, and nil otherwise.
func parseColumn(n *number, c *Column, b []byte, scratch []byte) (rest []byte, v verdict) {
	b = skipBlanks(b)
	if len(c.Tags) > 0 {
		var ok bool
		if b, ok = cutTag(c, b); !ok {
			return nil, notANumber
		}
	}
	var used int
	if scratch != nil {
		n.mantissa, n.decimals, used = scanComma(b, scratch)
	} else {
		n.mantissa, n.decimals, used = scanNumber(b)
	}
	if used <= 0 {
		return nil, notANumber
	}
	b = b[used:]
	if len(b) == 0 {
		return b, taken
	}
	// A sign behind the number.
	if b[0] == '-' || b[0] == '+' {
		if b[0] == '-' {
			n.mantissa = -n.mantissa
		}
		b = b[1:]
	}
	if c.UnitRule != UnitNever {
		if after := skipBlanks(b); len(after) > 0 {
			if u, used := scanUnit(after); u != measure.NoUnit {
				n.unit, b = u, after[used:]
			}
		}
	}
	return b, taken
}

// maxDigits is how many digits a reading may have. More would not fit, and no
// instrument prints them, not even as zeros.
const maxDigits = 18

// scanNumber is [measure.ScanDecimal] with its error as used <= 0, and a fast
// way for what nearly every line is: few digits with one point.
func scanNumber(b []byte) (mantissa int64, decimals, used int) {
	i, negative := 0, false
	if len(b) > 0 && (b[0] == '+' || b[0] == '-') {
		negative = b[0] == '-'
		i = 1
	}
	point, digits := -1, 0
	for ; i < len(b); i++ {
		ch := b[i]
		if d := ch - '0'; d <= 9 {
			mantissa = mantissa*10 + int64(d)
			digits++
			continue
		}
		if ch != '.' || point >= 0 {
			break
		}
		point = i
	}
	switch {
	case digits > maxDigits:
		return 0, 0, 0
	case digits == 0: // perhaps blanks behind the sign
		m, d, n, err := measure.ScanDecimal(b)
		if err != nil || n > maxDigits+len("- .") {
			return 0, 0, 0
		}
		return m, d, n
	}
	if point >= 0 {
		decimals = i - point - 1
	}
	if negative {
		mantissa = -mantissa
	}
	return mantissa, decimals, i
}

// scanComma reads a number with a decimal comma. scratch holds the copy in
// which the comma is a point.
func scanComma(b, scratch []byte) (mantissa int64, decimals, used int) {
	n := copy(scratch, b)
	scratch = scratch[:n]
	if i := bytes.IndexByte(scratch, '.'); i >= 0 {
		scratch = scratch[:i] // "1.234,5" is not ours to guess at
	}
	if i := bytes.IndexByte(scratch, ','); i >= 0 {
		scratch[i] = '.'
	}
	return scanNumber(scratch)
}

func skipBlanks(b []byte) []byte {
	for len(b) > 0 && (b[0] == ' ' || b[0] == '\t') {
		b = b[1:]
	}
	return b
}

// cutTag takes the longest tag of c off b.
func cutTag(c *Column, b []byte) ([]byte, bool) {
	longest := 0
	for _, t := range c.Tags {
		if len(t) > longest && len(t) <= len(b) && string(b[:len(t)]) == t {
			longest = len(t)
		}
	}
	if longest == 0 {
		return b, !c.TagNeeded
	}
	return skipBlanks(b[longest:]), true
}

// scanUnit reads the name of a unit at the start of b, and how long it is. A
// word that merely begins like one ("minute") is none.
func scanUnit(b []byte) (measure.Unit, int) {
	switch b[0] {
	case '"':
		return measure.InInches, 1
	case '\'':
		if len(b) > 1 && b[1] == '\'' {
			return measure.InInches, 2
		}
		return measure.NoUnit, 0
	case 0xB5: // the micro sign of eight-bit character sets
		if len(b) > 1 && b[1]|0x20 == 'm' {
			return measure.InMicrometres, 2
		}
		return measure.NoUnit, 0
	case 0xC2, 0xCE: // the micro sign and the Greek letter in UTF-8
		if len(b) > 2 && (b[1] == 0xB5 || b[1] == 0xBC) && b[2]|0x20 == 'm' {
			return measure.InMicrometres, 3
		}
		return measure.NoUnit, 0
	}
	n := 0
	for n < len(b) && letter(b[n]) {
		n++
	}
	if n < 2 || n > 6 {
		return measure.NoUnit, 0
	}
	var low [6]byte
	for i := range n {
		low[i] = b[i] | 0x20
	}
	switch string(low[:n]) {
	case "mm":
		return measure.InMillimetres, n
	case "in":
		if n < len(b) && b[n] == '.' {
			n++
		}
		return measure.InInches, n
	case "inch", "inches":
		return measure.InInches, n
	case "thou", "mil", "mils":
		return measure.InThou, n
	case "um":
		return measure.InMicrometres, n
	case "cm":
		return measure.InCentimetres, n
	}
	return measure.NoUnit, 0
}

func letter(c byte) bool { c |= 0x20; return c >= 'a' && c <= 'z' }

// statusOf finds what stands behind a number among the words of the column.
func statusOf(c *Column, b []byte) (*Status, bool) {
	for i := range c.Status {
		s := &c.Status[i]
		if len(s.Text) == len(b) && string(b) == s.Text {
			return s, true
		}
	}
	return nil, false
}

// equalFold compares ASCII without regard to case.
func equalFold(b []byte, s string) bool {
	if len(b) != len(s) {
		return false
	}
	for i := range b {
		x, y := b[i], s[i]
		if x != y && (x|0x20 != y|0x20 || !letter(x)) {
			return false
		}
	}
	return true
}

// xorAfterStar checks "$...*HH" and returns what stands between.
func xorAfterStar(line []byte) ([]byte, verdict) {
	n := len(line)
	if n > 0 && line[0] == '$' {
		line = line[1:]
		n--
	}
	if n < 4 || line[n-3] != '*' {
		return nil, badChecksum
	}
	var sum byte
	for _, c := range line[:n-3] {
		sum ^= c
	}
	hi, ok1 := hexDigit(line[n-2])
	lo, ok2 := hexDigit(line[n-1])
	if !ok1 || !ok2 || hi<<4|lo != sum {
		return nil, badChecksum
	}
	return line[:n-3], taken
}

// sixteenDigits makes a decimal with its unit of fourteen digits behind STX (which
// with STX and CR are sixteen), in scratch.
func sixteenDigits(line, scratch []byte) ([]byte, verdict) {
	if len(line) != 14 || line[0] != '4' {
		return nil, notANumber
	}
	for _, c := range line {
		if c < '0' || c > '9' {
			return nil, notANumber
		}
	}
	unit := ""
	switch string(line[2:4]) {
	case "94":
		unit = " mm"
	case "96":
		unit = " in"
	}
	point := int(line[5] - '0')
	if unit == "" || line[4] > '1' || point > 7 {
		return nil, misshapen
	}
	out := scratch
	if line[4] == '1' {
		out = append(out, '-')
	}
	whole := line[6 : 14-point]
	for len(whole) > 1 && whole[0] == '0' {
		whole = whole[1:]
	}
	out = append(out, whole...)
	if point > 0 {
		out = append(append(out, '.'), line[14-point:]...)
	}
	return append(out, unit...), taken
}

func hexDigit(c byte) (byte, bool) {
	switch {
	case c >= '0' && c <= '9':
		return c - '0', true
	case c|0x20 >= 'a' && c|0x20 <= 'f':
		return c | 0x20 - 'a' + 10, true
	}
	return 0, false
}
