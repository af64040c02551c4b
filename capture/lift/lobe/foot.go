package lobe

import (
	"math"
	"slices"
)

// footLevels is below how many shares of the lift a foot is looked at.
const footLevels = 4

// footShare is the first of them; each other is half of the one before. Over the whole foot
// a parabola has no slope left at the heel where the flank goes on at an even pace first, as
// on a ramp; over less of it none is left where the flank begins softly and bends only
// later. A corner shows in all alike.
const footShare = 0.12

const (
	// A foot goes over so many degrees and readings.
	footDegrees, footReadings = 2.0, 6
	// footSure is how many times its standard uncertainty a corner must be, on both flanks
	// together.
	footSure = 2.0
	// footEdges is from how many times what tells a lift from its heel less than the whole
	// foot says something: under that it is a few counts.
	footEdges = 4.0
	// bendSure is by how many times its standard uncertainty a flank must speed up over less
	// than the whole foot: it is divided by.
	bendSure = 4.0
)

// Foot is how a flank meets the heel, against the crank angle, by parabolas that fit it
// below each of some levels: on a ramp, or at a pace. A spindle that hangs free is met by
// the valve on its way, and so is a lobe whose ramp is less than the lash.
type Foot [footLevels]corner

// corner is where a parabola meets the heel.
type corner struct {
	square, u float64 // of the slope there, nanometres a degree, and its standard uncertainty
	bend, by  float64 // half of how it speeds up, nanometres a degree squared, and its standard uncertainty
	ok        bool
}

// free returns the square of the slope there, and how far the valve had gone by then,
// nanometres, if it sped up from rest as it does behind: a parabola reaches the slope v at
// v²/2a (derived here). Infinite where it does not speed up. So many standard uncertainties
// are added to the slope's square, and half as many taken off how it speeds up.
func (c corner) free(sure float64) (square, free float64) {
	square, bend := max(c.square+sure*c.u, 0), c.bend-sure/2*c.by
	if bend <= 0 {
		return square, math.Inf(1)
	}
	return square, square / (4 * bend)
}

// FootOf fits parabolas to the foot of a flank, where edge is what tells a lift from its
// heel: a is the angle, degrees, and y the lift over the heel, from the heel to the nose.
// Where a hand went back only what it had not passed counts.
func FootOf(a, y []float64, edge, height float64) (f Foot) {
	var p parabola
	level := func(k int) float64 { return height * footShare / float64(int(1)<<k) }
	from, k := math.NaN(), footLevels-1
	for i, y := range y {
		if y < edge { // it was still on the heel
			p, k = parabola{}, footLevels-1
			continue
		}
		for ; k >= 0 && y > level(k); k-- {
			f.fit(k, &p, level(k), edge)
		}
		if k < 0 {
			break
		}
		if p.s[0] == 0 {
			from = a[i]
		}
		p.see(math.Abs(a[i]-from), y)
	}
	for ; k >= 0; k-- {
		f.fit(k, &p, level(k), edge)
	}
	return f
}

// fit sets what a level says that readings lie near to; but for the whole foot only one that
// is high enough says anything.
func (f *Foot) fit(k int, p *parabola, level, edge float64) {
	if f[k] = (corner{}); 2*p.high > level && (k == 0 || level > footEdges*edge) {
		f[k] = p.corner()
	}
}

// parabola is a fit y = c0 + c1 x + c2 x² to what is seen from x = 0 outwards.
type parabola struct {
	s    [5]float64 // sums of the powers of x
	r    [3]float64 // and of y with them
	yy   float64
	far  float64 // the x and y farthest out
	high float64
}

// see takes a reading, if it lies no nearer than those before.
func (p *parabola) see(x, y float64) {
	if x < p.far {
		return
	}
	p.far, p.high, p.yy = x, max(p.high, y), p.yy+y*y
	for j, q := 0, 1.0; j < len(p.s); j, q = j+1, q*x {
		p.s[j] += q
		if j < len(p.r) {
			p.r[j] += q * y
		}
	}
}

func (p *parabola) corner() (k corner) {
	s := &p.s
	inv, ok := invert3([3][3]float64{{s[0], s[1], s[2]}, {s[1], s[2], s[3]}, {s[2], s[3], s[4]}})
	if !ok || s[0] < footReadings || p.far < footDegrees {
		return k
	}
	var c [3]float64
	left := p.yy // of the squares, beside the parabola
	for i := range c {
		c[i] = inv[i][0]*p.r[0] + inv[i][1]*p.r[1] + inv[i][2]*p.r[2]
		left -= c[i] * p.r[i]
	}
	if c[2] <= 0 {
		return corner{square: max(c[1], 0) * max(c[1], 0), ok: true}
	}
	by := [3]float64{-4 * c[2], 2 * c[1], -4 * c[0]} // what the square changes by with each
	of := 0.0
	for i := range by {
		for j := range by {
			of += by[i] * by[j] * inv[i][j]
		}
	}
	scatter := math.Sqrt(max(left, 0) / (s[0] - 5)) // Student's, of three that were fitted
	return corner{square: c[1]*c[1] - 4*c[0]*c[2], u: scatter * math.Sqrt(max(of, 0)), bend: c[2], by: scatter * math.Sqrt(inv[2][2]), ok: true}
}

// Feet are those of the openings of a trace, of their opening flanks and of their closing ones.
type Feet [2][]Foot

// Add takes the feet of an opening's flanks, if readings enough showed them.
func (f *Feet) Add(feet [2]Foot) {
	for side, foot := range feet {
		if foot[0].ok {
			f[side] = append(f[side], foot)
		}
	}
}

const (
	// freeDegrees is the most of a flank, at the pace it meets the heel, over which a spindle
	// hangs free.
	freeDegrees = 12.0
	// A ramp lifts the valve by no more in a degree of the crank, and in all, nanometres: 0.01
	// to 0.02 mm and 0.1 to 0.35 mm are usual (common practice, no source). A flank that meets
	// the heel no faster, and would have gone farther from rest, is on its ramp.
	steepestRamp, highestRamp = 25_000.0, 350_000.0
)

// Free is by how far a spindle may hang free of a valve on its heel, nanometres.
type Free struct {
	// Corner is what it hung free by, if it did, where a corner is sure that is none of a
	// ramp; else nought. Most adds what no corner shows: a lobe that begins with the power p
	// of the way has gone (2p-2)/p times v²/2a, which is never twice (derived here), and
	// there may have been a ramp before.
	Corner, Most float64
	// Seems is what the flanks would have gone that are sure to be so steep, nanometres a
	// degree, where they meet the heel; by the one that says less.
	Seems, Slope float64
	Known        bool // feet enough were seen
}

// Free says by how much the spindle may have hung free.
func (f *Feet) Free() Free {
	r := Free{Seems: math.Inf(1), Slope: math.Inf(1), Known: true}
	most := math.Inf(1)
	sure, ramp := 0.0, false
	for _, feet := range f {
		if len(feet) == 0 {
			return Free{}
		}
		whole := middle(feet, 0)
		if -whole.square > 4*whole.bend*highestRamp {
			return Free{} // it comes to rest higher than a ramp goes: it is no foot
		}
		sure += whole.square / max(whole.u, math.SmallestNonzeroFloat32) / math.Sqrt2
		square, free := whole.free(0)
		if whole.square < footSure*whole.u {
			square, free = 0, 0
		}
		r.Seems, r.Slope = min(r.Seems, free), min(r.Slope, math.Sqrt(square))
		square, free = whole.free(footSure)
		for k := 1; k < footLevels; k++ {
			if c := middle(feet, k); c.ok && c.bend > bendSure*c.by {
				if s, by := c.free(footSure); by < free {
					square, free = s, by
				}
			}
		}
		steep := math.Sqrt(square)
		ramp = ramp || steep < steepestRamp && free > highestRamp
		most = min(most, free, freeDegrees*steep)
	}
	r.Most = 2*most + highestRamp
	if sure > footSure && !ramp {
		r.Corner = most
	}
	return r
}

// middle returns the corner in the middle of all that a level has.
func middle(feet []Foot, level int) (c corner) {
	var all [4][]float64
	for _, f := range feet {
		if k := f[level]; k.ok {
			for i, x := range [...]float64{k.square, k.u, k.bend, k.by} {
				all[i] = append(all[i], x)
			}
		}
	}
	n := len(all[0])
	if n == 0 {
		return c
	}
	for _, v := range all {
		slices.Sort(v)
	}
	wide := 1.25 / math.Sqrt(float64(n)) // a median scatters by a quarter more than a mean
	c = corner{square: all[0][n/2], u: wide * all[1][n/2], bend: all[2][n/2], by: wide * all[3][n/2], ok: true}
	if n > 2 { // openings differ by more than their readings say, by the hand that turned
		for i, x := range all[0] {
			all[1][i] = math.Abs(x - c.square)
		}
		slices.Sort(all[1])
		c.u = max(c.u, wide*madSigma*all[1][n/2])
	}
	return c
}

// madSigma makes a standard deviation of a median of deviations, of a normal one.
const madSigma = 1.483
