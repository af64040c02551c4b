package model

import "math"

// Lobe is one valve's lift against crank angle: an even polynomial of its place
// between its ends, drawn out to one side.
//
//	lift = Height (1 + sum C_i x^p_i),   x = t + Skew (1 - t^2),   t from -1 to 1
//
// The powers and coefficients make the lift and as many of its derivatives zero
// at the ends as there are powers, less one (powers from memory; the coefficients
// solve that condition, and the test checks it).
type Lobe struct {
	Height float64 // mm
	Centre float64 // crank degrees, the middle between its ends
	Half   float64 // crank degrees from there to either end
	Skew   float64
	Sharp  bool // 2-10-12-14 in place of 2-10-18-26

	// RunOut of the base circle: the heel goes up and down by so much either way
	// once a turn of the cam, from RunAt on.
	RunOut, RunAt float64
}

var (
	powers = [2][4]float64{{2, 10, 18, 26}, {2, 10, 12, 14}}
	shares = [2][4]float64{{-195. / 128, 117. / 128, -65. / 128, 15. / 128}, {-7. / 4, 21. / 4, -7, 5. / 2}}
)

// Above is the lift above the base circle at a crank angle, run-out left out.
func (l Lobe) Above(angle float64) float64 {
	t := math.Remainder(angle-l.Centre, 720) / l.Half
	if math.Abs(t) >= 1 {
		return 0
	}
	return l.Height * l.shape(t+l.Skew*(1-t*t))
}

func (l Lobe) shape(x float64) float64 {
	i := 0
	if l.Sharp {
		i = 1
	}
	s := 1.0
	for k, p := range powers[i] {
		s += shares[i][k] * math.Pow(math.Abs(x), p)
	}
	return s
}

// Lift is what an indicator sees: the lobe on its base circle that runs out.
func (l Lobe) Lift(angle float64) float64 {
	return l.Above(angle) + l.RunOut*math.Sin((angle-l.RunAt)*math.Pi/360)
}

// Nose is the crank angle of the highest point: where x is zero.
func (l Lobe) Nose() float64 {
	if l.Skew == 0 {
		return l.Centre
	}
	// Skew t^2 - t - Skew = 0, the root between the ends.
	t := (1 - math.Sqrt(1+4*l.Skew*l.Skew)) / (2 * l.Skew)
	return l.Centre + l.Half*t
}

// Passes are where the lift rises and falls through a level, by halving.
func (l Lobe) Passes(level float64) (opens, closes float64) {
	find := func(low, high float64) float64 {
		for range 80 {
			mid := (low + high) / 2
			if (l.Above(mid) < level) == (l.Above(low) < level) {
				low = mid
			} else {
				high = mid
			}
		}
		return (low + high) / 2
	}
	nose := l.Nose()
	return find(l.Centre-l.Half, nose), find(nose, l.Centre+l.Half)
}

// Area under the lift in mm times crank degrees, by small steps.
func (l Lobe) Area() float64 {
	const steps = 20000
	sum, step := 0.0, 2*l.Half/steps
	for i := range steps {
		sum += l.Above(l.Centre-l.Half+(float64(i)+0.5)*step) * step
	}
	return sum
}

// Piston is how far it stands below its top: a circle met by a rod, the rod's
// end sought along the cylinder's axis by halving.
func Piston(stroke, rod, angle float64) float64 {
	s, c := math.Sincos(angle * math.Pi / 180)
	pin := Vec{stroke / 2 * s, stroke / 2 * c}
	low, high := pin.Y, pin.Y+rod+1
	for range 80 {
		mid := (low + high) / 2
		if pin.minus(Vec{0, mid}).length() < rod {
			low = mid
		} else {
			high = mid
		}
	}
	return stroke/2 + rod - (low+high)/2
}
