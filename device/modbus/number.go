package modbus

import (
	"math"
	"strconv"

	"lobescribe/device/measure"
)

// assemble puts the bytes of a number into the order ABCD. Of a 16-bit number
// only the low half counts.
func assemble(data []byte, o Order) uint32 {
	if len(data) == 2 {
		if o == BADC || o == DCBA {
			return uint32(data[1])<<8 | uint32(data[0])
		}
		return uint32(data[0])<<8 | uint32(data[1])
	}
	a, b, c, d := data[0], data[1], data[2], data[3]
	switch o {
	case CDAB:
		a, b, c, d = c, d, a, b
	case BADC:
		a, b, c, d = b, a, d, c
	case DCBA:
		a, b, c, d = d, c, b, a
	}
	return uint32(a)<<24 | uint32(b)<<16 | uint32(c)<<8 | uint32(d)
}

// whole returns a number of a whole type.
func whole(raw uint32, t Type) int64 {
	switch t {
	case Int16:
		return int64(int16(raw))
	case Uint16:
		return int64(uint16(raw))
	case Int32:
		return int64(int32(raw))
	}
	return int64(raw)
}

// times returns raw, of type t, times unit, and false for what is no number or
// one too large. A float32 stands for the shortest decimal that gives it, since
// an instrument made it of a decimal: 414B3333 is 12.7 and not 12.69999980926.
func times(raw uint32, t Type, unit int64) (int64, bool) {
	if t != Float32 {
		n := whole(raw, t)
		if unit > math.MaxInt64>>33 {
			return 0, false
		}
		return n * unit, true
	}
	f := math.Float32frombits(raw)
	if f != f || math.IsInf(float64(f), 0) {
		return 0, false
	}
	var text [64]byte
	s := strconv.AppendFloat(text[:0], float64(f), 'f', -1, 32)
	mantissa, decimals, n, err := measure.ScanDecimal(s)
	if err != nil || n != len(s) {
		return 0, false
	}
	l, err := measure.FromDecimal(mantissa, decimals, measure.Length(unit))
	return int64(l), err == nil
}

// unwound follows counts past the end of their 16 or 32 bits.
type unwound struct {
	last    int64
	total   int64
	started bool
}

// next returns the running number of counts; the way between two of them is
// the shorter one.
func (u *unwound) next(n int64, t Type) int64 {
	if !u.started {
		u.started, u.last, u.total = true, n, n
		return n
	}
	d := n - u.last
	if t.registers() == 1 {
		d = int64(int16(d))
	} else {
		d = int64(int32(d))
	}
	u.last, u.total = n, u.total+d
	return u.total
}
