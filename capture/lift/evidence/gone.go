package evidence

import "math"

// goneShare is how far from either end, in shares of the lift, a flank is looked
// at for what is missing there.
const goneShare = 0.16

// end is a fit of what is missing at one end of a flank. Away from a nose, or a
// heel, lift goes with the square of the way, or a higher power of it:
// d = c ((x+x0)² - x0²), x from where the flank leaves that end; what is missing is
// c x0². x and d are over the end, ascending; edge is what noise and step hide.
type end struct {
	edge, most         float64
	s2, s3, s4, r1, r2 float64
	n                  int
}

// see takes a reading of the flank.
func (e *end) see(x, d float64) {
	if d < e.edge || d > e.most {
		return
	}
	w := 1 / (d + e.edge)
	e.s2 += w * x * x
	e.s3 += w * x * x * x
	e.s4 += w * x * x * x * x
	e.r1 += w * x * d
	e.r2 += w * x * x * d
	e.n++
}

// gone returns by how much the flank seems to be cut off at that end.
func (e *end) gone() float64 {
	det := e.s2*e.s4 - e.s3*e.s3
	if e.n < 3 || !(det > 0) {
		return math.NaN()
	}
	b, c := (e.r1*e.s4-e.r2*e.s3)/det, (e.r2*e.s2-e.r1*e.s3)/det
	if b <= 0 {
		return 0
	}
	if c <= 0 {
		return e.most
	}
	return min(b*b/(4*c), e.most)
}

// goneOf returns what seems to be missing at the nose and at the foot of the flank
// that is walked from the nose.
func goneOf(x, y []float64, top, way int, height, edge float64) (nose, foot float64) {
	most := goneShare * height
	atNose := end{edge: edge, most: most}
	from := math.NaN()
	for i := top; i >= 0 && i < len(y); i += way {
		d := height - y[i]
		if d > most {
			break
		}
		if d <= edge {
			from = x[i]
			atNose = end{edge: edge, most: most}
			continue
		}
		atNose.see(math.Abs(x[i]-from), d)
	}
	nose = atNose.gone()
	i := top
	for i >= 0 && i < len(y) && y[i] > edge {
		i += way
	}
	if i < 0 || i >= len(y) {
		return nose, math.NaN()
	}
	atFoot := end{edge: edge, most: most}
	from = x[i]
	for i -= way; i != top && y[i] < most; i -= way {
		atFoot.see(math.Abs(x[i]-from), y[i])
	}
	return nose, atFoot.gone()
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
