package capture

import (
	"lobescribe/device/measure"
)

// Recorder decides, hands free, what belongs to a trace: it begins one when
// valve or crank moves, with the two seconds before kept, and ends it after 20 s
// of rest on the heel. Rest anywhere else never ends a trace: that is somebody
// looking at the rocker at half lift.
//
// It is a pure state machine and holds only the readings of the pre-roll.
type Recorder struct {
	o         RecorderOptions
	recording bool
	preroll   []measure.Reading
	level     float64     // nm at which lift, or a sweep without any, rests; follows slowly
	levelOf   measure.Has // of which
	angle     measure.Angle
	known     measure.Has   // which of level and angle are set
	moved     measure.Stamp // when something last moved
	last      measure.Stamp
}

// RecorderOptions are the settings of a Recorder.
type RecorderOptions struct {
	// PreRoll is what is kept from before the first movement; 0 means 2 s.
	PreRoll measure.Stamp
	// Rest on the heel ends a trace; 0 means 20 s.
	Rest measure.Stamp
	// Move is the lift that counts as movement; 0 means 0.04 mm (about 1.5
	// thou), above the tremor of any indicator of 0.01 mm or finer.
	Move measure.Length
	// Turn is the crank angle that counts as movement; 0 means 1 degree.
	Turn measure.Angle
}

// Take says what to do with a reading.
type Take uint8

// What a Recorder can say of a reading.
const (
	// Wait: no trace is under way; the reading is kept as pre-roll.
	Wait Take = iota
	// Begin a trace with the readings of PreRoll, the present one included.
	Begin
	// Keep the reading in the trace under way.
	Keep
	// EndAfter: keep the reading, then end the trace.
	EndAfter
)

// maxPreRoll bounds the pre-roll whatever the rate: two seconds of 5000
// readings each.
const maxPreRoll = 10_000

// NewRecorder returns a Recorder at rest.
func NewRecorder(o RecorderOptions) *Recorder {
	if o.PreRoll == 0 {
		o.PreRoll = 2 * measure.Second
	}
	if o.Rest == 0 {
		o.Rest = 20 * measure.Second
	}
	if o.Move == 0 {
		o.Move = 40 * measure.Micrometre
	}
	if o.Turn == 0 {
		o.Turn = measure.Degree
	}
	return &Recorder{o: o}
}

// Recording tells whether a trace is under way.
func (c *Recorder) Recording() bool { return c.recording }

// PreRoll returns the readings a trace that begins now begins with. They are
// valid until the next Step.
func (c *Recorder) PreRoll() []measure.Reading {
	return c.preroll[c.stale(c.last):]
}

// Step takes a reading and the state the follower gives the valve.
func (c *Recorder) Step(r measure.Reading, state ValveState) Take {
	moved := c.movement(r)
	if moved {
		c.moved = r.At
	}
	c.last = r.At
	if c.recording {
		if state == AtHeel && r.At-c.moved >= c.o.Rest {
			c.stop()
			return EndAfter
		}
		return Keep
	}
	c.remember(r)
	if !moved {
		return Wait
	}
	c.recording = true
	return Begin
}

// Start begins a trace now, whether or not anything moves, and tells whether
// it did; false while one is under way.
func (c *Recorder) Start() bool {
	if c.recording {
		return false
	}
	c.recording, c.moved = true, c.last
	return true
}

// Stop ends the trace under way and tells whether there was one.
func (c *Recorder) Stop() bool {
	was := c.recording
	c.stop()
	return was
}

func (c *Recorder) stop() {
	c.recording = false
	c.preroll = c.preroll[:0]
}

// movement tells whether r lies off the place of rest, and lets that place
// follow: at once when there was movement, slowly (over some 5 s) otherwise, so
// that warmth and creep do not begin a trace.
func (c *Recorder) movement(r measure.Reading) bool {
	moved := false
	v, of := float64(r.Lift), r.Has&measure.HasLift
	if of == 0 {
		v, of = float64(r.Sweep), r.Has&measure.HasSweep
	}
	if of != 0 {
		switch {
		case c.levelOf != of:
			c.level, c.levelOf = v, of
		case v > c.level+float64(c.o.Move) || v < c.level-float64(c.o.Move):
			moved, c.level = true, v
		default:
			part := min(float64(r.At-c.last)/float64(5*measure.Second), 1)
			c.level += (v - c.level) * part
		}
	}
	if r.Has&measure.HasAngle != 0 {
		d := r.Angle - c.angle
		if c.known&measure.HasAngle == 0 {
			c.angle = r.Angle
		} else if d >= c.o.Turn || d <= -c.o.Turn {
			moved, c.angle = true, r.Angle
		}
	}
	c.known |= r.Has
	return moved
}

// Tick tells the time when no reading has come (some instruments are silent
// while nothing moves) and tells whether that ends the trace under way.
func (c *Recorder) Tick(now measure.Stamp, state ValveState) bool {
	if !c.recording || state != AtHeel || now-c.moved < c.o.Rest {
		return false
	}
	c.stop()
	return true
}

// stale returns how many readings at the head of the pre-roll are older than
// it has to be at time now.
func (c *Recorder) stale(now measure.Stamp) int {
	n := 0
	for n < len(c.preroll) && now-c.preroll[n].At > c.o.PreRoll {
		n++
	}
	return n
}

func (c *Recorder) remember(r measure.Reading) {
	old := c.stale(r.At)
	if old == 0 && len(c.preroll) >= maxPreRoll {
		old = maxPreRoll / 2
	}
	// Moving the rest down is amortised: it happens only once half is old.
	if old > 0 && (old*2 >= len(c.preroll) || len(c.preroll) >= maxPreRoll) {
		c.preroll = append(c.preroll[:0], c.preroll[old:]...)
	}
	c.preroll = append(c.preroll, r)
}
