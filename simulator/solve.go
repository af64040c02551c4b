package simulator

import (
	"math"
	"strconv"

	"lobescribe/device/measure"
)

func radians(deg float64) float64       { return deg * (math.Pi / 180) }
func degrees(rad float64) float64       { return rad * (180 / math.Pi) }
func fromMM(mm float64) measure.Length  { return measure.FromMillimetres(mm) }
func fromDeg(deg float64) measure.Angle { return measure.FromDegrees(deg) }
func fromSec(s float64) measure.Stamp   { return measure.Stamp(math.Round(s * float64(measure.Second))) }
func itoa(n int) string                 { return strconv.Itoa(n) }
func within(lo, hi, v float64) float64  { return min(max(v, lo), hi) }
func orDefault[T comparable](v, def T) T {
	var zero T
	if v == zero {
		return def
	}
	return v
}

// root returns where the monotone f passes zero between lo and hi, to the last
// bit or two, by bisection with regula falsi steps (the Illinois variant).
// Where f is zero at an end, that end is returned.
func root(lo, hi float64, f func(float64) float64) float64 {
	flo, fhi := f(lo), f(hi)
	if flo == 0 {
		return lo
	}
	if fhi == 0 {
		return hi
	}
	for i := range 200 {
		mid := (lo + hi) / 2
		if i%3 != 0 {
			if m := (lo*fhi - hi*flo) / (fhi - flo); m > min(lo, hi) && m < max(lo, hi) {
				mid = m
			}
		}
		if mid == lo || mid == hi || math.Abs(hi-lo) < 1e-13*(1+math.Abs(mid)) {
			return mid
		}
		fm := f(mid)
		if fm == 0 {
			return mid
		}
		if (fm > 0) == (fhi > 0) {
			hi, fhi = mid, fm
		} else {
			lo, flo = mid, fm
		}
	}
	return (lo + hi) / 2
}
