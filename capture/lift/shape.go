package lift

import "math"

// shape is how an opening looks, in units of the narrowest tenth of the lift on
// the same flank: crank angle with an encoder, else time. Both ends of a flank
// of any real lobe are soft; where the spindle stops or hangs free they are cut
// off, and what is left begins or ends as steep as the flank is.
type shape struct {
	foot, top [2]float64 // from the heel to a tenth, from nine tenths to the nose; opening, closing
	flat      float64    // between the flanks at the nose
	angles    bool
	sparse    bool // a steep tenth of the flanks has hardly a reading
	ok        bool
}

// shape measures the shape of a passage, with the foot of its opening flank in
// the readings before it.
func (e surroundings) shape(before, passage []point, heel, height, scatter float64, angles bool) shape {
	edge := max(3*e.step, 5*scatter, 0.003*height)
	if 12*edge > height {
		return shape{}
	}
	foot := len(before)
	for foot > 0 && before[foot-1].y-heel > edge {
		foot--
	}
	foot = max(foot-1, 0)
	n := len(before) - foot + len(passage)
	x, y := make([]float64, 0, n), make([]float64, 0, n)
	top := 0
	for _, part := range [2][]point{before[foot:], passage} {
		for _, p := range part {
			if angles {
				x = append(x, p.a)
			} else {
				x = append(x, p.t-passage[0].t)
			}
			y = append(y, p.y-heel)
			if y[len(y)-1] > y[top] {
				top = len(y) - 1
			}
		}
	}
	s := shapeOf(x, y, top, height, edge)
	s.angles = angles
	return s
}

func shapeOf(x, y []float64, top int, height, edge float64) shape {
	var s shape
	if top < 4 || top > len(y)-5 {
		return s
	}
	var at [2][11]float64
	levels := [11]float64{0: edge, 10: height - edge}
	for k := 1; k < 10; k++ {
		levels[k] = height * float64(k) / 10
	}
	for k, level := range levels {
		at[0][k] = between(x, y, lastBelow(y, top, -1, level), level)
		at[1][k] = between(x, y, lastBelow(y, top, +1, level)-1, level)
	}
	var fast [2]float64
	for f := range at {
		fast[f] = math.Inf(1)
		for k := 1; k < 9; k++ {
			fast[f] = min(fast[f], math.Abs(at[f][k+1]-at[f][k]))
		}
		if fast[f] <= 0 || math.IsNaN(fast[f]) || math.IsInf(fast[f], 0) {
			return s
		}
		s.foot[f] = math.Abs(at[f][1]-at[f][0]) / fast[f]
		s.top[f] = math.Abs(at[f][10]-at[f][9]) / fast[f]
	}
	s.flat = 2 * math.Abs(at[1][10]-at[0][10]) / (fast[0] + fast[1])
	s.sparse = fast[0]+fast[1] < 1.5*(x[len(x)-1]-x[0])/float64(len(x)-1)
	s.ok = true
	return s
}

// lastBelow returns the index of the first reading below level going from the
// nose one way, with another below it behind: one alone is noise.
func lastBelow(y []float64, top, way int, level float64) int {
	i := top
	for i > 0 && i < len(y)-1 {
		i += way
		next := i + way
		if y[i] < level && (next < 0 || next >= len(y) || y[next] < level) {
			break
		}
	}
	return i
}
