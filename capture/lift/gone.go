package lift

import "math"

// goneShare is how far from either end, in shares of the lift, a flank is looked
// at for what is missing there.
const goneShare = 0.16

// gone returns by how much a flank seems to be cut off at one end. Away from a
// nose, or a heel, lift goes with the square of the way, or a higher power of it:
// d = c ((x+x0)² - x0²), x from where the flank leaves that end; what is missing is
// c x0². x and d are over the end, ascending; edge is what noise and step hide.
func gone(x, d []float64, edge, most float64) float64 {
	var s2, s3, s4, r1, r2 float64
	n := 0
	for i := range x {
		if d[i] < edge || d[i] > most {
			continue
		}
		w := 1 / (d[i] + edge)
		s2 += w * x[i] * x[i]
		s3 += w * x[i] * x[i] * x[i]
		s4 += w * x[i] * x[i] * x[i] * x[i]
		r1 += w * x[i] * d[i]
		r2 += w * x[i] * x[i] * d[i]
		n++
	}
	det := s2*s4 - s3*s3
	if n < 3 || !(det > 0) {
		return math.NaN()
	}
	b, c := (r1*s4-r2*s3)/det, (r2*s2-r1*s3)/det
	if b <= 0 {
		return 0
	}
	if c <= 0 {
		return most
	}
	return min(b*b/(4*c), most)
}

// goneOf returns what seems to be missing at the nose and at the foot of the flank
// that is walked from the nose.
func goneOf(x, y []float64, top, way int, height, edge float64) (nose, foot float64) {
	var xs, ds []float64
	most := goneShare * height
	from := math.NaN()
	for i := top; i >= 0 && i < len(y); i += way {
		d := height - y[i]
		if d > most {
			break
		}
		if d <= edge {
			from = x[i]
			xs, ds = xs[:0], ds[:0]
			continue
		}
		xs, ds = append(xs, math.Abs(x[i]-from)), append(ds, d)
	}
	nose = gone(xs, ds, edge, most)
	xs, ds = xs[:0], ds[:0]
	i := top
	for i >= 0 && i < len(y) && y[i] > edge {
		i += way
	}
	if i < 0 || i >= len(y) {
		return nose, math.NaN()
	}
	from = x[i]
	for i -= way; i != top && y[i] < most; i -= way {
		xs, ds = append(xs, math.Abs(x[i]-from)), append(ds, y[i])
	}
	return nose, gone(xs, ds, edge, most)
}

// goneMeasure makes of what is missing a measure for the evidence.
func goneMeasure(missing, height float64) float64 {
	if math.IsNaN(missing) {
		missing = leastGone * height
	}
	return math.Log(missing/height + leastGone)
}

// leastGone of the lift is not seen to be missing.
const leastGone = 0.004
