package lift

import (
	"math"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/lobe"
	"lobescribe/capture/lift/runout"
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
	// bends is the share of a lift by which the stand's arm may bend under the spindle's
	// force and the indicator be wrong itself, a standard uncertainty: some micrometres over
	// its travel (common practice, no source).
	bends = 0.00015
)

// runOut returns by how much a heel goes up and down, and may go for the uncertainty: of
// some of its readings, of three the middle one.
func (e surroundings) runOut(p []point, heel level, wide float64) (runOut, wander float64) {
	stride := 1 + len(p)/512
	some := make([]runout.Reading, 0, 512)
	for i := stride; i+stride < len(p); i += stride {
		a, b, c := p[i-1].y, p[i].y, p[i+1].y
		some = append(some, runout.Reading{Y: max(min(a, b), min(max(a, b), c)) - heel.y, A: p[i].a})
	}
	return runout.Of(some, runout.Indicator{Step: e.step, Noise: e.noise, Wide: wide})
}

// uncertain combines the uncertainty of the max lift.
func (e surroundings) uncertain(m *measured, v *view) {
	repeat := (m.after.y - m.before.y) / 2 / math.Sqrt(3)
	// What slipped on a flank is more than the lift ran back by, for the lobe went on meanwhile.
	m.own = gum.Root(m.nose.Noise, m.nose.Short, m.before.u/2, m.after.u/2, repeat, m.contrary.slipped)
	// How late lift comes bounds it, where that is known: see boundAverage.
	// A gauge that averages shows a nose that is passed fast too low, and one that
	// sticks shows it low and the heel high.
	average, stick := unknownAverage, 0.0
	if p := e.proof; p.Proved() {
		average = min(average, 2*float64(p.Lag+p.LagU))
		stick = float64(p.Stick)
	}
	m.alike = averageShare * lobe.Hurried(lobe.Curve{X: v.t, Y: v.y, W: v.w, Top: v.top, Height: m.nose.Y}, v.noseAt-v.p[0].t, average)
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
