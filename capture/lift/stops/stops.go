// Package stops says whether the spindle stopped a little under the nose, and by how
// much, from the openings of one valve: [Of] looks at one of them, [Sums] adds up what
// they say.
//
// Near a true
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
package stops

import (
	"math"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/lobe"
	"lobescribe/device/measure"
)

// sizes are the sizes of d that are weighed, nanometres; none is the first. More is
// told by package evidence.
var sizes = [...]float64{
	0, 10 * um, 15 * um, 22 * um, 33 * um, 50 * um, 75 * um, 110 * um, 170 * um, 250 * um, 380 * um, 570 * um, 850 * um, 1300 * um,
}

const um = 1e3 // in nanometres

const (
	// Of each size one in so many indicators stops, before anything is seen of it.
	prior = 0.005
	// Of so many lobes the nose is flat (common practice, no source), where its edges lie
	// farther apart than so many times what is not known of them.
	flatLobes, flatFrom = 0.05, 3
	// What a fit says counts by so much: the errors of neighbouring readings go
	// together.
	temper = 0.7
	// So much the fits must say in all for a stop to be told.
	enoughTells = 30.0
	// Along time either flank must say this much of it, along the angle not so much against.
	enoughEither, mostAgainst = 10.0, 5.0
	// What sticks on the nose must the closing flank say by so much, and the opening one less
	// by so much, to be in the uncertainty; and to be told.
	mindsLag, mindsLagOnly, tellsLag, tellsLagOnly = 3.0, 6.0, 12.0, 18.0
	// The opening flank of a sound nose speaks no more than this for a stop.
	soundOpens = 2.0
	// Sizes that are so much less likely are meant as well.
	lagLikely = 1.0
	// One flank speaks no more than this against a size, one that few readings lie on no more
	// than that for it, and how long the stop lasts no more than that against.
	mostOfFlank, mostOfDeep, mostOfLast = 30.0, 3.0, 3.0

	// A flank is looked at under the nose to so many standard deviations of a reading
	// or such a share of the lift, and deeper for so many readings, to that share.
	shallow, shallowShare, enough, deepest = 12.0, 0.01, 6, 0.08
	// Along the angle so few say where the edges are, and so how long the stop lasted; they
	// are looked for to that share.
	few, fewDeepest = 2, 0.25
	// Readings less than so many standard deviations under the nose may be on it.
	onNose = 2.0
	// In so many pieces, whose means are no better than of so many readings and such a
	// share of a reading's variance.
	intoPieces, meanOf, meanFloor = 16, 4.0, 0.05
	// The edge is looked for in so many steps.
	edges = 20
	// A hand, and a lobe, are no parabola: by such a share of the depth.
	uneven, unlike = 0.03, 0.015
	// How long the stop lasts is known to such a share along the angle, and along time
	// at the least.
	angleShare, timeShare = 0.2, 0.35
)

// flank is what one flank says for each size.
type flank struct {
	says [len(sizes)]float64 // logarithms of likelihoods, 0 for none
	edge [len(sizes)]float64 // where the stop ends, from the highest reading
	fuzz [len(sizes)]float64 // how well that is known
	b    [len(sizes)]float64
}

// piece is the mean of some readings on a flank: how far from the edge, how deep under
// the nose; and its weight.
type piece struct{ x, y, n, w float64 }

// Says is what an opening says for each size: its opening flank, its closing one, and
// how long the stop lasted. OK is false where it says nothing.
type Says struct {
	OK     bool
	flanks [2][len(sizes)]float64
	lasts  [len(sizes)]float64
	flat   bool // the nose itself is flat, if nothing stopped
}

// Of returns what an opening says whose nose lies at a height, where the X of each
// reading may be off.
func Of(c lobe.Curve, nose, off float64) Says {
	own := uneven
	if c.Along == lobe.OfAngle {
		own = unlike
	}
	return descent{Curve: c, nose: nose, off: off, own: own}.says()
}

// says weighs both flanks.
func (d descent) says() (s Says) {
	var flanks []flank
	for side, way := range [2]int{-1, 1} {
		d.way = way
		if f, ok := d.weigh(); ok {
			flanks = append(flanks, f)
			s.flanks[side], s.OK = f.says, true
		}
	}
	if len(flanks) == 2 {
		for k := 1; k < len(sizes); k++ {
			s.lasts[k] = -lasts(flanks[0], flanks[1], k, d.Along == lobe.OfAngle)
		}
		a, b := flanks[0], flanks[1]
		s.flat = d.Along == lobe.OfAngle && a.edge[0]+b.edge[0] > flatFrom*(a.fuzz[0]+b.fuzz[0])
	}
	return s
}

// lasts returns what speaks against a size because the stop lasts too short or too
// long for it. A hand may rest on it: along time only what is too short does.
func lasts(a, b flank, k int, angles bool) float64 {
	should := math.Sqrt(sizes[k]) * (1/a.b[k] + 1/b.b[k])
	fuzz := a.fuzz[k] + b.fuzz[k]
	r := math.Log(max(a.edge[k]+b.edge[k], fuzz/2) / should)
	share := timeShare
	if angles {
		share = angleShare
	} else if r > 0 {
		return 0
	}
	sd := gum.Root(share, fuzz/should)
	return min(r*r/(2*sd*sd), mostOfLast)
}

// descent is a flank from the highest reading on.
type descent struct {
	lobe.Curve
	way  int
	nose float64 // its level
	off  float64 // by how much X may be off
	own  float64 // by which share of the depth the curve is none
}

// far returns how far a reading is from the highest, as the flank goes.
func (d *descent) far(i int) float64 {
	u := float64(d.way) * (d.X[i] - d.X[d.Top])
	if d.X[len(d.X)-1] < d.X[0] {
		return -u
	}
	return u
}

// lowest returns how deep under the nose the window may reach, as a share of the lift.
func (d *descent) lowest() float64 {
	if d.Along == lobe.OfAngle {
		return fewDeepest
	}
	return deepest
}

// window returns the end of what is looked at and how deep it is; false where too few
// readings lie under the nose before the flank is another.
func (d *descent) window() (end int, depth float64, ok bool) {
	for depth = max(shallow*d.Scatter, shallowShare*d.Height); depth <= d.lowest()*d.Height; depth *= 1.5 {
		n, farthest := 0, math.Inf(-1)
		for end = d.Top; end >= 0 && end < len(d.Y) && d.nose-d.Y[end] < depth; end += d.way {
			if u := d.far(end); d.nose-d.Y[end] > onNose*d.Scatter && u > farthest+1e-9 {
				n, farthest = n+1, u
			}
		}
		if end < 0 || end >= len(d.Y) {
			return 0, 0, false
		}
		if n >= enough || n >= few && depth > deepest*d.Height {
			return end, depth, true
		}
	}
	return 0, 0, false
}

// mayBeOn says whether a reading may be on the nose, and most of its neighbours: of hundreds
// some do by chance, far from it.
func (d *descent) mayBeOn(i int) bool {
	on := 0
	for k := max(i-2, 0); k <= min(i+2, len(d.Y)-1); k++ {
		if d.nose-d.Y[k] <= onNose*d.Scatter {
			on++
		}
	}
	return on >= 3 && d.nose-d.Y[i] <= onNose*d.Scatter
}

// pieces returns the means of the readings from the nose to the window's end, and where
// the last of them is that may be on the nose; their x is from there. span is from there
// to the end.
func (d *descent) pieces(end int) (p []piece, edge, span float64) {
	last := 0.0
	for i := d.Top; i != end; i += d.way {
		last = max(last, d.far(i))
		if d.mayBeOn(i) {
			edge = max(edge, d.far(i))
		}
	}
	span = last - edge
	if !(span > 0) {
		return nil, 0, 0
	}
	var all [intoPieces]piece
	for i := d.Top; i != end; i += d.way {
		u := d.far(i) - edge
		if u < -span {
			continue
		}
		q := &all[min(int((u+span)/(2*span)*intoPieces), intoPieces-1)]
		q.x, q.y, q.n = q.x+u, q.y+d.nose-d.Y[i], q.n+1
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
		noise := d.Scatter * math.Sqrt(1/min(p[i].n, meanOf)+meanFloor)
		u := gum.Root(noise, d.own*p[i].y, slope*d.off)
		p[i].w = 1 / (u * u)
	}
	return p, edge, span
}

// weigh weighs one flank.
func (d *descent) weigh() (f flank, ok bool) {
	end, depth, ok := d.window()
	if !ok {
		return f, false
	}
	p, edge, span := d.pieces(end)
	if len(p) < few {
		return f, false
	}
	var chi [len(sizes)]float64
	best := math.Inf(1)
	const stride = 1.5 / edges
	for k, size := range sizes {
		chi[k] = math.Inf(1)
		for j := range edges + 1 {
			at := (float64(j)*stride - 1) * span
			if c, b := fit(p, at, size, span, depth); c < chi[k] {
				chi[k], f.edge[k], f.b[k] = c, edge+at, b
			}
		}
		f.fuzz[k] = stride*span + d.Scatter/(2*f.b[k]*math.Sqrt(max(size, d.Scatter)))
		best = min(best, chi[k])
	}
	worse := max(1, best/float64(max(len(p)-2, 1))) // than the weights say
	most := math.Inf(1)
	if depth > deepest*d.Height { // so deep a lobe is hardly a parabola
		most = mostOfDeep
	}
	for k := range chi {
		f.says[k] = min(max((chi[0]-chi[k])/worse/2, -mostOfFlank), most)
	}
	return f, true
}

// fit fits b for a stop of a size that ends at an edge, by Newton's method, and
// returns the sum of squares that is left.
func fit(p []piece, edge, size, span, depth float64) (least, at float64) {
	root, beside, on := math.Sqrt(size), 0.0, 0 // of the pieces that the stop hides, whatever b is
	for on < len(p) && p[on].x <= edge {
		beside += p[on].w * p[on].y * p[on].y
		on++
	}
	b := (math.Sqrt(depth+size) - root) / (span - edge) // the window's end is that deep
	least, at = math.Inf(1), b
	const steps = 4
	for range steps {
		sum, slope, curve := beside, 0.0, 0.0
		for _, q := range p[on:] {
			z := q.x - edge
			off := q.y - (b*b*z*z + 2*b*root*z)
			by := 2*b*z*z + 2*root*z // what the model grows by with b
			slope -= 2 * q.w * off * by
			curve += 2 * q.w * (by*by - off*2*z*z)
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

// Sums is what openings say together, of each size.
type Sums struct {
	N     int           // openings that say something
	flat  int           // and that their nose is flat, if nothing stopped
	Nose  measure.Stamp // of the first of them
	Lift  measure.Length
	says  [len(sizes)]float64
	sides [2][len(sizes)]float64
}

// Add adds what an opening says.
func (s *Sums) Add(o Says, nose measure.Stamp, lift measure.Length) {
	for k := range s.says {
		for side := range s.sides {
			s.sides[side][k] += temper * o.flanks[side][k]
		}
		s.says[k] += temper * (o.flanks[0][k] + o.flanks[1][k] + o.lasts[k])
	}
	if o.flat {
		s.flat++
	}
	if s.N++; s.N == 1 {
		s.Nose, s.Lift = nose, lift
	}
}

// Tells says whether the spindle stopped, beyond doubt, and took off more than least.
// A hand that waits beside the nose until the spring throws the cam past it leaves an
// edge like that of a stop on one flank: along time both must say it.
func (s *Sums) Tells(angles bool, least float64) bool {
	best := s.likeliest()
	either := enoughEither
	if angles {
		either = -mostAgainst
	}
	both := min(s.sides[0][best], s.sides[1][best]) > either
	return s.says[best] > enoughTells && both && sizes[best] > least
}

// likeliest returns which size is the likeliest.
func (s *Sums) likeliest() (best int) {
	for k := range s.says {
		if s.says[k] > s.says[best] {
			best = k
		}
	}
	return best
}

// Takes returns what the sizes, as likely as they are, take off the nose in all but one
// of twenty cases, or the root of their mean square, whichever is more.
func (s *Sums) Takes() float64 {
	var all, square float64
	var p [len(sizes)]float64
	best, stopped := s.likeliest(), prior
	if 2*s.flat >= s.N {
		stopped /= flatLobes
	}
	for k, size := range sizes {
		p[k] = math.Exp(s.says[k] - s.says[best])
		if k > 0 {
			p[k] *= stopped
		}
		all, square = all+p[k], square+p[k]*size*size
	}
	most, beyond := len(sizes)-1, p[len(sizes)-1]
	for most > 0 && beyond < all/20 {
		most--
		beyond += p[most]
	}
	return max(math.Sqrt(square/all), sizes[most])
}

// Lags returns by how much a spindle that sticks lags under its load, along the crank angle:
// it stays on the nose until the valve has gone back by twice that, and its opening flank is
// that of a sound one. 0 for nothing; told is whether that is beyond doubt.
func (s *Sums) Lags() (by float64, told bool) {
	open, closing := &s.sides[0], &s.sides[1]
	best, opens := 0, 0.0
	for k := range sizes {
		opens = max(opens, open[k])
		if closing[k] > closing[best] {
			best = k
		}
	}
	only := closing[best] - open[best]
	if closing[best] < mindsLag || only < mindsLagOnly {
		return 0, false
	}
	for k, size := range sizes {
		if closing[k] > closing[best]-lagLikely {
			by = size / 2
		}
	}
	return by, closing[best] > tellsLag && only > tellsLagOnly && opens < soundOpens
}

// leavesOut is by how much less likely than none a size is left out, as a logarithm.
const leavesOut = 3.0

// AtMost returns the largest size that the edges do not leave out; infinite where they say
// nothing, or do not leave out the largest that is weighed.
func (s *Sums) AtMost() float64 {
	most := 0.0
	for k, size := range sizes {
		if s.says[k] > -leavesOut {
			most = size
		}
	}
	if s.N == 0 || most == sizes[len(sizes)-1] {
		return math.Inf(1)
	}
	return most
}
