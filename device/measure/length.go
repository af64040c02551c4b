package measure

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// Length is a distance in whole nanometres.
//
// Both bench units are exact in it (0.0001 in = 2540 nm, 0.001 mm = 1000 nm),
// so going from inch to metric and back loses nothing. Its range is about
// nine million kilometres either way; overflow is an error where a Length is
// parsed and is not checked in sums.
//
// Its JSON form is a number of millimetres, exact to the nanometre; name such
// a field with the ending _mm.
type Length int64

// The lengths a bench speaks in.
const (
	Nanometre  Length = 1
	Micrometre        = 1000 * Nanometre
	Millimetre        = 1000 * Micrometre
	Thou              = 25_400 * Nanometre
	Inch              = 1000 * Thou
)

// Unit names a unit in which lengths are written.
type Unit uint8

// The units a Length can be written in. NoUnit is the zero value and stands
// for "the text must say".
const (
	NoUnit Unit = iota
	InMillimetres
	InInches
	InThou
	InMicrometres
	InCentimetres
	InMetres
)

// Length returns the length of one such unit; zero for NoUnit.
func (u Unit) Length() Length {
	switch u {
	case InMillimetres:
		return Millimetre
	case InInches:
		return Inch
	case InThou:
		return Thou
	case InMicrometres:
		return Micrometre
	case InCentimetres:
		return 10 * Millimetre
	case InMetres:
		return 1000 * Millimetre
	}
	return 0
}

// String returns the unit as it is written behind a number: "mm", "in",
// "thou", "µm", "cm", "m", or "" for NoUnit.
func (u Unit) String() string {
	switch u {
	case InMillimetres:
		return "mm"
	case InInches:
		return "in"
	case InThou:
		return "thou"
	case InMicrometres:
		return "µm"
	case InCentimetres:
		return "cm"
	case InMetres:
		return "m"
	}
	return ""
}

// unitWords lists every accepted spelling, in lower case. The double quote,
// the double prime and two single quotes all stand for the inch in print.
var unitWords = map[string]Unit{
	"mm": InMillimetres, "millimetre": InMillimetres, "millimetres": InMillimetres,
	"millimeter": InMillimetres, "millimeters": InMillimetres,
	"in": InInches, "in.": InInches, "inch": InInches, "inches": InInches,
	`"`: InInches, "″": InInches, "”": InInches, "''": InInches,
	"thou": InThou, "mil": InThou, "mils": InThou,
	"µm": InMicrometres, "μm": InMicrometres, "um": InMicrometres,
	"micron": InMicrometres, "microns": InMicrometres,
	"cm": InCentimetres, "centimetre": InCentimetres, "centimetres": InCentimetres,
	"centimeter": InCentimetres, "centimeters": InCentimetres,
	"m": InMetres, "metre": InMetres, "metres": InMetres, "meter": InMetres, "meters": InMetres,
}

// ParseUnit reads the name of a unit ("mm", "in", "thou", "µm", "cm", "m" and
// their usual other spellings), in any case.
func ParseUnit(text string) (Unit, error) {
	if u, ok := unitWords[strings.ToLower(strings.TrimSpace(text))]; ok {
		return u, nil
	}
	return NoUnit, fmt.Errorf("unit %q is not known: write mm, in, thou, µm, cm or m", text)
}

// ErrOutOfRange is wrapped by the error of a number too large for its type.
var ErrOutOfRange = errors.New("number too large")

// ParseLength reads a number with its unit: "0.420 in", `.420"`, "420 thou",
// "10.668 mm", "-0.0005in", and the fractions of an inch rule: "8 11/16 in",
// "8-11/16 in". A text without a unit is refused, because a bare
// 0.42 means two different lengths on two different benches.
//
// Digits finer than a nanometre are rounded, half away from zero. The error
// names the text and what was expected.
func ParseLength(text string) (Length, error) {
	return ParseLengthIn(text, NoUnit)
}

// ParseLengthIn reads a length like [ParseLength], and takes a bare number to
// be in unit. A unit in the text always wins.
func ParseLengthIn(text string, unit Unit) (Length, error) {
	refuse := func(why string) error {
		return fmt.Errorf(`%q is not a length: %s (expected a number and a unit, as in "0.420 in", "420 thou" or "10.668 mm")`, text, why)
	}
	s := strings.TrimSpace(text)
	if s == "" {
		return 0, refuse("it is empty")
	}
	over, under, rest, why, isFraction := scanFraction(strings.TrimSpace(vulgar.Replace(s)))
	if why != "" {
		return 0, refuse(why)
	}
	mantissa, decimals, n, err := ScanDecimal([]byte(s))
	if err != nil && !isFraction {
		if errors.Is(err, ErrOutOfRange) {
			return 0, fmt.Errorf("%q is not a usable length: %w", text, err)
		}
		return 0, refuse("it does not start with a number")
	}
	if !isFraction {
		rest = s[n:]
	}
	word := strings.TrimSpace(rest)
	if word != "" {
		u, known := unitWords[strings.ToLower(word)]
		if !known {
			return 0, refuse(fmt.Sprintf("%q is not a unit", word))
		}
		unit = u
	}
	if unit == NoUnit {
		return 0, refuse("the unit is missing")
	}
	if isFraction {
		return dividedBy(over*int64(unit.Length()), under), nil
	}
	l, err := FromDecimal(mantissa, decimals, unit.Length())
	if err != nil {
		return 0, fmt.Errorf("%q is not a usable length: %w", text, err)
	}
	return l, nil
}

// errNoNumber is what ScanDecimal says of bytes that do not begin with a
// number; one value, so that the hot path allocates nothing.
var errNoNumber = errors.New("no number here")

// ScanDecimal reads a plain decimal number from the start of b: an optional
// sign (with blanks allowed between it and the digits, as some instruments
// print), digits, and at most one point with digits on either side. The number
// is mantissa / 10^decimals; n is how many bytes it took.
//
// It allocates nothing. Trailing zeros count as decimals, since they tell the
// resolution. The error is [ErrOutOfRange] for more than 18 significant
// digits, otherwise that there is no number.
func ScanDecimal(b []byte) (mantissa int64, decimals, n int, err error) {
	negative := false
	if n < len(b) && (b[n] == '+' || b[n] == '-') {
		negative = b[n] == '-'
		n++
		for n < len(b) && b[n] == ' ' {
			n++
		}
	}
	digits, significant, point := 0, 0, false
	for ; n < len(b); n++ {
		c := b[n]
		if c == '.' && !point {
			// A point must be followed by a digit or preceded by one.
			if digits == 0 && (n+1 >= len(b) || b[n+1] < '0' || b[n+1] > '9') {
				return 0, 0, 0, errNoNumber
			}
			point = true
			continue
		}
		if c < '0' || c > '9' {
			break
		}
		if significant > 0 || c != '0' {
			significant++
		}
		if significant > 18 {
			return 0, 0, 0, ErrOutOfRange
		}
		mantissa = mantissa*10 + int64(c-'0')
		digits++
		if point {
			decimals++
		}
	}
	if digits == 0 {
		return 0, 0, 0, errNoNumber
	}
	if negative {
		mantissa = -mantissa
	}
	return mantissa, decimals, n, nil
}

// FromDecimal returns mantissa / 10^decimals of unit, rounded to the
// nanometre, half away from zero. The error is [ErrOutOfRange].
func FromDecimal(mantissa int64, decimals int, unit Length) (Length, error) {
	q, err := mulPow10(mantissa, decimals, int64(unit))
	return Length(q), err
}

// mulPow10 returns mantissa * unit / 10^decimals by 128-bit arithmetic,
// rounded half away from zero.
func mulPow10(mantissa int64, decimals int, unit int64) (int64, error) {
	negative := mantissa < 0
	m := uint64(mantissa)
	if negative {
		m = -m
	}
	if decimals < 0 {
		return 0, ErrOutOfRange
	}
	if decimals > 36 || m == 0 { // under a nanometre whatever the mantissa
		return 0, nil
	}
	hi, lo := bits.Mul64(m, uint64(unit))
	up := false
	for decimals > 0 {
		step := min(decimals, 18)
		decimals -= step
		d := pow10[step]
		// Beyond 18 decimals this divides twice. Only the last remainder
		// decides the rounding: what an earlier one dropped could at most
		// turn a tie into more than a tie, and a tie goes away from zero
		// anyhow.
		qhi := hi / d
		qlo, rem := bits.Div64(hi%d, lo, d)
		hi, lo = qhi, qlo
		up = rem >= d-rem
	}
	if up {
		var carry uint64
		lo, carry = bits.Add64(lo, 1, 0)
		hi += carry
	}
	if hi != 0 || lo > math.MaxInt64 {
		return 0, ErrOutOfRange
	}
	if negative {
		return -int64(lo), nil
	}
	return int64(lo), nil
}

var pow10 = [19]uint64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10,
	1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18}

// Millimetres returns l as a float, for mathematics and drawing.
func (l Length) Millimetres() float64 { return float64(l) / float64(Millimetre) }

// Inches returns l as a float, for mathematics and drawing.
func (l Length) Inches() float64 { return float64(l) / float64(Inch) }

// FromMillimetres returns the Length nearest to mm. It panics on NaN and
// infinity: such a value is a fault in the mathematics that made it.
func FromMillimetres(mm float64) Length { return fromFloat(mm, Millimetre) }

// FromInches returns the Length nearest to in. It panics like [FromMillimetres].
func FromInches(in float64) Length { return fromFloat(in, Inch) }

func fromFloat(v float64, unit Length) Length {
	nm := math.Round(v * float64(unit))
	if math.IsNaN(nm) || math.Abs(nm) > math.MaxInt64/2 {
		panic(fmt.Sprintf("measure: %v is no length", v))
	}
	return Length(nm)
}

// Abs returns the length without its sign.
func (l Length) Abs() Length {
	if l < 0 {
		return -l
	}
	return l
}

// String prints l in millimetres with no digit missing and none too many:
// "10.668 mm".
func (l Length) String() string { return l.exactMillimetres() + " mm" }

// In prints l in unit with the usual number of decimals of the trade: 4 for
// inches, 3 for millimetres, 1 for thou, 0 for micrometres, 4 for centimetres,
// 6 for metres. "0.4200 in".
func (l Length) In(unit Unit) string {
	decimals := 3
	switch unit {
	case InInches:
		decimals = 4
	case InThou:
		decimals = 1
	case InMicrometres:
		decimals = 0
	case InCentimetres:
		decimals = 4
	case InMetres:
		decimals = 6
	}
	return l.Decimal(unit, decimals) + " " + unit.String()
}

// Decimal prints the number of units in l, without the unit's name, rounded
// half away from zero at the given number of decimals. It is exact integer
// arithmetic: 0.0005 in never prints as 0.0004.
func (l Length) Decimal(unit Unit, decimals int) string {
	per := uint64(unit.Length())
	if per == 0 || decimals < 0 || decimals > 9 {
		panic(fmt.Sprintf("measure: cannot print a length in unit %d with %d decimals", unit, decimals))
	}
	v := uint64(l.Abs())
	hi, lo := bits.Mul64(v, pow10[decimals])
	lo, carry := bits.Add64(lo, per/2, 0)
	q, _ := bits.Div64(hi+carry, lo, per)
	return fixed(q, decimals, l < 0 && q != 0)
}

// fixed prints q / 10^decimals.
func fixed(q uint64, decimals int, negative bool) string {
	digits := strconv.FormatUint(q, 10)
	if pad := decimals + 1 - len(digits); pad > 0 {
		digits = strings.Repeat("0", pad) + digits
	}
	if decimals > 0 {
		cut := len(digits) - decimals
		digits = digits[:cut] + "." + digits[cut:]
	}
	if negative {
		return "-" + digits
	}
	return digits
}

func (l Length) exactMillimetres() string { return trimmed(int64(l), 6) }

// trimmed prints v / 10^decimals exactly, without trailing zeros.
func trimmed(v int64, decimals int) string {
	negative := v < 0
	u := uint64(v)
	if negative {
		u = -u
	}
	s := fixed(u, decimals, negative)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

// MarshalJSON writes l as a number of millimetres, exact to the nanometre.
func (l Length) MarshalJSON() ([]byte, error) { return []byte(l.exactMillimetres()), nil }

// UnmarshalJSON reads a number of millimetres. A number with an exponent is
// taken too, since other programs write them.
func (l *Length) UnmarshalJSON(b []byte) error {
	v, err := fromJSON(b, int64(Millimetre))
	if err != nil {
		return fmt.Errorf("length in mm: %w", err)
	}
	*l = Length(v)
	return nil
}

// fromJSON reads a JSON number of units into whole parts of it, exactly when
// it is a plain decimal.
func fromJSON(b []byte, unit int64) (int64, error) {
	if mantissa, decimals, n, err := ScanDecimal(b); err == nil && n == len(b) {
		return mulPow10(mantissa, decimals, unit)
	}
	f, err := strconv.ParseFloat(string(b), 64)
	if err != nil || math.IsNaN(f) || math.IsInf(f, 0) {
		return 0, fmt.Errorf("%s is not a number", b)
	}
	f = math.Round(f * float64(unit))
	if math.Abs(f) >= math.MaxInt64 {
		return 0, ErrOutOfRange
	}
	return int64(f), nil
}
