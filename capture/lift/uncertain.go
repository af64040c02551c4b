package lift

import (
	"cmp"
	"math"
	"slices"
)

const (
	// runOutShare: the heel may lie anywhere in what it runs out by, and the nose
	// goes up and down with it.
	runOutShare = 6.0
	// unknownAverage is over how long a gauge may average its figure when nobody
	// has proved it, microseconds (common practice, no source: the figure of a
	// digital indicator is renewed some ten times a second).
	unknownAverage = 120.0 * ms
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
// tenths of its time lie, less what its step and noise make.
func (e surroundings) runOut(p []point, heel level, wide float64) float64 {
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
		return 0
	}
	slices.SortFunc(some, func(a, b point) int { return cmp.Compare(a.y, b.y) })
	n := len(some)
	return max(some[n-1-n/20].y-some[n/20].y-e.step-4*e.noise, 0)
}

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

// hurry returns by how much a gauge that averages over T takes off the nose, as
// a factor of T²: half of the curvature of lift against time, times the mean square
// of the time, T²/12 where it weighs all of T alike, or T²/4 where it forgets as a
// filter of the first order does that lags as much.
func (v *view) hurry(lift float64) float64 {
	var num, den float64
	for _, way := range [2]int{-1, 1} {
		for i := v.top + way; i >= 0 && i < len(v.y); i += way {
			d := lift - v.y[i]
			if d > noseDepth*lift && den > 0 {
				break
			}
			x := v.p[i].t - v.noseAt
			num, den = num+max(d, 0)*x*x*v.w[i], den+x*x*x*x*v.w[i]
			if d > noseDepth*lift {
				break
			}
		}
	}
	if den == 0 {
		return 0
	}
	return num / den / 4
}

// uncertain combines the uncertainty of the max lift.
func (e surroundings) uncertain(m *measured, v *view) {
	repeat := (m.after.y - m.before.y) / 2 / math.Sqrt(3)
	m.own = hypot(m.nose.noise, m.nose.short, m.before.u/2, m.after.u/2, repeat)
	// A gauge that averages shows a nose that is passed fast too low, and one that
	// sticks shows it low and the heel high.
	average, stick := unknownAverage, 0.0
	if p := e.proof; p.Proved() {
		average = min(average, 2*float64(p.Lag+p.LagU))
		stick = float64(p.Stick)
	}
	m.own = hypot(m.own, v.hurry(m.nose.y)*average*average/math.Sqrt(3))
	q := rounded(e.step, m.noise)
	m.common = q
	if !m.nose.fit {
		m.common = hypot(q, q)
	}
	// Which point of a heel that runs out is the heel, nobody has said
	// (definitional uncertainty, JCGM 200:2012, 2.27).
	m.common = hypot(m.common, stick, m.runOut/math.Sqrt(runOutShare))
	m.stateLift()
}
