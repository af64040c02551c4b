package lift

import (
	"math"
	"slices"
)

// shape is how the two flanks of an opening look, the opening one first. Both
// ends of a flank of any real lobe are soft; where the spindle stops or hangs
// free they are cut off, and what is left begins or ends as steep as the flank
// is.
type shape struct {
	flanks [2]flank
	angles bool // along the crank angle, else along time
	ok     bool
}

// flank holds logarithms, all to the pace of the flank's middle: so many times
// longer than there the signal took for the same lift.
type flank struct {
	foot4, foot6 float64 // from the heel to 4 and 6 hundredths of the max lift
	top96, top98 float64 // from 96 and 98 hundredths to the nose
	flat         float64 // the nose itself, for a tenth of the lift
}

// cut and free are what the tables of evidence ask for.
func (f flank) cut() [3]float64  { return [3]float64{f.top96, f.flat, f.foot6} }
func (f flank) free() [3]float64 { return [3]float64{f.foot4, f.flat, f.top98} }

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

// shapeOf measures heights y over x; within edge of the heel and of the nose
// nothing is seen for noise.
func shapeOf(x, y []float64, top int, height, edge float64) shape {
	if top < 4 || top > len(y)-5 {
		return shape{}
	}
	// How far from the highest reading the flank passes a share of the height.
	passed := func(way int, share float64) float64 {
		level := share * height
		i := lastBelow(y, top, way, level)
		if way > 0 {
			i--
		}
		return math.Abs(between(x, y, i, level) - x[top])
	}
	low := edge / height
	high := 1 - low
	s := shape{ok: true}
	nose := passed(-1, high) + passed(+1, high)
	for k, way := range [2]int{-1, +1} {
		var tenths [8]float64
		at := passed(way, 0.1)
		for i := range tenths {
			next := passed(way, float64(i+2)/10)
			tenths[i], at = at-next, next
		}
		slices.Sort(tenths[:])
		// The quickest may be a throw of the spring.
		pace := 10 * (tenths[1] + tenths[2]) / 2
		if !(pace > 0) || math.IsInf(pace, 0) {
			return shape{}
		}
		slow := func(took, share float64) float64 {
			return math.Log(max(took, 0)/max(share, leastBand)/pace + leastSlow)
		}
		s.flanks[k] = flank{
			foot4: slow(passed(way, low)-passed(way, 0.04), 0.04-low),
			foot6: slow(passed(way, low)-passed(way, 0.06), 0.06-low),
			top96: slow(passed(way, 0.96)-passed(way, high), high-0.96),
			top98: slow(passed(way, 0.98)-passed(way, high), high-0.98),
			flat:  slow(nose, 0.1),
		}
	}
	return s
}

const (
	leastBand = 0.002 // of the lift: in less nothing is seen
	leastSlow = 0.02  // nothing is so much quicker than the flank's middle
)

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
