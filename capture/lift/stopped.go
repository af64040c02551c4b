package lift

import (
	"math"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/lobe"
	"lobescribe/device/measure"
)

// Whether the spindle stopped a little under the nose, and by how much. Near a true
// nose lift falls with the square of the distance, b²u², from the nose or from the end
// of a flat on it. Where the spindle stopped d below the nose, what is seen under the
// stop begins at a slope instead,
//
//	D = b²(z+w)² - d = b²z² + 2b√d z,   w = √d/b
//
// z from where the stop is left, on either flank; and the stop lasts from w before the
// nose to w behind it. Each flank is fitted with each size of d, edge and b left free,
// along the crank angle or else along time, in which the hand goes evenly for a moment.
// What the fits say for each size adds up over all flanks; what they cannot leave out
// stands in the uncertainty, as the root of the mean square of what is left.

// stopSizes are the sizes of d that are weighed, nanometres; none is the first. More is
// told by package evidence.
var stopSizes = [...]float64{
	0, 10 * um, 15 * um, 22 * um, 33 * um, 50 * um, 75 * um, 110 * um, 170 * um, 250 * um, 380 * um, 570 * um, 850 * um, 1300 * um,
}

const (
	// Of each size one in so many indicators stops, before anything is seen of it.
	stopPrior = 0.005
	// What a fit says counts by so much: the errors of neighbouring readings go
	// together.
	stopTemper = 0.7
	// So much the fits must say in all for a stop to be told, and it must take off so
	// many counts.
	stopTells, stopCounts = 30.0, 3.0
	// Along time either flank must say this much of it.
	stopEither = 10.0
	// One flank says no more than this, and how long the stop lasts no more than that.
	stopMost, stopLasts = 30.0, 3.0

	// A flank is looked at under the nose to so many standard deviations of a reading
	// or such a share of the lift, and deeper for so many readings, to that share.
	stopShallow, stopShallowShare, stopReadings, stopDeepest = 12.0, 0.01, 6, 0.08
	// Readings less than so many standard deviations under the nose may be on it.
	stopOnNose = 2.0
	// In so many pieces, whose means are no better than of so many readings and such a
	// share of a reading's variance.
	stopPieces, stopMean, stopFloor = 16, 4.0, 0.05
	// The edge is looked for in so many steps.
	stopEdges = 20
	// A hand, and a lobe, are no parabola: by such a share of the depth.
	stopUneven, stopLobe = 0.03, 0.015
	// Angles are off by the play of a drive, degrees, and times by such a share of how
	// unevenly readings come.
	stopPlay, stopStamps = 0.05, 0.3
	// How long the stop lasts is known to such a share along the angle, and along time
	// at the least.
	stopAngleShare, stopTimeShare = 0.2, 0.35
	// So many openings are looked at.
	mostStops = 24
)

// stopFlank is what one flank says for each size.
type stopFlank struct {
	says [len(stopSizes)]float64 // logarithms of likelihoods, 0 for none
	edge [len(stopSizes)]float64 // where the stop ends, from the highest reading
	fuzz [len(stopSizes)]float64 // how well that is known
	b    [len(stopSizes)]float64
}

// piece is the mean of some readings on a flank: how far from the edge, how deep under
// the nose; and its weight.
type piece struct{ x, y, n, w float64 }

// stopSays is what an opening says for each size: its opening flank, its closing one, and
// how long the stop lasted. ok is false where it says nothing.
type stopSays struct {
	flanks [2][len(stopSizes)]float64
	lasts  [len(stopSizes)]float64
	ok     bool
}

// stops returns what an opening says for each size.
func (e surroundings) stops(v *view, nose, scatter float64) stopSays {
	d := descent{x: v.t, y: v.y, top: v.top, nose: nose, height: v.height, scatter: scatter, angles: v.angles}
	d.off, d.own = stopStamps*min(e.stream.uneven, e.stream.typical), stopUneven
	if v.angles {
		d.x = make([]float64, len(v.p))
		for i, p := range v.p {
			d.x[i] = p.a
		}
		d.off, d.own = gum.Root(lobe.Count(d.x)/math.Sqrt(12), stopPlay), stopLobe
	}
	return d.says()
}

// says weighs both flanks.
func (d descent) says() (s stopSays) {
	var flanks []stopFlank
	for side, way := range [2]int{-1, 1} {
		d.way = way
		if f, ok := d.weigh(); ok {
			flanks = append(flanks, f)
			s.flanks[side], s.ok = f.says, true
		}
	}
	if len(flanks) == 2 {
		for k := 1; k < len(stopSizes); k++ {
			s.lasts[k] = -lasts(flanks[0], flanks[1], k, d.angles)
		}
	}
	return s
}

// lasts returns what speaks against a size because the stop lasts too short or too
// long for it. A hand may rest on it: along time only what is too short does.
func lasts(a, b stopFlank, k int, angles bool) float64 {
	should := math.Sqrt(stopSizes[k]) * (1/a.b[k] + 1/b.b[k])
	fuzz := a.fuzz[k] + b.fuzz[k]
	r := math.Log(max(a.edge[k]+b.edge[k], fuzz/2) / should)
	share := stopTimeShare
	if angles {
		share = stopAngleShare
	} else if r > 0 {
		return 0
	}
	sd := gum.Root(share, fuzz/should)
	return min(r*r/(2*sd*sd), stopLasts)
}

// descent is a flank from the highest reading on.
type descent struct {
	x, y         []float64
	top, way     int
	nose, height float64 // the nose's level, the highest reading's
	scatter      float64 // of a reading
	off          float64 // by how much its x may be off
	own          float64 // by which share of the depth the curve is none
	angles       bool    // x is one
}

// far returns how far a reading is from the highest, as the flank goes.
func (d *descent) far(i int) float64 {
	u := float64(d.way) * (d.x[i] - d.x[d.top])
	if d.x[len(d.x)-1] < d.x[0] {
		return -u
	}
	return u
}

// window returns the end of what is looked at and how deep it is; false where too few
// readings lie under the nose before the flank is another.
func (d *descent) window() (end int, depth float64, ok bool) {
	for depth = max(stopShallow*d.scatter, stopShallowShare*d.height); depth <= stopDeepest*d.height; depth *= 1.5 {
		n, farthest := 0, math.Inf(-1)
		for end = d.top; end >= 0 && end < len(d.y) && d.nose-d.y[end] < depth; end += d.way {
			if u := d.far(end); d.nose-d.y[end] > stopOnNose*d.scatter && u > farthest+1e-9 {
				n, farthest = n+1, u
			}
		}
		if end < 0 || end >= len(d.y) {
			return 0, 0, false
		}
		if n >= stopReadings {
			return end, depth, true
		}
	}
	return 0, 0, false
}

// pieces returns the means of the readings from the nose to the window's end, and where
// the last of them is that may be on the nose; their x is from there. span is from there
// to the end.
func (d *descent) pieces(end int) (p []piece, edge, span float64) {
	last := 0.0
	for i := d.top; i != end; i += d.way {
		last = max(last, d.far(i))
		if d.nose-d.y[i] <= stopOnNose*d.scatter {
			edge = max(edge, d.far(i))
		}
	}
	span = last - edge
	if !(span > 0) {
		return nil, 0, 0
	}
	var all [stopPieces]piece
	for i := d.top; i != end; i += d.way {
		u := d.far(i) - edge
		if u < -span {
			continue
		}
		q := &all[min(int((u+span)/(2*span)*stopPieces), stopPieces-1)]
		q.x, q.y, q.n = q.x+u, q.y+d.nose-d.y[i], q.n+1
	}
	for _, q := range all {
		if q.n > 0 {
			q.x, q.y = q.x/q.n, q.y/q.n
			p = append(p, q)
		}
	}
	for i := range p {
		before, behind := p[max(i-1, 0)], p[min(i+1, len(p)-1)]
		slope := (behind.y - before.y) / (behind.x - before.x)
		noise := d.scatter * math.Sqrt(1/min(p[i].n, stopMean)+stopFloor)
		u := gum.Root(noise, d.own*p[i].y, slope*d.off)
		p[i].w = 1 / (u * u)
	}
	return p, edge, span
}

// weigh weighs one flank.
func (d *descent) weigh() (f stopFlank, ok bool) {
	end, depth, ok := d.window()
	if !ok {
		return f, false
	}
	p, edge, span := d.pieces(end)
	if len(p) < stopReadings {
		return f, false
	}
	var chi [len(stopSizes)]float64
	best := math.Inf(1)
	const stride = 1.5 / stopEdges
	for k, size := range stopSizes {
		chi[k] = math.Inf(1)
		for j := range stopEdges + 1 {
			at := (float64(j)*stride - 1) * span
			if c, b := fitStop(p, at, size, span, depth); c < chi[k] {
				chi[k], f.edge[k], f.b[k] = c, edge+at, b
			}
		}
		f.fuzz[k] = stride*span + d.scatter/(2*f.b[k]*math.Sqrt(max(size, d.scatter)))
		best = min(best, chi[k])
	}
	worse := max(1, best/float64(max(len(p)-2, 1))) // than the weights say
	for k := range chi {
		f.says[k] = -min((chi[k]-chi[0])/worse/2, stopMost)
	}
	return f, true
}

// fitStop fits b for a stop of a size that ends at an edge, by Newton's method, and
// returns the sum of squares that is left.
func fitStop(p []piece, edge, size, span, depth float64) (least, at float64) {
	root := math.Sqrt(size)
	b := (math.Sqrt(depth+size) - root) / (span - edge) // the window's end is that deep
	least, at = math.Inf(1), b
	const steps = 4
	for range steps {
		var sum, slope, curve float64
		for _, q := range p {
			off := q.y
			if z := q.x - edge; z > 0 {
				off -= b*b*z*z + 2*b*root*z
				by := 2*b*z*z + 2*root*z // what the model grows by with b
				slope -= 2 * q.w * off * by
				curve += 2 * q.w * (by*by - off*2*z*z)
			}
			sum += q.w * off * off
		}
		if sum < least {
			least, at = sum, b
		}
		if !(curve > 0) {
			break
		}
		b = max(b-slope/curve, b/4)
	}
	return least, at
}

// stopSums is what openings say together, of each size.
type stopSums struct {
	n     int // openings that say something
	says  [len(stopSizes)]float64
	sides [2][len(stopSizes)]float64
	nose  measure.Stamp // of the first of them
	lift  float64       // and its max lift
}

func (s *stopSums) add(m *measured) {
	if !m.stops.ok {
		return
	}
	for k := range s.says {
		for side := range s.sides {
			s.sides[side][k] += stopTemper * m.stops.flanks[side][k]
		}
		s.says[k] += stopTemper * (m.stops.flanks[0][k] + m.stops.flanks[1][k] + m.stops.lasts[k])
	}
	if s.n++; s.n == 1 {
		s.nose, s.lift = m.Nose, float64(m.MaxLift)
	}
}

// likeliest returns which size is the likeliest.
func (s *stopSums) likeliest() (best int) {
	for k := range s.says {
		if s.says[k] > s.says[best] {
			best = k
		}
	}
	return best
}

// takes returns the root of the mean square of what the sizes, as likely as they are,
// take off the nose.
func (s *stopSums) takes() float64 {
	var all, square float64
	best := s.likeliest()
	for k, size := range stopSizes {
		p := math.Exp(s.says[k] - s.says[best])
		if k > 0 {
			p *= stopPrior
		}
		all, square = all+p, square+p*size*size
	}
	return math.Sqrt(square / all)
}

// judgeStop tells of a spindle that stopped under the nose, or gives the openings what
// their flanks, and those of all before them, cannot leave out.
func (g *Segmenter) judgeStop(dst []measured) {
	s := &g.verdict.stops
	for i := range dst {
		s.add(&dst[i])
	}
	if _, _, proved := g.o.Proof.Stops(); proved || g.verdict.told[1] || s.n == 0 || len(dst) == 0 {
		return
	}
	// A hand that waits beside the nose until the spring throws the cam past it leaves an
	// edge like that of a stop on one flank.
	best := s.likeliest()
	both := g.verdict.angles || min(s.sides[0][best], s.sides[1][best]) > stopEither
	if s.says[best] > stopTells && both && stopSizes[best] > stopCounts*float64(g.steps.Step()) {
		g.tellCut(s.nose, s.lift)
	}
	takes := s.takes()
	if takes > stopCounts*float64(g.steps.Step()) && takes > float64(dst[0].MaxLiftU) {
		g.hold(TravelEnd, measure.Length(takes), "the spindle may have stopped just under the nose: its edges do not leave it out. Prove the indicator, or give it more travel, and turn again")
	}
	for i := range dst {
		dst[i].common = gum.Root(dst[i].common, takes/2)
		dst[i].stateLift()
	}
}
