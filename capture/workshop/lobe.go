package workshop

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/interp"
)

const lobeGrid = 20 // points a crank degree

// lobe is the lift of a valve along the crank, as a table over one cycle with the
// nose at 0.
type lobe struct {
	lift        []float64 // mm, from -360 degrees
	most        float64   // mm
	open, close float64   // degrees: the valve leaves its seat, is home again
	nose        float64   // degrees, where the lift is highest
	law         string
}

// at returns the lift at a crank angle, turned as far as you like.
func (l *lobe) at(deg float64) float64 {
	x := deg + 360
	x = (x - 720*math.Floor(x/720)) * lobeGrid
	i := int(x)
	if i >= len(l.lift)-1 {
		return l.lift[len(l.lift)-1]
	}
	return l.lift[i] + (x-float64(i))*(l.lift[i+1]-l.lift[i])
}

// cross returns the angles where the lift passes a height, on the flank before the
// nose and on the one behind it. From outside in: a second hump is no flank.
func (l *lobe) cross(height float64) (before, behind float64) {
	i := 0
	for l.lift[i+1] < height {
		i++
	}
	k := len(l.lift) - 1
	for l.lift[k-1] < height {
		k--
	}
	part := func(a, b float64) float64 { return (height - a) / (b - a) }
	before = (float64(i)+part(l.lift[i], l.lift[i+1]))/lobeGrid - 360
	behind = (float64(k)-part(l.lift[k], l.lift[k-1]))/lobeGrid - 360
	return before, behind
}

// A flank is a shape from foot (0, 0) to nose (1, 1) that comes to rest at the
// nose with a finite curvature.
type flank func(u float64) float64

// fromSpeed sums a law of speed along a flank into one of lift.
func fromSpeed(speed func(u float64) float64) flank {
	const n = 2000
	y := make([]float64, n+1)
	for i := range n {
		u := (float64(i) + 0.5) / n
		y[i+1] = y[i] + max(speed(u), 0)
	}
	return func(u float64) float64 {
		x := min(max(u, 0), 1) * n
		i := min(int(x), n-1)
		return (y[i] + (x-float64(i))*(y[i+1]-y[i])) / y[n]
	}
}

// multiSine has a speed of three sines.
func multiSine(r *rand.Rand) flank {
	b2, b3 := between(r, -0.35, 0.35), between(r, -0.15, 0.25)
	return fromSpeed(func(u float64) float64 {
		return math.Sin(math.Pi*u) + b2*math.Sin(2*math.Pi*u) + b3*math.Sin(3*math.Pi*u)
	})
}

// powers has a foot as soft as chance wants it.
func powers(r *rand.Rand) flank {
	a := between(r, 1, 3)
	return fromSpeed(func(u float64) float64 { return math.Pow(u, a) * (1 - u) })
}

// raisedCosine is the plain one.
func raisedCosine(*rand.Rand) flank {
	return func(u float64) float64 { return (1 - math.Cos(math.Pi*u)) / 2 }
}

// arcs is a cam of circular arcs under a flat follower: a jump of acceleration
// where flank becomes nose. In the acceleration of the classic three-arc cam (theory
// of machines, any edition) the flank pushes harder than the nose lets go.
func arcs(r *rand.Rand) flank {
	part := between(r, 0.25, 0.45) // of the way under the flank's arc
	return fromSpeed(func(u float64) float64 {
		if u < part {
			return math.Sin(0.9*u/part) / math.Sin(0.9)
		}
		return math.Sin((1-u)/(1-part)*1.2) / math.Sin(1.2)
	})
}

// published makes a flank of one side of a published table, splined.
func published(t table, closing bool) flank {
	x, y := t.side(closing)
	// The nose is round: beyond it the lift falls as it rose.
	x, y = append(x, 2-x[len(x)-2]), append(y, y[len(y)-2])
	var s interp.NaturalCubic
	if err := s.Fit(x, y); err != nil {
		panic(err) // the tables are constants
	}
	return func(u float64) float64 { return max(s.Predict(min(max(u, 0), 1)), 0) }
}

// draw makes a valve's lift: law, flanks of unequal length, ramps, lash, ratio.
func drawLobe(r *rand.Rand) *lobe {
	l := &lobe{lift: make([]float64, 720*lobeGrid+1)}
	var up, down flank
	rise, fall := between(r, 100, 155), 0.0
	fall = rise * between(r, 0.87, 1.18)
	laws := []struct {
		name string
		make func(*rand.Rand) flank
	}{{"multi-sine", multiSine}, {"powers", powers}, {"raised cosine", raisedCosine}, {"arcs", arcs}}
	if k := r.IntN(len(laws) + len(tables)); k < len(laws) {
		l.law, up, down = laws[k].name, laws[k].make(r), laws[k].make(r)
	} else {
		t := tables[k-len(laws)]
		l.law, up, down = t.name, published(t, false), published(t, true)
	}
	flat, dip, humps := 0.0, 0.0, 0.0
	switch r.IntN(6) {
	case 0:
		flat = between(r, 3, 14)
		l.law += ", flat nose"
	case 1:
		humps, dip = between(r, 10, 22), between(r, 0.003, 0.02)
		l.law += ", two humps"
	}
	most := between(r, 5, 16)
	ramps := [2]float64{}
	if r.IntN(2) == 0 {
		ramps = [2]float64{between(r, 0.1, 0.35), between(r, 0.1, 0.35)}
	}
	length := between(r, 12, 30)
	lash := 0.0
	if r.IntN(2) == 0 {
		lash = between(r, 0.05, 0.3)
	}
	curve := between(r, -0.04, 0.04)
	raw := func(deg float64) float64 {
		side, span, shape := 0, rise, up
		if deg > 0 {
			side, span, shape = 1, fall, down
		}
		a := math.Abs(deg)
		y := 0.0
		if a < span {
			y = 1.0
			if a > flat {
				y = shape((span - a) / (span - flat))
			}
		}
		if humps > 0 && a < 2*humps {
			c := math.Cos(math.Pi * a / (4 * humps))
			y *= 1 - dip*math.Pow(c, 4)
		}
		ramp := ramps[side] / most // either flank comes to the same nose
		return y*(1-ramp) + ramp*smooth((span+length-a)/(2*length))
	}
	for i := range l.lift {
		l.lift[i] = raw(float64(i)/lobeGrid - 360)
	}
	top := 0.0
	for _, y := range l.lift {
		top = max(top, y)
	}
	for i, y := range l.lift {
		y = max(y/top*(most+lash)-lash, 0)
		l.lift[i] = y * (1 + curve*y/most)
	}
	l.settle()
	return l
}

// settle finds what follows from the table.
func (l *lobe) settle() {
	first, last := -1, 0
	for i, y := range l.lift {
		deg := float64(i)/lobeGrid - 360
		if y > l.most {
			l.most, l.nose = y, deg
		}
		if y > 1e-4 {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	l.open, l.close = float64(first)/lobeGrid-360, float64(last)/lobeGrid-360
	// A flat nose is at its middle.
	a, b := l.cross(l.most - 1e-7)
	if l.at((a+b)/2) > l.most-1e-5 {
		l.nose = (a + b) / 2
	}
}

// smooth goes from 0 to 1 without a jerk.
func smooth(u float64) float64 {
	u = min(max(u, 0), 1)
	return u * u * (3 - 2*u)
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// stretched draws evenly on a logarithmic scale.
func stretched(r *rand.Rand, lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }
