package lift

import (
	"math"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/creep"
	"lobescribe/capture/lift/sinking"
	"lobescribe/device/measure"
)

const (
	// A lifter that bleeds down is told beyond this weight, and is in the
	// uncertainty beyond the other.
	enoughToTell, enoughToMind = 7.0, -0.7
)

// pauses returns when the hand stood still with the valve open.
func (e surroundings) pauses(v *view) []sinking.Pause {
	return sinking.Pauses(&sinking.Readings{T: v.t, Y: v.y, W: v.w, A: v.a, Height: v.height, Step: e.step, Noise: e.noise})
}

// judgeSinking takes the pauses of an opening and tells of a lifter that bleeds
// down, once.
func (g *Segmenter) judgeSinking(m measured) {
	v := &g.verdict
	v.sinking.Add(m.pauses, m.shape)
	if len(v.noses) < mostJudged {
		v.noses = append(v.noses, g.noseOf(&m))
	}
	if !g.patient { // else all openings are heard first
		g.tellSinking(m)
	}
}

// boundTimes: when a valve opened is known by the flank, and what it sank by on the ramp is
// not in the noses' times.
const boundTimes = 12

// noseOf is what a nose says of a valve that sinks.
func (g *Segmenter) noseOf(m *measured) sinking.Nose {
	return sinking.Nose{After: float64(m.Nose - m.Open), Lift: float64(m.MaxLift), U: gum.Root(m.own, m.noise, gum.Rectangular(float64(g.steps.Step())))}
}

func (g *Segmenter) tellSinking(m measured) {
	v := &g.verdict
	if v.bleeds || !v.sinking.Paced() {
		return
	}
	weight, pace, _ := v.sinking.Weigh()
	if weight < enoughToTell || pace >= sinking.Fastest || pace > boundTimes*sinking.AtMost(v.noses) {
		return // what sinks faster still, or not at the noses, is a hand that gives way
	}
	v.bleeds = true
	g.fault(Bleeding, m.Open, "the valve sinks by %s a second while it is open: the lifter bleeds down, and max lift reads low by what it sinks until the nose, here about %s. Turn faster, pump the lifter up, or use a solid lifter for the mock-up",
		length(pace*s), length(pace*float64(m.Nose-m.Open)))
}

// seenTimes: the uncertainty is so many times what feet say that a valve sank by; ramps
// that differ hide a part from them.
const seenTimes = 0.8

// sunk gives each opening what a lifter that bleeds down may have taken off it.
func (g *Segmenter) sunk(dst []measured) {
	k := &g.verdict.sinking
	weight, _, pace := k.Weigh()
	shut := k.Shut()
	if weight < enoughToMind || !k.Paced() {
		if pace = 0; shut == 0 {
			return
		}
	}
	// Each nose reads low by what its valve had sunk.
	paces, most := make([]float64, len(dst)), 0.0
	noses := make([]sinking.Nose, len(dst))
	for i, m := range dst {
		noses[i] = g.noseOf(&m)
	}
	bound := sinking.AtMost(noses)
	for i, m := range dst {
		paces[i] = max(min(pace, bound/2), min(seenTimes*shut*float64(m.MaxLift), k.Empty())/float64(m.Close-m.Open))
		paces[i] = min(paces[i], sinking.Fastest/2)
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
	out   float64 // the most that a heel went up and down by as it was turned
	ways  [3]bool // that the angle counted over them: down, unknown, up
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

// slipped says whether the heel moved once, by more than that, and stood before as well as
// behind: a base that slipped. A spindle that sticks lags from the first opening on, toward
// open, or now here and now there.
func (h *homecomings) slipped(least float64) bool {
	n, at := 0, 0
	for i, d := range h.moved {
		if math.Abs(d) > least {
			n, at = n+1, i
		}
	}
	return n == 1 && (at > 0 || h.moved[0] < 0)
}

// drifts says whether the heel moved one way over the openings, by less and less, as far as
// least tells: what warms up does. A spindle that sticks has done with it at once.
func (h *homecomings) drifts(least float64) bool {
	first := h.moved[0]
	for i, d := range h.moved {
		if i > 0 && math.Abs(d) > math.Abs(h.moved[i-1])+least || d*first < 0 && math.Abs(d) > least {
			return false
		}
	}
	return len(h.moved) > 1 && h.moved[1]/first > atOnce
}

// atOnce is the share of the first way that is left for the second opening where what warms
// up takes a minute or more for it.
const atOnce = 0.3

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
	if m.before.n == 0 || m.after.n == 0 || m.before == m.after || m.reZeroed || g.stream.scale != 1 || len(h.moved) >= mostHomecomings {
		return // in another unit the heel's place is known to another step
	}
	step := float64(g.steps.Step())
	d := m.after.y - m.before.y
	if math.Abs(d) > max(mostStick*step+5*m.noise, leastShift) {
		return // something slipped, and that is told
	}
	if len(h.moved) == 0 {
		h.fresh = len(g.all) == 0 && g.onHeel(m)
	}
	h.moved = append(h.moved, d)
	h.u, h.out = max(h.u, gum.Root(m.before.u, m.after.u)), max(h.out, m.wander)
	h.ways[1+int(m.way)] = true
	by := h.sticks()
	if least := 1.7*step + 5*h.u; len(h.moved) < 2 || by < max(least, leastTold, seenTwice*h.out) || h.told || h.slipped(least/2) || h.drifts(least/2) || h.ways[0] && h.ways[2] && by < soundHeel {
		return
	}
	h.told = true
	g.fault(Sticking, m.Close, "the spindle does not come home to the place it left: it sticks by about %v, and a nose then reads low by as much again. Clean its stem, turn on without going back, tap the indicator lightly, or prove it", length(by))
}

// seenTwice: a heel that runs out is left and come home to at other angles of the cam, over
// one opening and over another; by soundHeel it may where one was turned through the other
// way, nanometres (common practice, no source: half a thou).
const seenTwice, soundHeel = 2.0, 12.7 * um

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

// creepSeconds of the heel are looked at for an arm that creeps back.
const creepSeconds = 32 * s

// creeps returns what the nose is low by for an arm that creeps back on the heel behind it.
func (e surroundings) creeps(v *view, after []point, heel level, scatter float64) float64 {
	shut := v.p[len(v.p)-1].t
	var back []creep.Heel
	looked := false
	for _, p := range after {
		if p.t > shut+creepSeconds {
			break
		}
		if !looked && p.t > shut+creep.First {
			if looked = true; !creep.Shows(back, e.step, scatter) {
				return 0
			}
		}
		back = append(back, creep.Heel{T: p.t - shut, Low: heel.y - p.y, W: p.w})
	}
	if !looked {
		return 0
	}
	return creep.Of(creep.Opening{T: v.t, Y: v.y, Top: v.top}, back, e.step)
}

// creepU is a standard uncertainty, beside what an arm takes off: that is known to a fifth.
const creepU = 0.6

// arms is what the openings so far say of an arm that creeps back.
type arms struct {
	openings, show int
	most           float64
}

// crept gives the openings what an arm that creeps back took off their noses, where most of
// all so far show it.
func (g *Segmenter) crept(dst []measured) {
	v := &g.verdict.arm
	for _, m := range dst {
		if v.openings++; m.crept > 0 {
			v.show, v.most = v.show+1, max(v.most, m.crept)
		}
	}
	most := v.most
	if 2*v.show < v.openings || most == 0 {
		return
	}
	for i := range dst {
		dst[i].common = gum.Root(dst[i].common, creepU*most)
		dst[i].stateLift()
	}
	g.hold(Sticking, measure.Length(most), "the heel creeps back up after the valve has shut: the stand bends under the spindle's force. Clamp the indicator shorter, and turn again")
}
