package lift

import (
	"math"

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
	before = onFlank(before, v.heel+edge)
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

// onFlank returns those of the readings before a passage that lie over an edge, and one more.
func onFlank(before []point, edge float64) []point {
	foot := len(before)
	for foot > 0 && before[foot-1].y > edge {
		foot--
	}
	return before[max(foot-1, 0):]
}

// tells is what a lift is told by from one beside it.
func (e surroundings) tells(scatter float64) float64 { return max(3*e.step, 5*scatter) }

// edge is what tells a lift from its heel.
func (e surroundings) edge(height, scatter float64) float64 {
	return max(e.tells(scatter), 0.003*height)
}

// footEdge is the share of the lift over the heel from which on a foot is looked at: nearer
// to it than an opening is told from, for a corner shows there.
const footEdge = 0.001

// foot returns how a flank meets the heel; of an opening one, with readings before its passage.
func (e surroundings) foot(before []point, x, y []float64, v *view, scatter float64) lobe.Foot {
	edge := max(e.tells(scatter), footEdge*v.height)
	before = onFlank(before, v.heel+edge)
	n := len(before) + len(x)
	a, h := e.room.floats(n)[:0], e.room.floats(n)[:0]
	for _, p := range before {
		a, h = append(a, p.a), append(h, p.y-v.heel)
	}
	return lobe.FootOf(append(a, x...), append(h, y...), edge, v.height)
}

// flankFits returns how both flanks meet the heel, where there is an encoder, and how they
// go near the nose; the opening one first.
func (e surroundings) flankFits(before []point, v *view, nose, scatter float64) (feet [2]lobe.Foot, bend [2]lobe.Bend, kink [2]lobe.Kink) {
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
		feet[side] = e.foot(before, x[side], y[side], v, scatter)
		before = nil
	}
	return feet, bend, kink
}

// Where a flank is so steep at its heel, and seems to have gone so far before, nanometres a
// degree and nanometres, the spindle hung free: no lash that anybody sets takes a ramp and
// as much of the flank (common practice, no source).
const surelySlope, surelyHung = 0.05 * mm, 0.5 * mm

// byLash is the most that a spindle may have hung free by (lobe.Free) where the foot of the
// flanks speaks for lash alone, whatever their shape further up says: 0.1 mm beyond a ramp,
// which is a usual lash, twice for how softly a lobe may begin, and the ramp (common
// practice, no source).
const byLash = 0.55 * mm

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
