package lift

import (
	"math"
	"slices"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/drive"
	"lobescribe/capture/lift/evidence"
	"lobescribe/device/measure"
)

// A hydraulic lifter that bleeds down lets the valve sink while it is open. Where
// the hand pauses the lift should stand; there it shows, on both flanks and
// always downward, at a pace of its own. What it takes off the nose is that pace
// times the time since the valve opened. With an encoder it shows besides in
// lifts that are the lower at one angle the longer the valve has been open.

// pause is a time in which the hand stood still with the valve open.
type pause struct {
	pace float64 // that lift fell at, nm/us
	u    float64 // standard uncertainty of pace
	span float64 // us
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

// pauses finds them in a passage.
func (e surroundings) pauses(v *view) []pause {
	var all []pause
	slack := 1.2*e.step + 5*e.noise
	for i := 0; i < len(v.y)-4; {
		if v.y[i] < lowPause*v.height {
			i++
			continue
		}
		j := i
		for j+1 < len(v.y) && math.Abs(v.y[j+1]-v.y[i]) <= sinkingMost*(v.t[j+1]-v.t[i])+slack &&
			!(math.Abs(v.p[j+1].a-v.p[i].a) > drive.Still) {
			j++
		}
		if v.t[j]-v.t[i] < leastPause || j-i < 4 {
			i += max((j-i)/2, 1)
			continue
		}
		if p, ok := v.pauseIn(i, j, e.step, e.noise); ok {
			all = append(all, p)
		}
		i = j + 1
	}
	return all
}

// pauseIn fits a line to the middle of a pause, for its ends may be the hand's.
// False where that is no line: a hand creeps now more, now less, and over the nose
// up and down.
func (v *view) pauseIn(i, j int, step, noise float64) (pause, bool) {
	cut := (j - i) / 6
	i, j = i+cut, j-cut
	mid := (i + j) / 2
	whole, first, last := v.lineFrom(i, j), v.lineFrom(i, mid), v.lineFrom(mid, j)
	p := pause{span: v.t[j] - v.t[i], pace: -whole.slope}
	if p.span <= 0 || whole.spread <= 0 {
		return p, false
	}
	// Without noise all readings of a count are rounded alike, and one change of a
	// count is all that is known.
	p.u = gum.Root(noise/math.Sqrt(whole.spread), gum.Rectangular(step)/p.span)
	apart := math.Abs(first.slope - last.slope)
	u := gum.Root(noise/math.Sqrt(max(first.spread, 1)), noise/math.Sqrt(max(last.spread, 1)), 4*gum.Rectangular(step)/p.span)
	return p, apart <= unevenPause*u+0.6*math.Abs(p.pace)
}

// fitted is a straight line through readings: its slope, and the sum of the
// squares of their times about the mean.
type fitted struct{ slope, spread float64 }

func (v *view) lineFrom(i, j int) fitted {
	var n, st, sy, stt, sty float64
	t0, y0 := v.t[i], v.y[i]
	for k := i; k <= j; k++ {
		t, y, w := v.t[k]-t0, v.y[k]-y0, v.w[k]
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
// One that bleeds falls by one pace in as many, somewhere between slowestSink and
// fastestSink. Besides, a valve that has sunk is shut before the lobe's closing
// ramp: the foot of that flank is cut short, that of the opening one is not.
const (
	slowestSink, fastestSink = 8e-3, 0.12 // nm/us: mm a second
	creepShare               = 1.0 / 3
	creepScale               = 0.03 // nm/us, of a Laplace distribution
	// Pauses of one hand go together: they count for no more than so many.
	mostLooks = 6.0
	// The logarithm by how much a closing foot is quicker than its opening one, in
	// sound valve trains and in ones that bleed: means and standard deviations
	// (wide, for ramps differ by design).
	soundFeet, bledFeet, feetSpread = 0.5, -0.6, 1.2
	// Beyond this they say no more.
	mostFeet = 2.0
)

// sinking is what the openings say of a lifter that bleeds down.
type sinking struct {
	pauses int
	// sums are, for each of paces, how much likelier all pauses are at it than
	// standing, as logarithms.
	sums [sinkPaces]float64
	feet []foot // of each opening
	// What the flanks say where there is an encoder, see package drive: nm/us, and its
	// standard uncertainty, 0 for nothing.
	flanks, flanksU float64
	told            bool
}

const sinkPaces = 24

// sinkingPaces are those that a lifter may bleed down at, nm/us.
var sinkingPaces = func() (paces [sinkPaces]float64) {
	for i := range paces {
		paces[i] = slowestSink * math.Pow(fastestSink/slowestSink, float64(i)/(sinkPaces-1))
	}
	return paces
}()

// foot is by how much slower the closing flank goes than the opening one, as logarithms,
// in bands of lift over the heel; the outermost first.
type foot [3]float64

// middleFoot returns the median over the openings.
func (k *sinking) middleFoot() (middle foot) {
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

// sunkShut returns by how much of the lift the valve seems to have sunk by the time it
// shut: over its heel lift goes with the square of the way, so that the closing flank
// goes at each level as the opening one does at another, higher by that (derived here).
// It holds for equal ramps, and what it says goes into the uncertainty only. 0 where the
// feet are even, or the closing one is the slower.
func (k *sinking) sunkShut() float64 {
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

// mostSunk is the largest share of the lift by which a valve that sinks is looked for.
const mostSunk = 0.25

// add takes the pauses and feet of an opening.
func (k *sinking) add(m measured) {
	for _, p := range m.pauses {
		if k.pauses == mostPauses {
			break
		}
		k.pauses++
		sound := logPause(p, 0)
		for i, pace := range sinkingPaces {
			k.sums[i] += logPause(p, pace) - sound
		}
	}
	if m.shape.OK && len(k.feet) < mostPauses {
		var d foot
		for i := range d {
			d[i] = m.shape.Flanks[1].Foot[1+i] - m.shape.Flanks[0].Foot[1+i]
		}
		k.feet = append(k.feet, d)
	}
}

// weigh returns the logarithm of how many times likelier pauses, flanks and feet
// are with a lifter that bleeds down than without, at which pace, and at which it
// may be all the same.
func (k *sinking) weigh() (weight, pace, most float64) {
	looks := min(1, mostLooks/float64(max(k.pauses, 1)))
	sums := k.sums
	best := 0
	for i := range sums {
		sums[i] *= looks
		if k.flanksU > 0 {
			sums[i] += k.logFlanks(sinkingPaces[i]) - k.logFlanks(0)
		}
		if sums[i] > sums[best] {
			best = i
		}
	}
	mean := 0.0
	most = sinkingPaces[best]
	for i := range sums {
		mean += math.Exp(sums[i]-sums[best]) / sinkPaces
		if sums[i] > sums[best]-asLikely {
			most = sinkingPaces[i]
		}
	}
	weight = sums[best] + math.Log(mean)
	if len(k.feet) > 0 {
		middle := k.middleFoot()[0]
		a, b := (middle-soundFeet)/feetSpread, (middle-bledFeet)/feetSpread
		weight += min(max((a*a-b*b)/2, -mostFeet), mostFeet)
	}
	return weight, sinkingPaces[best], most
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
func (k *sinking) logFlanks(pace float64) float64 {
	u := gum.Root(k.flanksU, leastPaceU, 0.1*pace)
	d := (k.flanks - pace) / u
	return math.Log((1-wildFlanks)*math.Exp(-d*d/2)/(u*math.Sqrt(2*math.Pi)) + wildFlanks/fastestSink)
}

// logPause returns the logarithm of the likelihood of a pause's pace about a
// mean.
func logPause(p pause, mean float64) float64 {
	u := gum.Root(p.u, 1e-3, 0.1*mean)
	d := p.pace - mean
	stands := math.Exp(-d*d/(2*u*u)) / (u * math.Sqrt(2*math.Pi))
	scale := creepScale + p.u
	creeps := math.Exp(-math.Abs(d)/scale) / (2 * scale)
	return math.Log((1-creepShare)*stands + creepShare*creeps)
}

const (
	// A lifter that bleeds down is told beyond this weight, and is in the
	// uncertainty beyond the other.
	enoughToTell, enoughToMind = 7.0, -0.7
)

// judgeSinking takes the pauses of an opening and tells of a lifter that bleeds
// down, once.
func (g *Segmenter) judgeSinking(m measured) {
	g.verdict.sinking.add(m)
	g.tellSinking(m)
}

func (g *Segmenter) tellSinking(m measured) {
	k := &g.verdict.sinking
	if k.told || k.pauses == 0 && k.flanksU == 0 {
		return
	}
	weight, pace, _ := k.weigh()
	if weight < enoughToTell || pace >= fastestSink {
		return // what sinks faster still is a hand that gives way
	}
	k.told = true
	g.fault(Bleeding, m.Open, "the valve sinks by %s a second while it is open: the lifter bleeds down, and max lift reads low by what it sinks until the nose, here about %s. Turn faster, pump the lifter up, or use a solid lifter for the mock-up",
		length(pace*s), length(pace*float64(m.Nose-m.Open)))
}

// The uncertainty is so many times what pauses, and what feet, say that a valve sinks by:
// of the pauses the most is meant; ramps that differ hide a part from the feet.
const sunkTimes, seenTimes = 0.6, 0.8

// sunk gives each opening what a lifter that bleeds down may have taken off it.
func (g *Segmenter) sunk(dst []measured) {
	k := &g.verdict.sinking
	weight, _, pace := k.weigh()
	shut := k.sunkShut()
	if weight < enoughToMind || k.pauses == 0 && k.flanksU == 0 {
		if pace = 0; shut == 0 {
			return
		}
	}
	// Each nose reads low by what its valve had sunk.
	paces, most := make([]float64, len(dst)), 0.0
	for i, m := range dst {
		paces[i] = max(sunkTimes*pace, seenTimes*shut*float64(m.MaxLift)/float64(m.Close-m.Open))
		most = max(most, 2*paces[i]*float64(m.Nose-m.Open))
	}
	for i := range dst {
		m := &dst[i]
		nose := paces[i] * float64(m.Nose-m.Open)
		m.alike = gum.Root(m.alike, nose)
		for side, c := range [2]Crossing{m.OpeningHalf, m.ClosingHalf} {
			// Half lift sinks with the nose, by half as much.
			if x := &m.crossing[side]; x.steep > 0 {
				x.u = gum.Root(x.u, math.Abs(paces[i]*float64(c.At-m.Open)-nose/2)/x.steep)
			}
		}
		m.stateLift()
	}
	if len(dst) > 0 {
		g.hold(Bleeding, measure.Length(most), "the lifter may bleed down: the lift sinks a little while the valve is open. Turn without pausing, or use a solid lifter for the mock-up")
	}
}

// A spindle that sticks does not come home to the heel it left: the first time by
// as much as it sticks, and then each time to the same place or now here, now
// there. Its nose reads low by as much again, and that the openings do not show.

// homecomings is by how much the heel moved over each opening, toward open.
type homecomings struct {
	moved []float64
	u     float64 // standard uncertainty of the least known
	fresh bool    // the first is of a spindle that had not moved before
	told  bool
}

const mostHomecomings = 64

// mostStick is by how many counts a spindle sticks at most; more has slipped.
const mostStick = 8.0

// sticks returns by how much the spindle seems to stick: what the heel moved by
// over one opening and not over another. A drift moves it alike each time.
func (h *homecomings) sticks() float64 {
	if len(h.moved) == 0 {
		return 0
	}
	least, most := math.Inf(1), 0.0
	for _, d := range h.moved {
		least, most = min(least, math.Abs(d)), max(most, math.Abs(d))
	}
	for _, d := range h.moved {
		if d*h.moved[0] < 0 { // forth and back is no drift
			least = 0
		}
	}
	if len(h.moved) == 1 {
		return most
	}
	return most - least
}

// most returns by how much the heel moved at the most.
func (h *homecomings) most() float64 {
	most := 0.0
	for _, d := range h.moved {
		most = max(most, math.Abs(d))
	}
	return most
}

// judgeSticking looks at how well the spindle comes home.
func (g *Segmenter) judgeSticking(m measured) {
	h := &g.verdict.home
	if m.before.n == 0 || m.after.n == 0 || m.before == m.after || m.reZeroed || len(h.moved) >= mostHomecomings {
		return
	}
	step := float64(g.steps.Step())
	d := m.after.y - m.before.y
	if math.Abs(d) > mostStick*step+5*m.noise {
		return // something slipped, and that is told
	}
	if len(h.moved) == 0 {
		h.fresh = len(g.all) == 0 && g.onHeel(m)
	}
	h.moved = append(h.moved, d)
	h.u = max(h.u, gum.Root(m.before.u, m.after.u))
	by := h.sticks()
	if len(h.moved) < 2 || by < 1.7*step+5*h.u || by < leastTold || h.told {
		return
	}
	h.told = true
	g.fault(Sticking, m.Close, "the spindle does not come home to the place it left: it sticks by about %v, and a nose then reads low by as much again. Clean its stem, turn on without going back, tap the indicator lightly, or prove it", length(by))
}

// leastTold is a length that nobody cuts metal by, nanometres.
const leastTold = 1.5 * um

// unknownStick is what nobody knows of how a spindle sticks, counts: a standard
// uncertainty. One that sticks by more than three counts is told by most who use it
// (common practice, no source).
const unknownStick = 2.7

// stuck gives each opening what a spindle that sticks may have taken off it: its
// nose is low by that much, and its heel high. Where no opening began from a heel
// that nothing had come home to yet, it may have stuck each time alike.
func (g *Segmenter) stuck(dst []measured) {
	h, step := &g.verdict.home, float64(g.steps.Step())
	by := stickTimes * max(h.sticks()-0.6*step-3*h.u, 0)
	switch {
	case h.told || g.o.Proof.Proved():
	case h.fresh && h.most() > 0.8*step+3*h.u && h.most() > leastTold/2:
		by = gum.Root(by, unknownStick*step)
		g.hold(Sticking, measure.Length(2*unknownStick*step), "the heel does not come back to the same place: the spindle may stick, or something drifts. Turn it once more, or prove the indicator")
	case !h.fresh:
		by = gum.Root(by, unknownStick*step)
		if len(dst) > 0 {
			g.hold(Sticking, measure.Length(2*unknownStick*step), "the trace does not begin on the heel, so that it does not show whether the spindle sticks. Begin with the valve shut, or prove the indicator")
		}
	}
	if by == 0 {
		return
	}
	for i := range dst {
		m := &dst[i]
		m.common = gum.Root(m.common, by)
		m.stateLift()
	}
}

// stickTimes: a spindle that jumps has come home by less than it sticks by.
const stickTimes = 1.5
