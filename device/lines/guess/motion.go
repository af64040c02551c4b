package guess

import (
	"math"
	"slices"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// motion is how the numbers of a column moved while we listened.
type motion uint8

const (
	// still: by no more than two of its steps.
	still motion = iota
	// swinging: out and back, or out and resting, as a spindle goes.
	swinging
	// climbing: one way only, which a spindle does on a flank and a crank for as
	// long as it is turned.
	climbing
	// wrapping: one way, and back to its start at once, as a printed angle does.
	wrapping
	// jittering: to and fro from line to line, as noise, a flag or two channels in
	// one column do.
	jittering
	// ticking: evenly with the time or with the lines: a clock or a number of the
	// line.
	ticking
)

// course is what is known of the movement of a column.
type course struct {
	motion motion
	span   float64 // highest less lowest, in the units that are printed
	step   float64 // the least change
	back   float64 // how far it went back on its way
	rests  bool    // for a good part of the time it is at one end of where it goes
	speed  float64 // the usual pace while it moves, a second; 0 if times are not known
}

// moved reports whether the column did more than stand.
func (c course) moved() bool { return c.motion != still }

// courseOf follows a column. A single number out of line is noise and is passed
// over: each is taken as the middle one of itself and its neighbours.
func courseOf(fields []field) (c course) {
	v, at := smoothed(fields)
	if len(v) < 2 {
		return c
	}
	low, high := slices.Min(v), slices.Max(v)
	c.span = high - low
	var ups, downs, path float64 // how far, each way
	var moves []float64
	turns, way := 0, 0.0
	edge := v[0] // the furthest place since the last turning point
	for i := 1; i < len(v); i++ {
		d := v[i] - v[i-1]
		if d == 0 {
			continue
		}
		moves = append(moves, math.Abs(d))
		if c.step == 0 || math.Abs(d) < c.step {
			c.step = math.Abs(d)
		}
		path += math.Abs(d)
		if d > 0 {
			ups += d
		} else {
			downs -= d
		}
	}
	if c.span <= lines.StillSteps*c.step*1.01 && len(moves)*3 < len(v)*2 {
		return c
	}
	if len(moves) == 0 {
		return c
	}
	slack := max(lines.StillSteps*c.step, c.span/20)
	for _, x := range v {
		switch d := x - edge; {
		case way >= 0 && d > 0, way <= 0 && d < 0, way == 0:
			if math.Abs(d) > slack || way != 0 {
				way = sign(d, way)
				edge = x
			}
		case math.Abs(d) > slack:
			turns++
			way, edge = -way, x
		}
	}
	c.rests = rests(v, low, high)
	slices.Sort(moves)
	middle := moves[len(moves)/2]
	if span := (at[len(at)-1] - at[0]).Seconds(); span > 0 {
		c.speed = middle * float64(len(moves)) / span
	}
	leap := moves[len(moves)-1]
	switch most, least := max(ups, downs), min(ups, downs); {
	case least <= slack/2:
		c.motion = climbing
	// A wrap is a leap over nearly the whole span, against the way that the rest
	// of it went.
	case leap > 0.6*c.span && leap > 6*middle && most > 0 && wraps(v, leap, c.span):
		c.motion = wrapping
	case unsteady(fields) || turns*4 > len(v) || path > c.span*float64(max(turns, 1))*4:
		c.motion = jittering
	default:
		c.motion = swinging
	}
	c.back = returned(v)
	return c
}

// returned is how far the numbers went back on their way, whichever that was. A
// crank that is turned by a ratchet gives way a little at each stroke; a valve goes
// all the way back.
func returned(v []float64) float64 {
	low, high, rise, fall := v[0], v[0], 0.0, 0.0
	for _, x := range v {
		low, high = min(low, x), max(high, x)
		rise, fall = max(rise, x-low), max(fall, high-x)
	}
	return min(rise, fall)
}

// unsteady reports whether the numbers go to and fro: of noise two in three
// changes turn back, of a spindle hardly any.
func unsteady(fields []field) bool {
	back, n, way := 0, 0, 0.0
	for i := 1; i < len(fields); i++ {
		d := valueOf(fields[i]) - valueOf(fields[i-1])
		if d == 0 {
			continue
		}
		if n++; way != 0 && sign(d, 0) != way {
			back++
		}
		way = sign(d, 0)
	}
	return n >= 4 && back*100 > n*38
}

// rests reports whether a third of the numbers are near the lowest or near the
// highest: a valve is on its heel for most of a turn. Of what swings evenly one
// in seven is.
func rests(v []float64, low, high float64) bool {
	lows, highs := 0, 0
	for _, x := range v {
		if x-low <= (high-low)/20 {
			lows++
		}
		if high-x <= (high-low)/20 {
			highs++
		}
	}
	return max(lows, highs)*10 >= len(v)*3
}

func sign(d, otherwise float64) float64 {
	switch {
	case d > 0:
		return 1
	case d < 0:
		return -1
	}
	return otherwise
}

// wraps reports whether v goes one way but for its leaps.
func wraps(v []float64, leap, span float64) bool {
	var ups, downs, leaps float64
	for i := 1; i < len(v); i++ {
		switch d := v[i] - v[i-1]; {
		case math.Abs(d) > 0.6*span:
			leaps += sign(d, 0)
		case d > 0:
			ups += d
		default:
			downs -= d
		}
	}
	return leaps < 0 && downs <= span/20+ups/20 || leaps > 0 && ups <= span/20+downs/20
}

// smoothed returns the numbers and their times.
func smoothed(fields []field) (v []float64, at []measure.Stamp) {
	var raw []float64
	for _, x := range fields {
		if !x.word {
			raw = append(raw, float64(x.n.Mantissa)/math.Pow10(x.n.Decimals))
			at = append(at, x.at)
		}
	}
	v = slices.Clone(raw)
	for i := 1; i+1 < len(raw); i++ {
		a, b, c := raw[i-1], raw[i], raw[i+1]
		v[i] = max(min(a, b), min(max(a, b), c))
	}
	// The ends have one neighbour; they stay where the next step is as long.
	if n := len(raw); n >= 3 {
		if math.Abs(raw[0]-raw[1]) > 3*math.Abs(raw[1]-raw[2]) {
			v[0] = v[1]
		}
		if math.Abs(raw[n-1]-raw[n-2]) > 3*math.Abs(raw[n-2]-raw[n-3]) {
			v[n-1] = v[n-2]
		}
	}
	return v, at
}
