package lift

import (
	"cmp"
	"math"
	"slices"

	"lobescribe/capture/internal/gum"
)

const (
	// runOutShare: the heel may lie anywhere in what it runs out by, and the nose
	// goes up and down with it.
	runOutShare = 6.0
	// unknownAverage is over how long a gauge may average its figure when nobody
	// has proved it, microseconds (common practice, no source: the figure of a
	// digital indicator is renewed some ten times a second).
	unknownAverage = 120.0 * ms
	// averageShare makes a standard uncertainty of what a gauge takes off that is as
	// slow as can be: of gauges that average over anything up to that, half of them
	// over all alike and half as a filter does, 95 of 100 take off 0.84 of it or less
	// (derived here: what is taken off grows with the square of the time).
	averageShare = 0.42
	// leastNear is how far from the nose a reading stands at the least, in shares of
	// that time, for the curvature near it.
	leastNear = 0.25
	// bends is the share of a lift by which the stand's arm may bend under the spindle's
	// force and the indicator be wrong itself, a standard uncertainty: some micrometres over
	// its travel (common practice, no source).
	bends = 0.00015
	// noseDepth is the share of the lift under the nose in which its curvature
	// against time is taken.
	noseDepth = 0.04
)

const (
	// What belongs to a flank is no heel: with an encoder, so many degrees at
	// either end of it; without, what rises farther than a heel runs out and
	// comes back.
	offFlank    = 40.0
	mostRunsOut = 35 * um
)

// runOut returns by how much a heel goes up and down: the range in which nine
// tenths of its time lie, less what its step and noise make. wander is what its
// uncertainty is made of, for which neither has to be beyond doubt: the range of the
// means of stretches of it, less what noise leaves in them.
func (e surroundings) runOut(p []point, heel level, wide float64) (runOut, wander float64) {
	stride := 1 + len(p)/512
	some := make([]point, 0, 512)
	for i := stride; i+stride < len(p); i += stride {
		q := p[i]
		a, b, c := p[i-1].y, q.y, p[i+1].y
		q.y = max(min(a, b), min(max(a, b), c)) // of three the middle one
		some = append(some, q)
	}
	some = heelAlone(some, heel, wide)
	if len(some) < 20 {
		return 0, 0
	}
	wander = e.wander(some)
	slices.SortFunc(some, func(a, b point) int { return cmp.Compare(a.y, b.y) })
	n := len(some)
	runOut = max(some[n-1-n/20].y-some[n/20].y-e.step-4*e.noise, 0)
	return runOut, max(runOut, wander)
}

// wander returns the range of the means of stretches of a heel.
func (e surroundings) wander(p []point) float64 {
	size := max(len(p)/stretches, 4)
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := 0; i+size <= len(p); i += size {
		mean := 0.0
		for _, q := range p[i : i+size] {
			mean += q.y / float64(size)
		}
		lo, hi = min(lo, mean), max(hi, mean)
	}
	// Noise dithers the step away; without it a mean may lie half a step off.
	left := max(1-2*e.noise/max(e.step, 1), 0) * e.step
	return max(hi-lo-left-rangeOfMeans*gum.Root(e.noise, gum.Rectangular(e.step))/math.Sqrt(float64(size)), 0)
}

// The means of so many stretches, with nothing but noise in them, lie in a range of
// so many of their standard deviations in 95 of 100 heels (tables of the studentized
// range for 16 and known deviation, from memory).
const stretches, rangeOfMeans = 16, 4.9

// heelAlone returns the readings of a stretch between two flanks that belong to
// neither.
func heelAlone(p []point, heel level, wide float64) []point {
	if len(p) == 0 {
		return nil
	}
	kept := make([]point, 0, len(p))
	if first, last := p[0].a, p[len(p)-1].a; !math.IsNaN(first) && !math.IsNaN(last) {
		for _, q := range p {
			if math.Abs(q.a-first) > offFlank && math.Abs(q.a-last) > offFlank {
				kept = append(kept, q)
			}
		}
		return kept
	}
	for i := 0; i < len(p); {
		j, high := i, 0.0
		for j < len(p) && p[j].y > heel.y+wide {
			high = max(high, p[j].y-heel.y)
			j++
		}
		if j == i {
			kept = append(kept, p[i])
			i++
			continue
		}
		if i > 0 && j < len(p) && high <= mostRunsOut {
			kept = append(kept, p[i:j]...)
		}
		i = j
	}
	return kept
}

// hurry returns by how much a gauge that averages over so long takes off the nose:
// half of the curvature of lift against time, times the mean square of the time,
// T²/12 where it weighs all of T alike, or T²/4 where it forgets as a filter of the
// first order does that lags as much. The curvature is that of the whole nose, or of
// the time T about it where a hand that rests beside the nose passed it faster.
func (v *view) hurry(lift, average float64) float64 {
	var whole, near curvature
	fell := 0.0 // in that time, at the most: a mean over it is no lower
	for _, way := range [2]int{-1, 1} {
		for i := v.top + way; i >= 0 && i < len(v.y); i += way {
			d, x := lift-v.y[i], v.p[i].t-v.noseAt
			deep := d > noseDepth*lift
			if !deep || whole.den == 0 {
				whole.add(x, d, v.w[i])
			}
			// Readings that a port has bunched beside the nose say nothing of its shape.
			if math.Abs(x) <= average {
				fell = max(fell, d)
			}
			if far := math.Abs(x); far <= average && far >= leastNear*average {
				near.add(x, d, v.w[i])
			}
			if deep && math.Abs(x) > average {
				break
			}
		}
	}
	takes := max(whole.half(), near.half()) * average * average / 4
	if fell > 0 {
		takes = min(takes, fell)
	}
	return takes
}

// curvature is fitted to readings that lie d under a nose, x from it.
type curvature struct{ num, den float64 }

func (c *curvature) add(x, d, w float64) {
	c.num, c.den = c.num+max(d, 0)*x*x*w, c.den+x*x*x*x*w
}

// half of it; 0 without readings.
func (c *curvature) half() float64 {
	if c.den == 0 {
		return 0
	}
	return c.num / c.den
}

// uncertain combines the uncertainty of the max lift.
func (e surroundings) uncertain(m *measured, v *view) {
	repeat := (m.after.y - m.before.y) / 2 / math.Sqrt(3)
	m.own = gum.Root(m.nose.Noise, m.nose.Short, m.before.u/2, m.after.u/2, repeat)
	// How late lift comes bounds it, where that is known: see boundAverage.
	// A gauge that averages shows a nose that is passed fast too low, and one that
	// sticks shows it low and the heel high.
	average, stick := unknownAverage, 0.0
	if p := e.proof; p.Proved() {
		average = min(average, 2*float64(p.Lag+p.LagU))
		stick = float64(p.Stick)
	}
	m.alike = v.hurry(m.nose.Y, average) * averageShare
	q := gum.Rounded(e.step, m.noise)
	m.common = q
	if !m.nose.Fit {
		m.common = gum.Root(q, q)
	}
	// Which point of a heel that runs out is the heel, nobody has said
	// (definitional uncertainty, JCGM 200:2012, 2.27).
	m.common = gum.Root(m.common, stick, m.wander/math.Sqrt(runOutShare), bends*m.nose.Y)
	m.stateLift()
}
