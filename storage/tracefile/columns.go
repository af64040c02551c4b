package tracefile

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"lobescribe/device/measure"
)

// quantity is what a column holds.
type quantity uint8

const (
	other quantity = iota
	timeQ
	liftQ
	angleQ
	sweepQ
	numberQ // the running number of the reading
)

// column says how the text of one column becomes an integer.
type column struct {
	name string
	what quantity
	unit int64 // nanometres, microdegrees or microseconds in one
}

// columns are the names that are read, in both formats.
var columns = []column{
	{"t_s", timeQ, 1_000_000}, {"t_ms", timeQ, 1000}, {"t_us", timeQ, 1},
	{"lift_mm", liftQ, int64(measure.Millimetre)}, {"lift_in", liftQ, int64(measure.Inch)},
	{"lift_thou", liftQ, int64(measure.Thou)}, {"lift_um", liftQ, int64(measure.Micrometre)},
	{"angle_deg", angleQ, int64(measure.Degree)},
	{"sweep_mm", sweepQ, int64(measure.Millimetre)}, {"sweep_in", sweepQ, int64(measure.Inch)},
	{"sweep_thou", sweepQ, int64(measure.Thou)}, {"sweep_um", sweepQ, int64(measure.Micrometre)},
	{"reading", numberQ, 1},
}

func columnNamed(name []byte) column {
	for _, c := range columns {
		if string(name) == c.name {
			return c
		}
	}
	return column{}
}

var pow10 = [19]int64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10,
	1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18}

var errNotANumber = errors.New("is not a number")

// number reads the whole of b as a number of units. A decimal exponent is
// taken, since programs write them.
func number(b []byte, unit int64) (int64, error) {
	if v, ok := quick(b, unit); ok {
		return v, nil
	}
	mantissa, decimals, n, err := measure.ScanDecimal(b)
	if err != nil {
		if errors.Is(err, measure.ErrOutOfRange) {
			return 0, err
		}
		return 0, errNotANumber
	}
	if n < len(b) {
		exponent, ok := tenPower(b[n:])
		if !ok {
			return 0, errNotANumber
		}
		decimals -= exponent
	}
	for ; decimals < 0 && mantissa != 0; decimals++ {
		if mantissa > 1e17 || mantissa < -1e17 {
			return 0, measure.ErrOutOfRange
		}
		mantissa *= 10
	}
	v, err := measure.FromDecimal(mantissa, max(decimals, 0), measure.Length(unit))
	return int64(v), err
}

// quick does the plain case without a division by 128-bit arithmetic: up to 18
// digits of which no more behind the point than the unit has zeros.
func quick(b []byte, unit int64) (int64, bool) {
	var v int64
	i := 0
	if len(b) > 0 && b[0] == '-' {
		i = 1
	}
	if len(b)-i > 18 || len(b) == i {
		return 0, false
	}
	point := len(b)
	for j := i; j < len(b); j++ {
		c := b[j] - '0'
		if c > 9 {
			if b[j] != '.' || point != len(b) || j == i || j == len(b)-1 {
				return 0, false
			}
			point = j
			continue
		}
		v = v*10 + int64(c)
	}
	decimals := max(len(b)-1-point, 0)
	p := pow10[decimals]
	scale := unit / p
	if scale*p != unit || v > (1<<62)/max(scale, 1) {
		return 0, false
	}
	v *= scale
	if i == 1 {
		v = -v
	}
	return v, true
}

// tenPower reads "e-3" and the like.
func tenPower(b []byte) (int, bool) {
	if len(b) < 2 || b[0] != 'e' && b[0] != 'E' {
		return 0, false
	}
	b = b[1:]
	negative := b[0] == '-'
	if negative || b[0] == '+' {
		b = b[1:]
	}
	if len(b) == 0 || len(b) > 4 {
		return 0, false
	}
	v := 0
	for _, c := range b {
		if c < '0' || c > '9' {
			return 0, false
		}
		v = v*10 + int(c-'0')
	}
	if negative {
		v = -v
	}
	return v, true
}

// badNumber says what is wrong with the text of a column and what to do.
func badNumber(name string, text []byte, err error) string {
	shown := strings.ToValidUTF8(string(text), "?")
	if len(shown) > 40 {
		shown = shown[:40] + "..."
	}
	word := strings.ToLower(strings.Trim(shown, `+- "`))
	switch {
	case errors.Is(err, measure.ErrOutOfRange):
		return fmt.Sprintf("%s is %q, too large for any bench; look whether columns or decimal points got lost", name, shown)
	case strings.HasPrefix(word, "nan"), strings.HasPrefix(word, "inf"):
		return fmt.Sprintf("%s is %s; leave the cell empty where nothing was measured", name, shown)
	case bytes.IndexByte(text, ',') >= 0:
		return fmt.Sprintf("%s is %q; write decimals with a point", name, shown)
	}
	return fmt.Sprintf("%s is %q, which is not a number", name, shown)
}
