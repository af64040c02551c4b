package simulator

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"lobescribe/device/measure"
)

// Format says how an instrument writes a line. It is data: Layout stands as it
// is, with these filled in:
//
//	{lift}   the reading, a decimal number or a whole number of Step
//	{unit}   the unit's word
//	{angle}  the encoder's angle in crank degrees
//	{count}  the encoder's count
//	{index}  "I" on the first line after the encoder's index, otherwise "-"
//	{check}  two hexadecimal digits: the exclusive or of all bytes between the
//	         line's $ and its *, as in NMEA 0183
type Format struct {
	Name   string
	Layout string
	End    string // CR LF

	Sign Sign // MinusOnly
	// Whole is the least number of digits before the point, filled up with
	// zeros, or with blanks before the sign if Blanks; 1.
	Whole  int
	Blanks bool
	// Decimals of {lift}; by default as many as the resolution has.
	Decimals int
	// Step makes {lift} a whole number of this length. WholeCounts makes it a
	// whole number of the indicator's resolution.
	Step        measure.Length
	WholeCounts bool
	BarePoint   bool // .4200 for 0.4200
	Comma       bool // 0,4200 for 0.4200

	Inch, Metric  string // words of {unit}; "in" and "mm"
	AngleDecimals int    // of {angle}; 2
}

// Sign is how a number shows its sign.
type Sign uint8

// The signs.
const (
	MinusOnly    Sign = iota // 1.25, -1.25
	PlusAlways               // +1.25, -1.25
	BlankForPlus             // " 1.25", "-1.25"
	SpacedSign               // "+ 1.25", "- 1.25"
	MinusBehind              // "1.25", "1.25-"
)

// NumberAndUnit returns the plainest format: "-0.4205 in".
func NumberAndUnit() Format { return Format{Name: "number-and-unit", Layout: "{lift} {unit}"} }

// CountOnly returns the plainest format of an encoder: "1234".
func CountOnly() Format { return Format{Name: "count-only", Layout: "{count}"} }

// Formats lists the line formats of indicators.
func Formats() []Format {
	return []Format{
		NumberAndUnit(),
		{Name: "bare-lf", Layout: "{lift}", End: "\n"},
		{Name: "bare-cr", Layout: "{lift}", End: "\r"},
		{Name: "signed-padded", Layout: "{lift}", Sign: PlusAlways, Whole: 3},
		{Name: "unit-close", Layout: "{lift}{unit}", Sign: BlankForPlus, End: "\r"},
		{Name: "spaced-sign", Layout: "{lift} {unit}", Sign: SpacedSign, End: "\n"},
		{Name: "blank-padded", Layout: "{lift} {unit}", Whole: 6, Blanks: true},
		{Name: "tagged", Layout: "01A{lift}", Sign: PlusAlways, Whole: 4, End: "\r"},
		{Name: "named", Layout: "LIFT={lift} {unit}"},
		{Name: "status-behind", Layout: "{lift} {unit} S 0", End: "\r"},
		{Name: "quote-inch", Layout: "{lift}{unit}", Inch: `"`, BarePoint: true},
		{Name: "unit-letter", Layout: "{lift}{unit}", Sign: PlusAlways, Whole: 3, Inch: "I", Metric: "M", End: "\r"},
		{Name: "minus-behind", Layout: "{lift} {unit}", Sign: MinusBehind},
		{Name: "comma", Layout: "{lift} {unit}", Comma: true},
		{Name: "framed", Layout: "\x02{lift} {unit}", End: "\x03"},
		{Name: "checked", Layout: "$LIFT,{lift},{unit}*{check}"},
		{Name: "whole-counts", Layout: "{lift}", WholeCounts: true, End: "\n"},
		{Name: "whole-tenths-of-thou", Layout: "D{lift}", Step: measure.Thou / 10, Sign: PlusAlways, Whole: 6},
	}
}

// EncoderFormats lists the line formats of encoder boards.
func EncoderFormats() []Format {
	return []Format{
		CountOnly(),
		{Name: "count-tagged", Layout: "E{count}", End: "\n"},
		{Name: "count-index", Layout: "{count} {index}", End: "\n"},
		{Name: "degrees", Layout: "{angle}", AngleDecimals: 3},
	}
}

// CombinedFormats lists the line formats of boards that count the encoder and
// read the indicator, and send both at once.
func CombinedFormats() []Format {
	return []Format{
		{Name: "angle-lift", Layout: "{angle} {lift}", End: "\n"},
		{Name: "angle-comma-lift", Layout: "{angle},{lift}"},
		{Name: "count-tab-lift", Layout: "{count}\t{lift} {unit}", End: "\n"},
		{Name: "named-both", Layout: "A:{angle} L:{lift}", End: "\n", AngleDecimals: 3},
	}
}

// FormatNamed returns a built-in format of either kind.
func FormatNamed(name string) (Format, error) {
	var names []string
	for _, list := range [][]Format{Formats(), CombinedFormats(), EncoderFormats()} {
		for _, f := range list {
			if f.Name == name {
				return f, nil
			}
			names = append(names, f.Name)
		}
	}
	return Format{}, fmt.Errorf("no line format is called %q: write one of %s", name, strings.Join(names, ", "))
}

// Combined is true where one line carries both quantities.
func (f Format) Combined() bool {
	return f.has("{lift}") && (f.has("{angle}") || f.has("{count}"))
}

// SaysUnit is true where the line names its unit.
func (f Format) SaysUnit() bool { return f.has("{unit}") }

func (f Format) has(field string) bool { return strings.Contains(f.Layout, field) }

func (f Format) check() error {
	switch {
	case f.Whole < 0 || f.Whole > 15 || f.Decimals < 0 || f.Decimals > 9 || f.AngleDecimals < 0 || f.AngleDecimals > 6:
		return fmt.Errorf("line format %q: %d digits, %d decimals and %d decimals of angle: at most 15, 9 and 6", f.Name, f.Whole, f.Decimals, f.AngleDecimals)
	case f.Step < 0:
		return fmt.Errorf("line format %q: a step of %v", f.Name, f.Step)
	}
	_, err := f.compile()
	return err
}

// field is a part of a layout: text, or one of the names above.
type field struct {
	text string
	name byte // first letter of the name, x for check; 0 for text
}

// lines writes the lines of a format.
type lines struct {
	Format
	fields []field
}

func (f Format) compile() (*lines, error) {
	l := &lines{Format: f}
	l.End = orDefault(f.End, "\r\n")
	l.Inch, l.Metric = orDefault(f.Inch, "in"), orDefault(f.Metric, "mm")
	l.Whole = orDefault(f.Whole, 1)
	l.AngleDecimals = orDefault(f.AngleDecimals, 2)
	rest := f.Layout
	for rest != "" {
		open := strings.IndexByte(rest, '{')
		if open < 0 {
			open = len(rest)
		}
		if open > 0 {
			l.fields = append(l.fields, field{text: rest[:open]})
			rest = rest[open:]
			continue
		}
		name, after, found := strings.Cut(rest[1:], "}")
		switch {
		case !found:
			return nil, fmt.Errorf("line format %q: %q lacks its closing brace", f.Name, rest)
		case name != "lift" && name != "unit" && name != "angle" && name != "count" && name != "index" && name != "check":
			return nil, fmt.Errorf("line format %q: no field is called %q (lift, unit, angle, count, index or check)", f.Name, name)
		}
		if name == "check" {
			name = "x" // c is the count
		}
		l.fields = append(l.fields, field{name: name[0]})
		rest = after
	}
	if len(l.fields) == 0 {
		return nil, fmt.Errorf("line format %q: the layout is empty", f.Name)
	}
	return l, nil
}

// said is what goes into a line.
type said struct {
	lift       measure.Length
	resolution measure.Length
	unit       measure.Unit
	angle      measure.Angle
	count      int64
	index      bool
}

// appendLine adds the line to dst, its end with it.
func (l *lines) appendLine(dst []byte, s said) []byte {
	start := len(dst)
	for _, f := range l.fields {
		switch f.name {
		case 0:
			dst = append(dst, f.text...)
		case 'l':
			dst = l.appendLift(dst, s)
		case 'u':
			dst = append(dst, l.word(s.unit)...)
		case 'a':
			dst = l.appendNumber(dst, scaled(int64(s.angle), l.AngleDecimals, int64(measure.Degree)), l.AngleDecimals, 1)
		case 'c':
			dst = strconv.AppendInt(dst, s.count, 10)
		case 'x':
			dst = fmt.Appendf(dst, "%02X", checkOf(dst[start:]))
		case 'i':
			if s.index {
				dst = append(dst, 'I')
			} else {
				dst = append(dst, '-')
			}
		}
	}
	return append(dst, l.End...)
}

// checkOf returns the exclusive or of what stands between $ and *.
func checkOf(line []byte) (x byte) {
	for _, b := range line[bytes.IndexByte(line, '$')+1:] {
		if b == '*' {
			break
		}
		x ^= b
	}
	return x
}

func (l *lines) word(u measure.Unit) string {
	switch u {
	case measure.InInches:
		return l.Inch
	case measure.InMillimetres:
		return l.Metric
	}
	return u.String()
}

func (l *lines) appendLift(dst []byte, s said) []byte {
	switch {
	case l.WholeCounts:
		return l.appendNumber(dst, scaled(int64(s.lift), 0, int64(s.resolution)), 0, l.Whole)
	case l.Step > 0:
		return l.appendNumber(dst, scaled(int64(s.lift), 0, int64(l.Step)), 0, l.Whole)
	}
	decimals := l.Decimals
	if decimals == 0 {
		decimals = decimalsOf(s.resolution, s.unit)
	}
	return l.appendNumber(dst, scaled(int64(s.lift), decimals, int64(s.unit.Length())), decimals, l.Whole)
}

// decimalsOf returns how many decimals write a resolution exactly, 6 at most.
func decimalsOf(resolution measure.Length, unit measure.Unit) int {
	per, d := int64(unit.Length()), 0
	for r := int64(resolution); r%per != 0 && d < 6; d++ {
		r *= 10
	}
	return d
}

// scaled returns v / unit in whole 10^-decimals, rounded half away from zero.
// Lengths on a bench leave it far from overflow: 1 m to 9 decimals fits.
func scaled(v int64, decimals int, unit int64) int64 {
	for range decimals {
		v *= 10
	}
	if v < 0 {
		return -((-v + unit/2) / unit)
	}
	return (v + unit/2) / unit
}

// appendNumber writes v / 10^decimals with the format's sign and padding.
func (l *lines) appendNumber(dst []byte, v int64, decimals, whole int) []byte {
	sign, behind := "", ""
	switch {
	case v < 0 && l.Sign == MinusBehind:
		v, behind = -v, "-"
	case v < 0 && l.Sign == SpacedSign:
		v, sign = -v, "- "
	case v < 0:
		v, sign = -v, "-"
	case l.Sign == PlusAlways:
		sign = "+"
	case l.Sign == BlankForPlus:
		sign = " "
	case l.Sign == SpacedSign:
		sign = "+ "
	}
	var buf [24]byte
	digits := strconv.AppendInt(buf[:0], v, 10)
	before := len(digits) - decimals // digits before the point, if any
	if l.Blanks {
		dst = appendTimes(dst, ' ', whole-max(before, 1))
	}
	dst = append(dst, sign...)
	if !l.Blanks {
		dst = appendTimes(dst, '0', whole-max(before, 1))
	}
	if before > 0 {
		dst = append(dst, digits[:before]...)
		digits = digits[before:]
	} else if !l.BarePoint || decimals == 0 {
		dst = append(dst, '0')
	}
	if decimals > 0 {
		point := byte('.')
		if l.Comma {
			point = ','
		}
		dst = append(appendTimes(append(dst, point), '0', -before), digits...)
	}
	return append(dst, behind...)
}

// appendTimes adds b so many times, if any.
func appendTimes(dst []byte, b byte, times int) []byte {
	for range times {
		dst = append(dst, b)
	}
	return dst
}
