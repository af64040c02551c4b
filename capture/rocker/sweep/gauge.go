package sweep

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"lobescribe/device/measure"
)

// The pitch at which a gauge's scale errs: a screw's, a pinion's, a grating's with what
// its electronics make of it (common practice, no source). Within them each octave is
// as likely.
const (
	finePitch, coarsePitch = 0.4, 8.0 // mm
	pitches                = 16
	mostWeighed            = 20_000 // readings that the scale's error is worked out for
)

// step is the step of a gauge's readings: the greatest that divides how far they lie
// apart, and a nanometre where they were not rounded.
func (q Question) step() measure.Length {
	var step measure.Length
	passes := []Pass{q.Turn}
	if q.Reference != nil {
		passes = append(passes, *q.Reference)
	}
	for _, p := range passes {
		for _, s := range p.Sweep {
			for a, b := step, (s - p.Sweep[0]).Abs(); b != 0; {
				a, b = b, a%b
				step = a
			}
		}
	}
	return step
}

// rounding is the variance that a gauge's step adds to each reading of a pass. Readings
// between two steps are all rounded alike: as many are independent of each other as
// steps are passed.
func rounding(list []reading, step float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range list {
		low, high = min(low, r.s), max(high, r.s)
	}
	if step <= 0 {
		return 0
	}
	return step * step / 12 * float64(len(list)) / max(1, (high-low)/step)
}

// scaleError is what a gauge's own scale does to a fit of its readings, a covariance.
//
// The error of a scale hangs on where the gauge stands: e(s) = A sin(2 pi s/p + phase),
// with A^2/2 the square of its standard uncertainty. It does not become less with the
// number of readings, and does nothing that is alike in all of them: where the gauge
// passes the same places on both sides of v0, as it does when the arm is square at half
// lift, v0 does not move; where it hardly moves, as against a side that travels along
// the stem, little of the wave is passed. For a linear fit with weights 1/each,
//
//	cov = N^-1 (sum over readings of J e/each) (the same)^T N^-1
//
// averaged over phase and pitch (JCGM 100:2008, 5.2, of correlated inputs).
func scaleError(n *mat.SymDense, places []float64, row func(i int, dst []float64), each, scale float64) *mat.SymDense {
	var inverse mat.SymDense
	var chol mat.Cholesky
	size := n.SymmetricDim()
	sum := mat.NewSymDense(size, nil)
	if !chol.Factorize(n) || chol.InverseTo(&inverse) != nil {
		return sum
	}
	stride := 1 + len(places)/mostWeighed
	d := make([]float64, size)
	for p := range pitches {
		pitch := finePitch * math.Pow(coarsePitch/finePitch, (float64(p)+0.5)/pitches)
		in, out := mat.NewVecDense(size, nil), mat.NewVecDense(size, nil)
		for i := 0; i < len(places); i += stride {
			row(i, d)
			sin, cos := math.Sincos(2 * math.Pi * places[i] / pitch)
			for j, v := range d {
				in.SetVec(j, in.AtVec(j)+v*cos)
				out.SetVec(j, out.AtVec(j)+v*sin)
			}
		}
		share := scale * scale * float64(stride*stride) / (each * each * pitches)
		sum.SymRankOne(sum, share, in)
		sum.SymRankOne(sum, share, out)
	}
	var left, all mat.Dense
	left.Mul(&inverse, sum)
	all.Mul(&left, &inverse)
	for i := range size {
		for j := i; j < size; j++ {
			sum.SetSym(i, j, (all.At(i, j)+all.At(j, i))/2)
		}
	}
	return sum
}
