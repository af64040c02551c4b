// Package sinking says whether the lifter bleeds down while the valve is open, how fast,
// and what it may take off a nose all the same: [Pauses] looks at one opening, [Sums] adds
// up what they say.
//
// A hydraulic lifter that bleeds down lets the valve sink while it is open. Where
// the hand pauses the lift should stand; there it shows, on both flanks and
// always downward, at a pace of its own. What it takes off the nose is that pace
// times the time since the valve opened. With an encoder it shows besides in
// lifts that are the lower at one angle the longer the valve has been open.
package sinking

import (
	"math"
	"slices"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/drive"
	"lobescribe/capture/lift/evidence"
)

// A millisecond and a second, in microseconds.
const ms, s = 1e3, 1e6

// Pause is a time in which the hand stood still with the valve open.
type Pause struct {
	pace float64 // that lift fell at, nm/us
	u    float64 // standard uncertainty of pace
	span float64 // us
	at   float64 // when it began, us after the valve opened
}

const (
	leastPause  = 300 * ms
	sinkingMost = 150.0 / s * 1e3 // 0.15 mm a second: more is a hand that moves
	// Pauses count above this share of the lift.
	lowPause   = 0.05
	mostPauses = 128
	// A pause whose first and last half do not agree is a hand that moved.
	unevenPause = 3.0
)

// Readings is a passage over the lobe.
type Readings struct {
	T, Y, W, A  []float64 // microseconds, lift over the heel, readings, degrees or NaN
	Height      float64   // the highest
	Step, Noise float64   // of the indicator
}

// Pauses finds them in a passage.
func Pauses(v *Readings) []Pause {
	var all []Pause
	slack := 1.2*v.Step + 5*v.Noise
	for i := 0; i < len(v.Y)-4; {
		t, y, a := v.T[i], v.Y[i], v.A[i]
		if y < lowPause*v.Height {
			i++
			continue
		}
		j := i
		for j+1 < len(v.Y) && math.Abs(v.Y[j+1]-y) <= sinkingMost*(v.T[j+1]-t)+slack && !(math.Abs(v.A[j+1]-a) > drive.Still) {
			j++
		}
		if v.T[j]-v.T[i] < leastPause || j-i < 4 {
			i += max((j-i)/2, 1)
			continue
		}
		if p, ok := v.pauseIn(i, j); ok {
			all = append(all, p)
		}
		i = j + 1
	}
	return all
}

// pauseIn fits a line to the middle of a pause, for its ends may be the hand's.
// False where that is no line: a hand creeps now more, now less, and over the nose
// up and down.
func (v *Readings) pauseIn(i, j int) (Pause, bool) {
	cut := (j - i) / 6
	i, j = i+cut, j-cut
	mid := (i + j) / 2
	whole, first, last := v.lineFrom(i, j), v.lineFrom(i, mid), v.lineFrom(mid, j)
	p := Pause{span: v.T[j] - v.T[i], pace: -whole.slope, at: v.T[i] - v.T[0]}
	if p.span <= 0 || whole.spread <= 0 {
		return p, false
	}
	// Without noise all readings of a count are rounded alike, and one change of a
	// count is all that is known.
	p.u = gum.Root(v.Noise/math.Sqrt(whole.spread), gum.Rectangular(v.Step)/p.span)
	apart := math.Abs(first.slope - last.slope)
	u := gum.Root(v.Noise/math.Sqrt(max(first.spread, 1)), v.Noise/math.Sqrt(max(last.spread, 1)), 4*gum.Rectangular(v.Step)/p.span)
	return p, apart <= unevenPause*u+0.6*math.Abs(p.pace)
}

// fitted is a straight line through readings: its slope, and the sum of the
// squares of their times about the mean.
type fitted struct{ slope, spread float64 }

func (v *Readings) lineFrom(i, j int) fitted {
	var n, st, sy, stt, sty float64
	t0, y0 := v.T[i], v.Y[i]
	for k := i; k <= j; k++ {
		t, y, w := v.T[k]-t0, v.Y[k]-y0, v.W[k]
		n, st, sy, stt, sty = n+w, st+w*t, sy+w*y, stt+w*t*t, sty+w*t*y
	}
	d := stt - st*st/n
	if d <= 0 {
		return fitted{}
	}
	return fitted{slope: (sty - st*sy/n) / d, spread: d}
}

// Two explanations are weighed by their likelihoods. A sound lifter stands in
// two thirds of the pauses; in the others the hand creeps, as often up as down.
// One that bleeds falls by one pace in as many, somewhere between slowest and
// Fastest. Besides, a valve that has sunk is shut before the lobe's closing
// ramp: the foot of that flank is cut short, that of the opening one is not.
const (
	slowest = 8e-3 // nm/us: mm a second
	// Fastest is as fast as a lifter bleeds down; what sinks faster is a hand that gives way.
	Fastest    = 0.12
	creepShare = 1.0 / 3
	creepScale = 0.03 // nm/us, of a Laplace distribution
	// Pauses of one hand go together: they count for no more than so many.
	mostLooks = 6.0
	// The logarithm by how much a closing foot is quicker than its opening one, in
	// sound valve trains and in ones that bleed: means and standard deviations
	// (wide, for ramps differ by design).
	soundFeet, bledFeet, feetSpread = 0.5, -0.6, 1.2
	// Beyond this they say no more.
	mostFeet = 2.0
)

// Sums is what the openings say together.
type Sums struct {
	pauses int
	// sums are, for each of paces, how much likelier all pauses are at it than
	// standing, as logarithms.
	sums [sinkPaces]float64
	feet []foot // of each opening
	// stood is how soon after the valve opened a pause stood for sure, us; 0 for never.
	stood float64
	// What the flanks say where there is an encoder, see package drive: nm/us, and its
	// standard uncertainty, 0 for nothing.
	flanks, flanksU float64
}

// Flanks takes what the flanks say of the pace, with its standard uncertainty; nm/us.
func (k *Sums) Flanks(pace, u float64) { k.flanks, k.flanksU = pace, u }

// Paced says whether pauses or flanks say anything of a pace.
func (k *Sums) Paced() bool { return k.pauses > 0 || k.flanksU > 0 }

const sinkPaces = 24

// paces are those that a lifter may bleed down at, nm/us.
var paces = func() (paces [sinkPaces]float64) {
	for i := range paces {
		paces[i] = slowest * math.Pow(Fastest/slowest, float64(i)/(sinkPaces-1))
	}
	return paces
}()

// foot is by how much slower the closing flank goes than the opening one, as logarithms,
// in bands of lift over the heel; the outermost first.
type foot [3]float64

// middleFoot returns the median over the openings.
func (k *Sums) middleFoot() (middle foot) {
	for i := range middle {
		d := make([]float64, len(k.feet))
		for j := range d {
			d[j] = k.feet[j][i]
		}
		slices.Sort(d)
		middle[i] = (d[len(d)/2] + d[(len(d)-1)/2]) / 2
	}
	return middle
}

// Feet that differ by no more than this say nothing of a lifter: hands and ramps differ.
var evenFoot = foot{-0.1, -0.2, -0.3}

// Shut returns by how much of the lift the valve seems to have sunk by the time it
// shut: over its heel lift goes with the square of the way, so that the closing flank
// goes at each level as the opening one does at another, higher by that (derived here).
// It holds for equal ramps, and what it says goes into the uncertainty only. 0 where the
// feet are even, or the closing one is the slower.
func (k *Sums) Shut() float64 {
	if len(k.feet) == 0 {
		return 0
	}
	d := k.middleFoot()
	for i, even := range evenFoot {
		if d[i] > even {
			return 0
		}
	}
	sum := 0.0
	for i := range 2 { // the innermost band is all noise
		until, from := evidence.Levels(1 + i)
		sum += (until + from) / 2 * (math.Exp(-2*d[i]) - 1)
	}
	return min(sum/2, mostSunk)
}

// Empty returns by how much the valve has sunk at the most if the lifter was empty, and
// sank no more, by the first pause that stood; infinite where none did.
func (k *Sums) Empty() float64 {
	if k.stood == 0 {
		return math.Inf(1)
	}
	return Fastest * k.stood
}

// stoodU is by how many standard uncertainties a pause that stood is slower than any
// lifter.
const stoodU = 2.0

// mostSunk is the largest share of the lift by which a valve that sinks is looked for.
const mostSunk = 0.25

// Add takes the pauses of an opening, and its feet.
func (k *Sums) Add(pauses []Pause, shape evidence.Shape) {
	for _, p := range pauses {
		if k.pauses == mostPauses {
			break
		}
		k.pauses++
		if math.Abs(p.pace)+stoodU*p.u < slowest && (k.stood == 0 || p.at < k.stood) {
			k.stood = p.at
		}
		sound := logPause(p, 0)
		for i, pace := range paces {
			k.sums[i] += logPause(p, pace) - sound
		}
	}
	if shape.OK && len(k.feet) < mostPauses {
		var d foot
		for i := range d {
			d[i] = shape.Flanks[1].Foot[1+i] - shape.Flanks[0].Foot[1+i]
		}
		k.feet = append(k.feet, d)
	}
}

// Weigh returns the logarithm of how many times likelier pauses, flanks and feet
// are with a lifter that bleeds down than without, at which pace, and at which it
// may be all the same.
func (k *Sums) Weigh() (weight, pace, most float64) {
	looks := min(1, mostLooks/float64(max(k.pauses, 1)))
	sums := k.sums
	best := 0
	for i := range sums {
		sums[i] *= looks
		if k.flanksU > 0 {
			sums[i] += k.logFlanks(paces[i]) - k.logFlanks(0)
		}
		if sums[i] > sums[best] {
			best = i
		}
	}
	mean := 0.0
	most = paces[best]
	for i := range sums {
		mean += math.Exp(sums[i]-sums[best]) / sinkPaces
		if sums[i] > sums[best]-asLikely {
			most = paces[i]
		}
	}
	weight = sums[best] + math.Log(mean)
	if len(k.feet) > 0 {
		middle := k.middleFoot()[0]
		a, b := (middle-soundFeet)/feetSpread, (middle-bledFeet)/feetSpread
		weight += min(max((a*a-b*b)/2, -mostFeet), mostFeet)
	}
	return weight, paces[best], most
}

const (
	// asLikely is by how much less likely a pace may be, as a logarithm, and still
	// be meant by the uncertainty.
	asLikely = 2.0
	// What the flanks say of a pace is off by this besides, nm/us; and once in so
	// many times it is off by anything.
	leastPaceU, wildFlanks = 1e-3, 1e-3
)

// logFlanks returns the logarithm of the likelihood of what the flanks say at a
// pace.
func (k *Sums) logFlanks(pace float64) float64 {
	u := gum.Root(k.flanksU, leastPaceU, 0.1*pace)
	d := (k.flanks - pace) / u
	return math.Log((1-wildFlanks)*math.Exp(-d*d/2)/(u*math.Sqrt(2*math.Pi)) + wildFlanks/Fastest)
}

// logPause returns the logarithm of the likelihood of a pause's pace about a
// mean.
func logPause(p Pause, mean float64) float64 {
	u := gum.Root(p.u, 1e-3, 0.1*mean)
	d := p.pace - mean
	stands := math.Exp(-d*d/(2*u*u)) / (u * math.Sqrt(2*math.Pi))
	scale := creepScale + p.u
	creeps := math.Exp(-math.Abs(d)/scale) / (2 * scale)
	return math.Log((1-creepShare)*stands + creepShare*creeps)
}

// Nose is the max lift of an opening.
type Nose struct {
	After float64 // us from when the valve opened
	Lift  float64 // nm
	U     float64 // standard uncertainty that the openings do not share, nm
}

// noseU is how many standard uncertainties the bound of the noses lies beyond what they say.
const noseU = 3.0

// AtMost returns how fast the valve sank at the most, nm/us, by noses that were reached now
// sooner and now later after it opened: one that had sunk for longer reads lower. Infinite
// where they were reached alike. It says nothing of a lifter that was empty before each.
func AtMost(noses []Nose) float64 {
	var st, sy float64
	n := float64(len(noses))
	for _, x := range noses {
		st, sy = st+x.After/n, sy+x.Lift/n
	}
	var stt, sty, u, rest float64
	for _, x := range noses {
		t := x.After - st
		stt, sty, u = stt+t*t, sty+t*(x.Lift-sy), max(u, x.U)
	}
	if stt == 0 {
		return math.Inf(1)
	}
	slope := sty / stt
	for _, x := range noses {
		off := x.Lift - sy - slope*(x.After-st)
		rest += off * off
	}
	if n > 2 {
		u = max(u, math.Sqrt(rest/(n-2)))
	}
	return max(-slope, 0) + noseU*u/math.Sqrt(stt)
}
