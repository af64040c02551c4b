// Package gum has what standard uncertainties are combined of, by JCGM 100:2008.
package gum

import "math"

// Rectangular returns the standard uncertainty of a value known to lie within
// half of width either way (JCGM 100:2008, 4.3.7 and F.2.2.1).
func Rectangular(width float64) float64 { return width / math.Sqrt(12) }

// Rounded returns the standard uncertainty that rounding to step leaves in the
// mean of many readings with Gaussian noise. Without noise all of them are
// rounded alike, and it is rectangular. Noise dithers it away: the expected
// value of a rounded reading lies off by a Fourier series with the amplitudes
// step/(pi k) exp(-2 (pi k noise/step)^2) (Widrow & Kollar, Quantization Noise,
// from memory), half of whose squares are summed here.
func Rounded(step, noise float64) float64 {
	if step <= 0 {
		return 0
	}
	r := noise / step
	if r > 1 {
		return 0
	}
	if r < 0.02 {
		return Rectangular(step)
	}
	v := 0.0
	for k := 1.0; k <= 40; k++ {
		a := step / (math.Pi * k) * math.Exp(-2*(math.Pi*k*r)*(math.Pi*k*r))
		v += a * a / 2
	}
	return math.Sqrt(v)
}

// Root returns the root of the sum of the squares of uncertainties that have nothing
// to do with each other (5.1.2).
func Root(parts ...float64) float64 {
	v := 0.0
	for _, p := range parts {
		v += p * p
	}
	return math.Sqrt(v)
}
