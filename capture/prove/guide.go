package prove

import (
	"math"
	"slices"

	"lobescribe/capture/step"
	"lobescribe/device/measure"
)

// Options say what the guide need not find out; the zero value is "nothing".
type Options struct {
	// Resolution is the gauge's step; 0: found from the readings.
	Resolution measure.Length
	// OneSided leaves out the step in which the spindle comes from the other side.
	OneSided bool
}

// Stage is what is to be done.
type Stage string

// The stages, in order.
const (
	Hang  Stage = "hang"  // let the spindle hang free
	Home  Stage = "home"  // press it home
	Snap  Stage = "snap"  // let it snap onto the retainer
	Other Stage = "other" // let it come from the other side
	Done  Stage = "done"
)

// Snaps is how many snaps a proof takes.
const Snaps = 3

const (
	// leastTravel is the least distance of two stops.
	leastTravel = measure.Millimetre
	// mostTravel is what no indicator's spindle exceeds.
	mostTravel = 150 * measure.Millimetre
	// stopBand is how far from a stop counts as at it, where the gauge is fine.
	stopBand = measure.Millimetre / 20
	// otherWait is how long the last step may take before the proof does without.
	otherWait = 30 * measure.Second
	// restlessFor is how long a figure wanders before that is said.
	restlessFor = 6 * measure.Second
)

// Now is how far the proving has come.
type Now struct {
	Stage Stage `json:"stage"`
	// Says is what to do now; Problem what went wrong the last time, if anything.
	Says    string `json:"says"`
	Problem string `json:"problem,omitempty"`
	// Snaps is how many of them have counted.
	Snaps int `json:"snaps"`
	// Resting says that the spindle stands still.
	Resting bool `json:"resting"`
}

// Guide leads somebody through the proving of an indicator. Feed it the readings
// in order of time.
type Guide struct {
	o      Options
	window window
	pace   pace
	step   step.Finder
	now    Now

	last    sample
	any     bool
	resting bool
	stirred measure.Stamp // since when it has not been at rest

	hang, home *stand
	place      *stand // on the retainer
	away       excursion
	arrivals   []arrival
	falls      []fall
	in         int
	since      measure.Stamp // of the last stage
	beyond     int           // readings in a row beyond the stop at home
	beyondAt   measure.Stamp
	proof      Proof
}

// arrival is a rest on the retainer, and the side from which the spindle came.
type arrival struct {
	stand
	side int
}

// New returns a guide that has seen nothing.
func New(o Options) *Guide {
	g := &Guide{o: o, step: step.Finder{Fixed: int64(o.Resolution)}}
	g.to(Hang, 0)
	return g
}

// Now returns what is to be done.
func (g *Guide) Now() Now {
	n := g.now
	n.Resting = g.resting
	n.Snaps = min(len(g.falls), Snaps)
	return n
}

// Proof returns what was learned; ok is false until the stage is [Done]. The
// caller sets When.
func (g *Guide) Proof() (p Proof, ok bool) { return g.proof, g.now.Stage == Done }

// Step takes the next reading. One without a lift changes nothing.
func (g *Guide) Step(r measure.Reading) {
	if r.Has&measure.HasLift == 0 || g.now.Stage == Done {
		return
	}
	s := sample{at: r.At, lift: float64(r.Lift)}
	g.step.See(int64(r.Lift))
	g.pace.add(s, g.least())
	g.take(s)
}

// Pass says that it is now at, and that the indicator, which is well, has said
// nothing since its last reading: one that speaks only when its figure changes.
func (g *Guide) Pass(at measure.Stamp) {
	if g.any && g.now.Stage != Done && at-g.last.at >= restFor/10 {
		g.take(sample{at: at, lift: g.last.lift})
	}
}

// Note takes what happened to the stream besides a reading.
func (g *Guide) Note(n measure.Note) {
	if g.now.Stage == Done {
		return
	}
	switch n.Kind {
	case measure.NoteGap:
		g.pace.gap()
		g.window.reset()
		g.away.reset()
		g.resting = false
	case measure.NoteUnitChange:
		g.step.Again()
	case measure.NoteReZero:
		g.again(n.At, "The indicator was set to zero meanwhile, so it starts again from the beginning.")
	}
}

// Finish does without the spindle coming from the other side, where only that is
// still to be done.
func (g *Guide) Finish() {
	if g.now.Stage == Other {
		g.learn()
	}
}

// least returns the gauge's step in nanometres, 0 while unknown.
func (g *Guide) least() float64 { return float64(g.step.Step()) }

// to goes to a stage.
func (g *Guide) to(s Stage, at measure.Stamp) {
	g.now.Stage, g.now.Problem, g.since = s, "", at
	g.say()
}

// again starts again, and says why.
func (g *Guide) again(at measure.Stamp, why string) {
	g.hang, g.home = nil, nil
	g.offRetainer()
	g.window.reset()
	g.resting = false
	g.to(Hang, at)
	g.now.Problem = why
}

// offRetainer forgets what was learned on the retainer.
func (g *Guide) offRetainer() {
	g.place, g.arrivals, g.falls = nil, nil, nil
	g.in = 0
	g.away.reset()
}

func (g *Guide) take(s sample) {
	g.last, g.any = s, true
	g.window.add(s)
	at, still := g.window.rest(g.least())
	switch {
	case still:
		if !g.resting {
			g.resting = true
			g.rests(at)
		} else {
			g.stays(at)
		}
		g.stirred = s.at
	case g.resting && g.left(s):
		g.resting = false
		g.stirred = s.at
		g.away.reset()
		g.say()
	case !g.resting && s.at-g.stirred > restlessFor && g.now.Stage != Done:
		if w := g.window.wanders(); w < float64(samePlace) && w > 0 {
			g.now.Problem = "The figure does not stand still: it wanders by " + inBoth(w) + ". Is the stand firm, and nothing shaking it?"
		}
	}
	if !g.resting && g.place != nil {
		g.away.add(s, g.place.lift)
		g.say()
	}
	g.watchStops(s)
	if g.now.Stage == Other && s.at-g.since > otherWait {
		g.learn()
	}
}

// watchStops sees to it that what was taken for the stop at home is one: a
// spindle that is lifted beyond it was not home.
func (g *Guide) watchStops(s sample) {
	if g.home == nil || g.now.Stage == Done {
		return
	}
	in := math.Copysign(1, g.home.lift-g.hang.lift)
	if in*(s.lift-g.home.lift) <= 2*g.band() || in*(s.lift-g.home.lift) > float64(mostTravel) || g.looksSwitched(s.lift) {
		g.beyond = 0
		return
	}
	if g.beyond == 0 {
		g.beyondAt = s.at
	}
	if g.beyond++; g.beyond >= restReadings && s.at-g.beyondAt >= leastAway {
		g.home, g.beyond = nil, 0
		g.offRetainer()
		g.to(Home, s.at)
		g.now.Problem = "The spindle goes further in than it was pressed before: press it home, as far as it goes."
	}
}

// left says whether the spindle has left its rest: a second reading in a row is
// away from it.
func (g *Guide) left(s sample) bool {
	n := len(g.window.held)
	if n < 2 {
		return true
	}
	middle := g.window.median(g.window.held)
	band := max(2*g.least(), float64(restBand))
	return math.Abs(s.lift-middle) > band && math.Abs(g.window.held[n-2].lift-middle) > band
}

// band is how near to a stop is at the stop.
func (g *Guide) band() float64 { return max(float64(stopBand), 5*g.least()) }

// rests takes a spindle that has come to rest.
func (g *Guide) rests(s stand) {
	switch {
	case g.hang == nil:
		g.hang = &s
		g.to(Home, s.at)
	case g.home == nil:
		g.pressed(s)
	default:
		g.on(s)
	}
}

// stays takes a better look at a rest that lasts: the newest is farthest from
// what moved before it.
func (g *Guide) stays(s stand) {
	for _, p := range []*stand{g.hang, g.home} {
		if p != nil && g.place == nil && math.Abs(p.lift-s.lift) < g.band() && s.u <= p.u {
			p.lift, p.u = s.lift, s.u
		}
	}
	if n := len(g.arrivals); n > 0 && g.place != nil && math.Abs(g.arrivals[n-1].lift-s.lift) < g.band() && s.u <= g.arrivals[n-1].u {
		g.arrivals[n-1].lift, g.arrivals[n-1].u = s.lift, s.u
	}
}

// pressed takes the rest that should be the spindle pressed home.
func (g *Guide) pressed(s stand) {
	d := math.Abs(s.lift - g.hang.lift)
	switch {
	case d < g.band():
		g.now.Problem = ""
	case d < float64(leastTravel):
		g.now.Problem = "The spindle has moved by " + inBoth(d) + " only: press it in as far as it goes, and hold it there."
	default:
		g.home = &s
		g.to(Snap, s.at)
	}
}

// on takes a rest between the stops, which are known: on the retainer.
func (g *Guide) on(s stand) {
	low, high := math.Min(g.hang.lift, g.home.lift), math.Max(g.hang.lift, g.home.lift)
	switch {
	case s.lift < low-g.band() || s.lift > high+g.band():
		g.further(s)
	case s.lift < low+g.band() || s.lift > high-g.band():
		g.atStop(s)
	case g.place == nil:
		g.place = &s
		g.away.reset()
		g.now.Problem = ""
		g.say()
	default:
		g.back(s)
	}
}

// further takes a rest beyond what was taken for a stop.
func (g *Guide) further(s stand) {
	if g.looksSwitched(s.lift) {
		g.again(s.at, "The figures look as if the unit had been switched: switch it back, or name the unit in the address, and start again.")
		return
	}
	if math.Abs(s.lift-g.hang.lift) < math.Abs(s.lift-g.home.lift) {
		// What hung first did not hang, or was pressed: this one is that stop.
		g.hang = &s
	} else {
		g.home = &s
	}
	g.offRetainer()
	g.to(Snap, s.at)
	g.now.Problem = "The spindle went further than before, so its stop is where it stands now."
}

// looksSwitched says whether a figure is one of the rests in the other unit.
func (g *Guide) looksSwitched(lift float64) bool {
	for _, p := range []*stand{g.hang, g.home, g.place} {
		if p != nil && isOtherUnit(lift, p.lift) {
			return true
		}
	}
	return false
}

// isOtherUnit says whether two figures differ as millimetres and inches do.
func isOtherUnit(a, b float64) bool {
	if math.Abs(a) < float64(samePlace) || math.Abs(b) < float64(samePlace) {
		return false
	}
	r := math.Abs(a / b)
	return math.Abs(r/25.4-1) < 0.002 || math.Abs(r*25.4-1) < 0.002
}

// atStop takes a rest at a stop where one on the retainer was wanted.
func (g *Guide) atStop(s stand) {
	if math.Abs(s.lift-g.home.lift) < math.Abs(s.lift-g.hang.lift) {
		return // still, or again, pressed home
	}
	if g.now.Stage == Snap && (len(g.away.of) > 0 || s.at-g.since > 2*restFor) {
		g.now.Problem = "The spindle hangs where it hung at first: it does not reach the retainer. Lower the indicator until the spindle is pushed in a little. If it lay on the retainer at first, start again with it hanging free."
	}
}

// back takes the rest after an excursion.
func (g *Guide) back(s stand) {
	refresh, _ := g.pace.refresh()
	slack := 3 * refresh / 2
	g.away.unspoil(math.Min(g.hang.lift, g.home.lift), math.Max(g.hang.lift, g.home.lift))
	h, ok := g.away.home(s.lift, slack)
	moved := math.Abs(s.lift - g.place.lift)
	switch {
	case moved > max(float64(samePlace), 10*g.least()):
		g.offRetainer()
		g.place = &s
		g.to(Snap, s.at)
		g.now.Problem = "The spindle stands " + inBoth(moved) + " from where it stood before: the stand or what it stands on has moved, so the snaps are counted again from one."
	case !ok:
		// It was touched, and no more.
	case g.in == 0 || h.side == g.in:
		g.snapped(s, h, slack)
	default:
		g.arrivals = append(g.arrivals, arrival{s, h.side})
		if g.now.Stage == Other {
			g.learn()
			return
		}
	}
	g.away.reset()
	g.say()
}

// snapped takes a lift that ended on the retainer.
func (g *Guide) snapped(s stand, h homecoming, slack measure.Stamp) {
	if !h.snap {
		g.now.Problem = "The spindle was lowered: lift it and let go at once, so that it snaps down."
		return
	}
	f, ok := newFall(g.away.of, h.from, s.lift, g.least(), g.pace.period(), g.pace.stale())
	if !ok {
		return
	}
	f.took = h.took
	g.in = h.side
	g.falls = append(g.falls, f)
	g.arrivals = append(g.arrivals, arrival{s, h.side})
	had := len(g.falls)
	g.dropLowered(slack)
	g.now.Problem = ""
	if len(g.falls) < had {
		g.now.Problem = "Of the falls one took much longer than another, so it was lowered, not let go; it does not count."
	}
	if len(g.falls) < Snaps {
		return
	}
	if g.o.OneSided || g.bothSides() {
		g.learn()
		return
	}
	if g.now.Stage == Snap {
		g.to(Other, s.at)
	}
}

// dropLowered leaves out falls that took much longer than another: a hand was
// quick, but the spindle was not let go.
func (g *Guide) dropLowered(slack measure.Stamp) {
	least := g.falls[0].took
	for _, f := range g.falls {
		least = min(least, f.took)
	}
	g.falls = slices.DeleteFunc(g.falls, func(f fall) bool { return f.took > 2*least+slack+20*measure.Millisecond })
}

func (g *Guide) bothSides() bool {
	var in, out bool
	for _, a := range g.arrivals {
		in, out = in || a.side == g.in, out || a.side != g.in
	}
	return in && out
}
