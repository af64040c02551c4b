package guess

import (
	"math"
	"strings"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// The points, and how many must lie between the first and the next.
const (
	pointsUnit     = 100
	pointsName     = 60
	pointsAxis     = 5
	pointsMoves    = 40
	pointsDecimals = 20
	pointsClear    = 15
	never          = -1000
)

// Plausible movement of a spindle, in any unit that is printed: none goes
// further than a few tens of millimetres, or as fast as a crank's degrees.
const (
	spindleSpan  = 30.0
	spindleSpeed = 40.0 // a second
	// spindleGoes is further than an engine moves any spindle, where the person
	// told the unit: lifts end below 25 mm (common practice, no source).
	spindleGoes = 60 * measure.Millimetre
	// crankSpan is how far a column without a name must go, in degrees or counts,
	// to be told from one that drifts.
	crankSpan = 30.0
	// crankAlone is the same where no other column has moved so far.
	crankAlone = 400.0
	// crankWraps is what a column goes that starts again after each turn.
	crankWraps = 340.0
	// crankSpeed is faster than any hand turns an engine, in degrees a second.
	crankSpeed = 1440.0
)

// liftPoints says how likely a column is the lift.
func liftPoints(t table, i int, o lines.Options) (c candidate) {
	x := t.facts[i]
	c.points = never
	if x.word || x.other || x.angle != lines.NoAngle || x.course.motion == ticking && x.length == 0 {
		return c
	}
	if x.named.meaning == namesAngle || x.named.meaning == namesTurns {
		return c
	}
	counted := o.Crank != nil && o.Crank.Step() > 0
	if x.named.meaning == namesCounts && x.length == 0 && (counted && o.Port == lines.IndicatorPort || len(t.facts) > 1) {
		return c
	}
	c.points = 0
	switch {
	case x.length != 0:
		c.points += pointsUnit
		c.strong = true
	case strings.EqualFold(x.name, "a") && len(t.facts) > 1 && !t.oneOfChannels(i):
		c.points -= pointsMoves // beside a lift an A is the angle
	case axisName(x.name):
		c.points += pointsAxis
	case x.named.meaning == namesLift:
		c.points += pointsName
		c.strong = true
	}
	if !x.column.Whole {
		c.points += pointsDecimals
	}
	if x.named.setting {
		c.points -= pointsMoves
	}
	far := x.length == 0 && (x.course.span > spindleSpan || x.course.speed > spindleSpeed) && !x.column.Whole
	if x.ratchets(o) {
		c.points -= pointsMoves
	}
	switch x.course.motion {
	case swinging:
		// What goes to and fro without a rest is less like a valve, which stays on
		// its heel for most of a turn.
		if c.moves = x.course.rests; c.moves {
			c.points += pointsMoves
		} else {
			c.points += pointsDecimals / 2
		}
	case wrapping:
		c.points -= pointsMoves
	case climbing:
		switch {
		case far && x.named.meaning != namesLift:
			c.points -= pointsMoves
		case t.oneOfChannels(i): // beside a gauge of its kind it is no crank
			c.points += pointsDecimals
		}
	case jittering:
		c.points -= pointsDecimals / 2
	}
	return c
}

// ratchets reports whether a column went further than any spindle, in the unit that
// the person told, and has not come back: a crank that gives way at each stroke.
func (x *facts) ratchets(o lines.Options) bool {
	return x.length == 0 && !x.word && !x.column.Whole && x.course.back < x.course.span/2 &&
		measure.Length(x.course.span*float64(o.Unit.Length())) > spindleGoes
}

// oneOfChannels reports whether a column has another of its kind beside it, as "X"
// and "Y" say.
func (t table) oneOfChannels(i int) bool {
	for j := range t.facts {
		if j != i && (nextChannel(t.facts[i].column, t.facts[j].column) || nextChannel(t.facts[j].column, t.facts[i].column)) {
			return true
		}
	}
	return false
}

// turnPoints says how likely a column is the crank, on an encoder's port.
func turnPoints(t table, i int, o lines.Options) (c candidate) {
	x := t.facts[i]
	c.points = never
	if x.word || x.other || x.length != 0 || x.course.motion == ticking && x.named.meaning == unnamed {
		return c
	}
	counted := o.Crank != nil && o.Crank.Step() > 0
	c.points = 0
	switch {
	case x.angle == lines.Degrees, x.angle == lines.Radians:
		c.points += pointsUnit
		c.strong = true
	case x.named.meaning == namesAngle:
		c.points += pointsName
		c.strong = true
	case x.named.meaning == namesTurns && x.column.Whole: // whole turns are too coarse
		c.points -= pointsMoves
	case x.named.meaning == namesTurns:
		c.points += pointsName / 2
	case x.named.meaning == namesCounts, x.named.meaning == namesLift && x.column.Whole:
		c.points += pointsName / 2
		c.strong = true
	}
	if x.angle == lines.Radians {
		c.points -= pointsClear // of both, degrees
	}
	if x.column.Whole == counted {
		c.points += pointsDecimals
	}
	if counted && x.column.Whole && (x.named.meaning == namesCounts || x.named.meaning == namesLift) {
		c.points += pointsUnit
	}
	if x.named.setting {
		c.points -= pointsMoves
	}
	// A number without a name must have gone further than one that drifts, and no
	// faster than a hand turns.
	span, speed := x.course.span*degreesIn(o.Angle), x.course.speed*degreesIn(o.Angle)
	alone := span >= crankAlone || x.course.motion == wrapping && span >= crankWraps && !x.column.Whole
	far := c.strong || span >= crankSpan && (alone || t.allMove(i)) && (o.Angle == lines.NoAngle || speed < crankSpeed)
	switch x.course.motion {
	case climbing:
		if c.moves = far; far {
			c.points += pointsMoves
		}
	case wrapping:
		if c.moves = far; far {
			c.points += pointsMoves - pointsDecimals/4
		}
	case swinging:
		if x.angle == lines.NoAngle && x.named.meaning == unnamed {
			c.points -= pointsMoves
		}
	case jittering:
		c.points -= pointsUnit
	}
	return c
}

// degreesIn is how many degrees there are in a unit of angle that a person said.
func degreesIn(u lines.AngleUnit) float64 {
	switch u {
	case lines.Turns:
		return 360
	case lines.Radians:
		return 180 / math.Pi
	}
	return 1
}

// allMove reports whether every column with decimals or without a name moves,
// that might be the crank instead of column i.
func (t table) allMove(i int) bool {
	for j, x := range t.facts {
		if j != i && !x.word && !x.other && x.column.Whole == t.facts[i].column.Whole && !x.course.moved() {
			return false
		}
	}
	return true
}
