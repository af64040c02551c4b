package sift

import (
	"math"

	"lobescribe/device/measure"
)

// crank takes out readings whose crank angle has jumped and comes back: an
// encoder's count misread, or a line in which two met. What has slipped stays
// where it is, and counts.
type crank struct {
	at    measure.Stamp // of the last whose angle counts
	angle measure.Angle
	begun bool    // there is one
	pace  float64 // of the crank just now, microdegrees a microsecond
	usual float64 // interval between readings, microseconds
	count float64 // the least that the angle has changed by, microdegrees
	steps int     // how often it has changed, as far as that matters
	held  [mostTurned]measure.Reading
	n     int
	out   [mostTurned + 1]measure.Reading // what goes on
	outs  int
}

const (
	// So many readings in a row may have a wrong angle.
	mostTurned = 2
	// A hand makes a crank faster or slower by no more than this, microdegrees a
	// microsecond squared: from 250 degrees a second one way to as many the other in
	// a tenth of a second (common practice, no source).
	crankTurns = 5000e6 / 1e12
	// What an encoder's play and a fine count hide, microdegrees.
	crankGrain = 1e6
	// After so many changes the least of them is a count, and so much of it is one.
	mostSteps, oneCount = 4, 1.01
	// Until then it may be one of 24 a turn, microdegrees.
	coarsestCount = 15e6
	// The pace of just now may be so many times as much.
	paceTimes = 2.0
	// A pace is forgotten in so long, microseconds.
	paceLasts = 600_000
)

// reach returns how far from the last angle that counts one may lie dt later,
// microdegrees.
func (c *crank) reach(dt float64) float64 {
	dt = max(dt, c.usual)
	return c.grain() + paceTimes*c.pace*dt + crankTurns*dt*dt/2
}

// grain is what play and the encoder's count hide, microdegrees: at the edge of a coarse one's
// step the angle goes forth and back by one.
func (c *crank) grain() float64 {
	if c.steps < mostSteps {
		return coarsestCount
	}
	return max(crankGrain, oneCount*c.count)
}

// goesOn takes the next reading where that is all there is to it, as it mostly is.
func (c *crank) goesOn(r *measure.Reading) bool {
	if c.n > 0 || !c.begun || r.Has&measure.HasAngle == 0 {
		return c.n == 0 && !c.begun && r.Has&measure.HasAngle == 0
	}
	dt := float64(r.At - c.at)
	off := turned(c.angle, r.Angle)
	// Most angles are within the grain, and reach is never less.
	if off > crankGrain && off > c.reach(dt) {
		return false
	}
	c.take(r, off, dt)
	return true
}

// see takes the next reading and returns those held before whose angle has come
// back; what goes on is in passed.
func (c *crank) see(r measure.Reading) (back []measure.Reading) {
	dt := float64(r.At - c.at)
	off := turned(c.angle, r.Angle)
	near := off <= c.reach(dt)
	joins := false // what is held
	if c.n > 0 {
		newest := c.held[c.n-1]
		joins = turned(newest.Angle, r.Angle) <= c.reach(float64(r.At-newest.At)) ||
			(r.Angle > newest.Angle) == (newest.Angle > c.angle) // it goes on
	}
	switch {
	case r.Has&measure.HasAngle == 0:
		c.release()
		c.begun = false
	case !c.begun:
		c.begun, c.pace, c.usual, c.at, c.angle = true, 0, 0, r.At, r.Angle
	case near && !joins:
		back, c.n = c.held[:c.n], 0
		c.take(&r, off, dt)
	case !joins && c.n < mostTurned: // and is far off
		c.learn(off)
		c.held[c.n] = r
		c.n++
		return nil
	default: // it has gone elsewhere
		c.release()
		c.at, c.angle = r.At, r.Angle
	}
	c.out[c.outs] = r
	c.outs++
	return back
}

// turned returns how far apart two angles are, microdegrees.
func turned(a, b measure.Angle) float64 { return math.Abs(float64(b - a)) }

func (c *crank) take(r *measure.Reading, off, dt float64) {
	if c.usual == 0 {
		c.usual = dt
	}
	apart := dt
	if apart > burst {
		apart = min(dt, max(8*c.usual, burst))
	}
	c.usual += (apart - c.usual) / mostTaken
	c.pace *= 1 - min(dt*(1.0/paceLasts), 1)
	if off > 0 {
		c.learn(off)
		if dt = max(dt, c.usual, 1); off > c.pace*dt {
			c.pace = off / dt
		}
	}
	c.at, c.angle = r.At, r.Angle
}

// learn takes by how much an angle differs from the one before it.
func (c *crank) learn(off float64) {
	if c.steps == mostSteps && off >= c.count {
		return
	}
	if c.steps == 0 || off < c.count {
		c.count = off
	}
	c.steps = min(c.steps+1, mostSteps)
}

// release lets what is held go on.
func (c *crank) release() {
	c.outs += copy(c.out[c.outs:], c.held[:c.n])
	c.n = 0
}

// passed returns what goes on since the last call; it is good until the next see.
func (c *crank) passed() []measure.Reading {
	p := c.out[:c.outs]
	c.outs = 0
	return p
}
