package prove

import (
	"math"
	"slices"

	"lobescribe/device/measure"
)

// Carrier carries a proof along with its indicator: through a zero that the
// indicator says was set, and through one that shows only as a jump from standing
// still to zero. It is a pure state machine in bounded memory.
//
// A jump to zero may also be a spindle that was let go. Then both are held for
// possible until a reading comes that is beyond a stop of one of them; meanwhile
// the proof is loose, since no claim is better than a false one.
type Carrier struct {
	proof Proof // loose where the zero was lost for good

	// shifts are by what the zero may have moved; the last of them is newest.
	shifts []shift
	window window
	stood  float64       // where it stood last
	still  bool          // and whether it has not left that since
	left   measure.Stamp // when it did
	last   sample
	any    bool
	zeroed bool // the next reading is the first in a new zero
}

// shift is one zero that may hold, and how many readings in a row spoke against it.
type shift struct {
	by      float64
	against int
}

const (
	// mostShifts zeros are held for possible at once.
	mostShifts = 4
	// speakAgainst is how many readings in a row beyond a stop rule a zero out: a
	// misread digit does not.
	speakAgainst = 4
	// jumpWithin is how soon after its last rest a figure that was set to zero
	// shows it.
	jumpWithin = 250 * measure.Millisecond
)

// NewCarrier returns one that carries a proof.
func NewCarrier(p Proof) *Carrier {
	return &Carrier{proof: p, shifts: []shift{{}}}
}

// Proof returns the proof as it holds now.
func (c *Carrier) Proof() Proof {
	p := c.proof
	if len(c.shifts) != 1 {
		return p.Lost()
	}
	return p.Shifted(length(c.shifts[0].by))
}

// Step takes the next reading and says whether the proof has changed.
func (c *Carrier) Step(r measure.Reading) bool {
	if r.Has&measure.HasLift == 0 || !c.proof.Proved() || c.proof.Loose {
		return false
	}
	before := c.Proof()
	s := sample{r.At, float64(r.Lift)}
	if c.zeroed && c.any {
		c.zeroed = false
		by := s.lift - c.last.lift
		for i := range c.shifts {
			c.shifts[i].by += by
		}
		c.stood += by
		c.window.reset()
	}
	c.last, c.any = s, true
	c.window.add(s)
	c.stand(s)
	c.weigh(s)
	now := c.Proof()
	return now.Low != before.Low || now.Loose != before.Loose
}

// Note takes what happened to the stream besides a reading.
func (c *Carrier) Note(n measure.Note) {
	switch n.Kind {
	case measure.NoteReZero:
		c.zeroed = true
	case measure.NoteGap:
		c.window.reset()
	}
}

// stand watches for a figure that stood and now stands at zero, with nothing
// between.
func (c *Carrier) stand(s sample) {
	step := float64(c.proof.Step)
	band := max(2*step, float64(restBand))
	if at, ok := c.window.rest(step); ok {
		jumped := at.lift - c.stood
		if !c.still && math.Abs(at.lift) <= 2*step && math.Abs(jumped) > float64(samePlace) && c.left > 0 && at.at-c.left < restFor+jumpWithin+2*c.proof.Refresh {
			c.maybe(jumped)
		}
		c.stood, c.still, c.left = at.lift, true, 0
		return
	}
	if c.still && math.Abs(s.lift-c.stood) > band {
		c.still, c.left = false, s.at
	}
}

// maybe holds each zero for possible with and without a jump.
func (c *Carrier) maybe(jumped float64) {
	for _, s := range slices.Clone(c.shifts) {
		if len(c.shifts) < mostShifts {
			c.shifts = append(c.shifts, shift{by: s.by + jumped})
		}
	}
}

// weigh rules out the zeros under which a reading would be beyond a stop.
func (c *Carrier) weigh(s sample) {
	slack := float64(stopBand) + float64(c.proof.Stick+c.proof.StopU)
	low, high := float64(c.proof.Low)-slack, float64(c.proof.High)+slack
	for i := range c.shifts {
		if x := s.lift - c.shifts[i].by; x < low || x > high {
			c.shifts[i].against++
		} else {
			c.shifts[i].against = 0
		}
	}
	c.shifts = slices.DeleteFunc(c.shifts, func(s shift) bool { return s.against >= speakAgainst })
	if len(c.shifts) == 0 {
		c.proof, c.shifts = c.proof.Lost(), []shift{{}}
	}
}
