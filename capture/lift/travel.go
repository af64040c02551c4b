package lift

import (
	"math"
	"slices"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/evidence"
	"lobescribe/capture/lift/lobe"
	"lobescribe/capture/lift/stops"
	"lobescribe/device/measure"
)

// Whether the spindle came to an end of its travel: what an opening says of it is
// measured here and weighed by packages evidence and stops.

// shape measures the shape of a passage, with the foot of its opening flank in
// the readings before it.
func (e surroundings) shape(before []point, v *view, height, scatter float64) evidence.Shape {
	edge := e.edge(height, scatter)
	if 12*edge > height {
		return evidence.Shape{}
	}
	foot := len(before)
	for foot > 0 && before[foot-1].y-v.heel > edge {
		foot--
	}
	before = before[max(foot-1, 0):]
	n := len(before) + len(v.p)
	c := lobe.Curve{X: e.room.floats(n)[:0], Y: e.room.floats(n)[:0], Height: height, Top: len(before) + v.top}
	for i, p := range before {
		x := p.t - v.p[0].t
		if v.fine {
			x = p.a
		}
		c.X, c.Y = append(c.X, x), append(c.Y, p.y-v.heel)
		if c.Y[i] >= v.height && (c.Top >= len(before) || c.Y[i] > c.Y[c.Top]) {
			c.Top = i
		}
	}
	if v.fine {
		c.Along = lobe.OfAngle
	}
	c.X, c.Y = append(c.X, v.x...), append(c.Y, v.y...)
	return evidence.ShapeOf(c, edge)
}

// tells is what a lift is told by from one beside it.
func (e surroundings) tells(scatter float64) float64 { return max(3*e.step, 5*scatter) }

// edge is what tells a lift from its heel.
func (e surroundings) edge(height, scatter float64) float64 {
	return max(e.tells(scatter), 0.003*height)
}

// flankFits returns how both flanks meet the heel, where there is an encoder, and how they
// go near the nose; the opening one first.
func (e surroundings) flankFits(v *view, nose, scatter float64) (feet [2][]lobe.Foot, bend [2]lobe.Bend, kink [2]lobe.Kink) {
	x, y := v.flanks()
	r := lobe.Readings{Off: stopStamps * min(e.stream.uneven, e.stream.typical), Step: e.step, Tells: e.tells(scatter)}
	if v.fine {
		r.Along, r.Off = lobe.OfAngle, gum.Rectangular(min(lobe.Count(x[0]), lobe.Count(x[1])))
	}
	for side := range bend {
		bend[side] = lobe.BendOf(x[side], y[side], nose, r)
		if !v.fine {
			continue
		}
		kink[side] = lobe.KinkOf(x[side], y[side], gum.Root(r.Off, stopPlay), v.height, scatter)
		if f, ok := lobe.FootOf(x[side], y[side], e.edge(v.height, scatter), v.height); ok {
			feet[side] = append(feet[side], f)
		}
	}
	return feet, bend, kink
}

// hung returns by how much the spindle may have hung free, nanometres, and how steep the
// flanks are where they meet the heel, by the flatter one, each in the middle of all
// openings. Nought where that is as on a ramp.
func (v *verdicts) hung() (by, slope float64) {
	by, slope = math.Inf(1), math.Inf(1)
	for _, feet := range v.feet {
		if len(feet) == 0 {
			return 0, 0
		}
		slopes, free := make([]float64, len(feet)), make([]float64, len(feet))
		for i, f := range feet {
			slopes[i], free[i] = f.Slope, f.Free
		}
		slices.Sort(slopes)
		slices.Sort(free)
		slope, by = min(slope, slopes[len(slopes)/2]), min(by, free[len(free)/2])
	}
	if slope < steepestRamp {
		return 0, slope
	}
	return min(by, freeDegrees*slope), slope
}

const (
	// A ramp lifts the valve by no more in a degree of the crank, nanometres (common
	// practice, no source: 0.01 to 0.02 mm are usual).
	steepestRamp = 0.025 * mm
	// No spindle hangs free over more degrees of the flank than that.
	freeDegrees = 12.0
	// Where a flank is so steep at its heel, and seems to have gone so far before, the
	// spindle hung free: no lash that anybody sets takes a ramp and as much of the flank
	// (common practice, no source).
	surelySlope, surelyHung = 0.05 * mm, 0.5 * mm
)

const (
	// A spindle that stopped under the nose must have taken off so many counts.
	stopCounts = 3.0
	// Angles are off by the play of a drive, degrees, and times by such a share of how
	// unevenly readings come.
	stopPlay, stopStamps = 0.05, 0.3
	// So many openings are looked at.
	mostStops = 24
)

// stops returns what an opening says of a spindle that stopped under its nose.
func (e surroundings) stops(v *view, nose, scatter float64) stops.Says {
	c := lobe.Curve{X: v.x, Y: v.y, Top: v.top, Height: v.height, Scatter: scatter}
	off := stopStamps * min(e.stream.uneven, e.stream.typical)
	if v.fine {
		c.Along = lobe.OfAngle
		off = gum.Root(lobe.Count(c.X)/math.Sqrt(12), stopPlay)
	}
	return stops.Of(c, nose, off)
}

// judgeStop tells of a spindle that stopped under the nose, or gives the openings what
// their flanks, and those of all before them, cannot leave out.
func (g *Segmenter) judgeStop(dst []measured) {
	s := &g.verdict.stops
	for i := range dst {
		if m := &dst[i]; m.stops.OK {
			s.Add(m.stops, m.Nose, m.MaxLift)
		}
	}
	if _, _, proved := g.o.Proof.Stops(); proved || g.verdict.told[1] || s.N == 0 || len(dst) == 0 {
		return
	}
	if s.Tells(g.verdict.angles, stopCounts*float64(g.steps.Step())) {
		g.tellCut(s.Nose, float64(s.Lift))
	}
	takes := s.Takes()
	if takes > stopCounts*float64(g.steps.Step()) && takes > float64(dst[0].MaxLiftU) {
		g.hold(TravelEnd, measure.Length(takes), "the spindle may have stopped just under the nose: its edges do not leave it out. Prove the indicator, or give it more travel, and turn again")
	}
	lags := g.judgeLag(dst)
	for i := range dst {
		dst[i].common = gum.Root(dst[i].common, takes/2, lags/2)
		dst[i].stateLift()
	}
}

// leastLag is the share of the lift by which a nose lags whose lobe does not look like that:
// arcs of circles meet as near to it.
const leastLag = 0.008

// judgeLag tells of a spindle that stays on the nose while the crank turns on, and returns
// what it may take off.
func (g *Segmenter) judgeLag(dst []measured) float64 {
	if !g.verdict.angles {
		return 0 // along time a hand rests there
	}
	by, tells := g.verdict.stops.Lags()
	if tells && by > leastLag*float64(dst[0].MaxLift) && !g.verdict.home.told && !g.verdict.told[1] {
		g.verdict.home.told = true
		g.fault(Sticking, dst[0].Nose, "the reading stays on the nose while the crank turns on, and then follows with a corner: the spindle sticks under its load by %v at the most, and max lift reads low by as much. Set it square to the valve's way, clean its stem, and turn again", length(by))
	}
	return by
}
