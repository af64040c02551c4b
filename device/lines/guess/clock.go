package guess

import (
	"math"
	"slices"
)

// ticks: it grows evenly with the time, by 1, 1000 or 1000000 a second, or by
// one a line.
func ticks(fields []field) bool { return isClock(fields) || isIndex(fields) }

// isIndex: the same step each line, whole, with few lines missing.
func isIndex(fields []field) bool {
	if len(fields) < Enough/2 {
		return false
	}
	ones := 0
	for i := 1; i < len(fields); i++ {
		if fields[i].n.Decimals > 0 {
			return false
		}
		if fields[i].n.Mantissa-fields[i-1].n.Mantissa == 1 {
			ones++
		}
	}
	return ones*20 >= (len(fields)-1)*17
}

// isClock: it grows by 1, 1000 or 1000000 a second of the time in which the
// lines came, and keeps that pace, which a hand does not.
func isClock(fields []field) bool {
	if len(fields) < Enough/2 {
		return false
	}
	v, at := smoothed(fields)
	n := len(v) - 1
	if n < 1 {
		return false
	}
	back := 0
	for i := range n {
		if v[i+1] < v[i] || v[i+1] == v[i] && fields[i].n.Decimals > 0 {
			back++
		}
	}
	if back*12 > n || v[n] <= v[0] {
		return false
	}
	span := (at[n] - at[0]).Seconds()
	if span <= 0 { // the times are not known
		return fields[0].n.Decimals == 0 && grows(fields)
	}
	pace := (v[n] - v[0]) / span
	if !slices.ContainsFunc([]float64{1, 1e3, 1e6}, func(tick float64) bool { return math.Abs(pace-tick) <= tick/10 }) {
		return false
	}
	if grows(fields) {
		return true
	}
	off := 0
	for i, x := range v {
		if math.Abs(x-v[0]-pace*(at[i]-at[0]).Seconds()) > (v[n]-v[0])/20+2/math.Pow10(fields[0].n.Decimals) {
			off++
		}
	}
	return off*12 <= n
}

// grows: always, and by about the same.
func grows(fields []field) bool {
	if len(fields) < Enough/2 {
		return false
	}
	first := fields[0]
	least, most := int64(1)<<62, int64(0)
	for i := 1; i < len(fields); i++ {
		if fields[i].n.Decimals != first.n.Decimals {
			return false
		}
		d := fields[i].n.Mantissa - fields[i-1].n.Mantissa
		least, most = min(least, d), max(most, d)
	}
	return least > 0 && most-least <= least/5+2
}
