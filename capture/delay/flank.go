package delay

import (
	"math"

	"lobescribe/device/measure"
)

// flank is the lifts that were read while the engine was turned forth and back,
// and the spline through them.
type flank struct {
	way       *way
	t, y      []float64 // seconds, millimetres
	low, high float64   // of y
	from, to  float64   // of the angle
	spline    spline

	angle []float64 // scratch: of the readings at the lag in question
}

// gather picks the readings that tell something, the same for every lag.
func gather(lift []measure.Reading, w *way, swept map[int]bool, most float64) *flank {
	f := &flank{way: w, low: math.Inf(1), high: math.Inf(-1), from: math.Inf(1), to: math.Inf(-1)}
	first, last := w.t[0]+most, w.t[len(w.t)-1]-most
	for _, r := range lift {
		t := r.At.Seconds()
		if r.Has&measure.HasLift == 0 || t < first || t > last {
			continue
		}
		a, b, c := w.at(t-most), w.at(t), w.at(t+most)
		if max(a, b, c)-min(a, b, c) < 2*most*slowest || !swept[int(math.Floor(b))] {
			continue // standing still tells nothing
		}
		y := r.Lift.Millimetres()
		f.t, f.y = append(f.t, t), append(f.y, y)
		f.low, f.high = min(f.low, y), max(f.high, y)
		for _, x := range []float64{a, b, c} {
			f.from, f.to = min(f.from, x), max(f.to, x)
		}
	}
	return f
}

// lay makes the spline's knots over all angles that any lag can bring up.
func (f *flank) lay() {
	f.spline = newSpline(f.from-1, f.to+1)
	f.angle = make([]float64, len(f.t))
}

// squares returns the sum of squared differences between the lifts and the best
// spline at a lag.
func (f *flank) squares(lag float64) float64 {
	f.turn(lag)
	f.spline.fit(f.angle, f.y)
	sum := 0.0
	for i, a := range f.angle {
		d := f.y[i] - f.spline.at(a)
		sum += d * d
	}
	return sum
}

func (f *flank) turn(lag float64) {
	for i, t := range f.t {
		f.angle[i] = f.way.at(t - lag)
	}
}

const gridStep = 0.004 // s: a quarter of a degree at 60 degrees a second

// grid returns the lag of the least squares on a grid, and whether another dip
// of the squares, away from it, is nearly as deep: a hand that rocks in a rhythm
// can make both ways coincide one beat off.
func (f *flank) grid(most float64) (lag, least float64, rival bool) {
	least = math.Inf(1)
	var squares, lags []float64
	for d := -most; d <= most+1e-9; d += gridStep {
		s := f.squares(d)
		squares, lags = append(squares, s), append(lags, d)
		if s < least {
			lag, least = d, s
		}
	}
	for i := range squares {
		dip := (i == 0 || squares[i] <= squares[i-1]) && (i == len(squares)-1 || squares[i] <= squares[i+1])
		if dip && math.Abs(lags[i]-lag) > apart && squares[i] < rivalSquares*least {
			return lag, least, true
		}
	}
	return lag, least, false
}

const (
	apart        = 0.025 // s: what lies nearer is the same dip
	rivalSquares = 2.0
)

// fit is the refined lag and, where it was asked for, the slack between the two
// directions in degrees of crank.
type fit struct {
	lag, u         float64
	slack, slackU  float64
	squares, speed float64
}

const (
	cluster = 0.25   // s of residuals taken together
	floorU  = 0.0002 // s: what the stamps themselves are good for

	mostSlack = 5.0 // degrees
)

// refine goes from a lag near the best to the least squares, by Gauss-Newton
// with the spline projected out, and works out the uncertainty there. With
// slack, the valve is taken to follow the crank half the slack behind, whichever
// way it turns.
func (f *flank) refine(lag float64, slack bool) fit {
	n := len(f.t)
	residual, byLag, bySlack := make([]float64, n), make([]float64, n), make([]float64, n)
	start, r := lag, fit{lag: lag}
	reach, tries := 2*gridStep, 12
	if slack { // what was taken for a lag may all be slack
		reach, tries = 25*gridStep, 40
	}
	for range tries {
		r.squares, r.speed = 0, 0
		f.turn(r.lag)
		for i := range f.angle {
			v := f.way.speed(f.t[i] - r.lag)
			r.speed += v * v
			byLag[i], bySlack[i] = -v, -math.Copysign(0.5, v)
			f.angle[i] += r.slack * bySlack[i]
		}
		r.speed = math.Sqrt(r.speed / float64(n))
		f.spline.fit(f.angle, f.y)
		for i, a := range f.angle {
			residual[i] = f.y[i] - f.spline.at(a)
			r.squares += residual[i] * residual[i]
			byLag[i] *= f.spline.slope(a)
			bySlack[i] *= f.spline.slope(a)
		}
		f.project(byLag)
		if slack {
			f.project(bySlack)
			lagAlone := without(byLag, bySlack)
			bySlack = without(bySlack, byLag)
			byLag = lagAlone
			step, u := f.step(bySlack, residual)
			r.slack, r.slackU = min(max(r.slack+step, -mostSlack), mostSlack), u
		}
		step, u := f.step(byLag, residual)
		next := min(max(r.lag+step, start-reach), start+reach)
		r.u = math.Hypot(u, 2*floorU)
		if math.Abs(next-r.lag) < 1e-6 {
			break
		}
		r.lag = next
	}
	return r
}

// project takes out of dst what the spline can do.
func (f *flank) project(dst []float64) {
	f.spline.fit(f.angle, dst)
	for i, a := range f.angle {
		dst[i] -= f.spline.at(a)
	}
}

// without returns a less what of it runs along b.
func without(a, b []float64) []float64 {
	ab, bb := 0.0, 0.0
	for i := range a {
		ab += a[i] * b[i]
		bb += b[i] * b[i]
	}
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] - b[i]*ab/max(bb, math.SmallestNonzeroFloat64)
	}
	return out
}

// step returns the Gauss-Newton step of a parameter with that influence on the
// lifts, and its expanded uncertainty; no step and an infinite one for a
// parameter without influence.
func (f *flank) step(influence, residual []float64) (step, u float64) {
	gg := 0.0
	for i, g := range influence {
		gg += g * g
		step += g * residual[i]
	}
	if gg < 1e-12 {
		return 0, math.Inf(1)
	}
	return step / gg, f.uncertainty(influence, residual, gg)
}

// uncertainty returns the expanded uncertainty (k = 2) of a parameter: the
// greater of what independent and clustered residuals give.
func (f *flank) uncertainty(influence, residual []float64, gg float64) float64 {
	free := float64(len(residual) - f.spline.used() - 1)
	if free < 1 {
		return math.Inf(1)
	}
	plain, clustered, sum := 0.0, 0.0, 0.0
	clusters, started := 0.0, math.Inf(-1)
	for i := range residual {
		if f.t[i]-started > cluster {
			clustered += sum * sum
			sum, started = 0, f.t[i]
			clusters++
		}
		plain += residual[i] * residual[i]
		sum += influence[i] * residual[i]
	}
	clustered += sum * sum
	plain *= gg / free
	if clusters > 1 {
		clustered *= clusters / (clusters - 1)
	}
	return 2 * math.Sqrt(max(plain, clustered)) / gg
}
