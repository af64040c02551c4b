package photo

import (
	"errors"
	"math"

	"lobescribe/capture/rocker"
)

// The figures that are worked out, by their place in a row.
const (
	figRaise = iota
	figSquareAt
	figHalf
	figArm
	figAdjuster
	figRatio
	figBend
	figBall
	figBelow
	figures // how many; the angle of each photograph follows
)

// weights are how well each angle and each arm is known, one standard deviation.
// They are worked out once: an answer's ± is then what the answer moves by.
type weights struct{ theta, scale []float64 }

var errNoFit = errors.New("no arm turns as the photographs show: check lift_mm, the lifts at which they were taken (at_lift_mm), and their marks")

// fit works all figures out of a world. residuals are measured angle less fitted,
// radians.
func (w *world) fit(by weights) (row, residuals []float64, err error) {
	views := make([]seen, len(w.shots))
	for i, s := range w.shots {
		if views[i], err = w.look(s); err != nil {
			return nil, nil, err
		}
	}
	// Gauss-Newton for v0 and a, with the arm as told and the arms by scale as
	// further observations.
	a := w.arm
	v0 := w.shots[0].lift - a*math.Sin(views[0].theta)
	for range 50 {
		var n11, n12, n22, g1, g2 float64
		add := func(d1, d2, off, sd float64) {
			k := 1 / (sd * sd)
			n11, n12, n22 = n11+k*d1*d1, n12+k*d1*d2, n22+k*d2*d2
			g1, g2 = g1+k*d1*off, g2+k*d2*off
		}
		for i, v := range views {
			sine := (w.shots[i].lift - v0) / a
			if !(math.Abs(sine) < 0.98) {
				return nil, nil, errNoFit
			}
			slope := 1 / (a * math.Sqrt(1-sine*sine))
			add(-slope, -sine*slope, v.theta-math.Asin(sine), by.theta[i])
			if v.arm > 0 {
				add(0, 1, v.arm-a, by.scale[i])
			}
		}
		add(0, 1, w.arm-a, w.armSD)
		det := n11*n22 - n12*n12
		if !(det > 0) {
			return nil, nil, errNoFit
		}
		d1, d2 := (g1*n22-g2*n12)/det, (g2*n11-g1*n12)/det
		v0, a = v0+d1, a+max(-a/2, min(d2, a))
		if math.Abs(d1)+math.Abs(d2) < 1e-10 {
			break
		}
	}
	row = make([]float64, figures+len(views))
	var bend, ratio, balls float64
	for i, v := range views {
		sine := (w.shots[i].lift - v0) / a
		if !(math.Abs(sine) < 0.98) {
			return nil, nil, errNoFit
		}
		residuals = append(residuals, v.theta-math.Asin(sine))
		row[figures+i] = v.theta
		if v.bPx > 0 {
			bend, ratio, balls = bend+v.bend, ratio+v.armPx/v.bPx, balls+1
		}
	}
	gamma := w.bend
	if balls > 0 {
		gamma, ratio = bend/balls, ratio/balls
	}
	half := w.lift / 2
	sine := (half - v0) / a
	if !(math.Abs(sine) < 0.98) {
		return nil, nil, errNoFit
	}
	theta := math.Asin(sine)
	row[figSquareAt], row[figHalf], row[figArm], row[figBend] = v0, theta, a, gamma
	row[figRaise] = rocker.SquareRaise(v0, w.lift, a, gamma+w.rodLean, w.standLean)
	if math.IsNaN(row[figRaise]) {
		return nil, nil, errNoFit
	}
	if balls > 0 {
		b := a / ratio
		row[figRatio], row[figAdjuster] = ratio, b
		row[figBall] = b * math.Sin(gamma)
		row[figBelow] = -a*sine - b*math.Sin(theta+gamma)
	}
	return row, residuals, nil
}

// copied returns a world whose shots can be moved.
func (w *world) copied() *world {
	c := *w
	c.shots = append([]shot(nil), w.shots...)
	return &c
}

// weigh finds how well each photograph's angle and scale are known by themselves.
func (w *world) weigh(inputs []input) (weights, error) {
	by := weights{make([]float64, len(w.shots)), make([]float64, len(w.shots))}
	base := make([]seen, len(w.shots))
	for i, s := range w.shots {
		var err error
		if base[i], err = w.look(s); err != nil {
			return by, err
		}
		by.theta[i] = s.heldU / (w.arm * max(math.Cos(base[i].theta), 0.5))
		by.scale[i] = base[i].arm * scaleDepth / w.distance / 2
	}
	for _, in := range inputs {
		if in.of != ofMarks {
			continue
		}
		m := w.copied()
		in.move(m, 1)
		for i, s := range m.shots {
			v, err := m.look(s)
			if err != nil {
				return by, err
			}
			by.theta[i] = math.Hypot(by.theta[i], v.theta-base[i].theta)
			by.scale[i] = math.Hypot(by.scale[i], v.arm-base[i].arm)
		}
	}
	for i := range by.theta {
		by.theta[i] = max(by.theta[i], 1e-6)
		by.scale[i] = max(by.scale[i], 1e-6)
	}
	return by, nil
}

// spread works out how far each figure moves (one standard deviation) and by
// which causes. First order for every cause; for those that are bent also second
// order and products of two (JCGM 100:2008, note to 5.1.2). A rectangular
// quantity's square has the variance 4/5 of the square of its own.
func (w *world) spread(inputs []input, by weights, base []float64) (sd []float64, causes map[string]float64, err error) {
	at := func(moves ...func(*world)) ([]float64, error) {
		m := w.copied()
		for _, move := range moves {
			move(m)
		}
		row, _, err := m.fit(by)
		return row, err
	}
	variance := make([]float64, len(base))
	causes = map[string]float64{} // variance of the raise
	count := func(of string, j int, v float64) {
		variance[j] += v
		if j == figRaise {
			causes[of] += v
		}
	}
	for i, in := range inputs {
		plus, err := at(func(w *world) { in.move(w, 1) })
		if err != nil {
			return nil, nil, err
		}
		minus, err := at(func(w *world) { in.move(w, -1) })
		if err != nil {
			return nil, nil, err
		}
		for j := range base {
			d := (plus[j] - minus[j]) / 2
			count(in.of, j, d*d)
			if in.bent {
				c := plus[j] + minus[j] - 2*base[j]
				// Its mean moves as well; both together stand in the ±.
				count(in.of, j, (0.8+1)*c*c/4)
			}
		}
		if !in.bent {
			continue
		}
		for _, other := range inputs[i+1:] {
			if !other.bent {
				continue
			}
			var corners [4][]float64
			for k, signs := range [4][2]float64{{1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
				corners[k], err = at(func(w *world) { in.move(w, signs[0]) }, func(w *world) { other.move(w, signs[1]) })
				if err != nil {
					return nil, nil, err
				}
			}
			of := in.of
			if other.of == ofDepth {
				of = ofDepth
			}
			for j := range base {
				d := (corners[0][j] - corners[1][j] - corners[2][j] + corners[3][j]) / 4
				count(of, j, d*d)
			}
		}
	}
	sd = make([]float64, len(base))
	for j := range sd {
		sd[j] = math.Sqrt(variance[j])
	}
	return sd, causes, nil
}
