package smooth

import "math"

// Row says how one result was made: the sum of Weights[k] times the value
// number First+k.
type Row struct {
	First   int
	Weights []float64
}

// Of returns the weighted sum of ys.
func (r Row) Of(ys []float64) float64 {
	sum := 0.0
	for k, w := range r.Weights {
		sum += w * ys[r.First+k]
	}
	return sum
}

// Noise returns the standard uncertainty of the weighted sum of independent
// values that have the standard uncertainties us.
func (r Row) Noise(us []float64) float64 {
	sum := 0.0
	for k, w := range r.Weights {
		v := w * us[r.First+k]
		sum += v * v
	}
	return math.Sqrt(sum)
}

// Through returns the row that makes the same result as r straight from the
// values of which rows made the values that r takes. A nil rows means that r
// takes the values themselves.
func (r Row) Through(rows []Row) Row {
	if rows == nil {
		return r
	}
	first, end := math.MaxInt, 0
	for k := range r.Weights {
		in := rows[r.First+k]
		if len(in.Weights) == 0 {
			continue
		}
		first, end = min(first, in.First), max(end, in.First+len(in.Weights))
	}
	if first >= end {
		return Row{}
	}
	out := Row{First: first, Weights: make([]float64, end-first)}
	for k, w := range r.Weights {
		in := rows[r.First+k]
		for j, v := range in.Weights {
			out.Weights[in.First-first+j] += w * v
		}
	}
	return out
}
