package capture

// halfCues thins the calls on the way to half lift: one each time the way left
// has halved, one on arrival and one when it is passed.
type halfCues struct {
	step int // halvings called so far
	at   bool
	past bool
	seen bool    // there was a reading before
	last float64 // the way left then
}

// mostHalvings bounds the calls on one approach.
const mostHalvings = 12

// see takes the way left (below zero: past it), the half lift and the band that
// counts as there. What was called is called again only after the way left has
// grown by half as much again, so that a tremor does not stutter.
//
// Where the valve moves farther than the band between two readings, arrival is
// called with the reading that is nearest to half lift: with one before it, when
// the next will lie farther beyond. So no call is later than half the time between
// two readings, unless the hand is caught by surprise; then it is called as passed.
// What was passed before anybody could know is not called.
func (c *halfCues) see(toGo, half, band float64) (CueKind, bool) {
	was, seen := c.last, c.seen
	c.last, c.seen = toGo, true
	if !seen && toGo < -band {
		c.past, c.step = true, mostHalvings
	}
	switch {
	case toGo < -band:
		if toGo < -1.5*band {
			c.at = false
		}
		c.step = mostHalvings
		if !c.past && !c.at {
			c.past = true
			return PastHalf, true
		}
		return "", false
	case toGo <= band || seen && was > toGo && toGo < (was-toGo)/2:
		c.past = false
		c.step = mostHalvings
		if !c.at {
			c.at = true
			return AtHalf, true
		}
		return "", false
	}
	if toGo > 1.5*band {
		c.at = false
	}
	c.past = false
	// How often the way left was halved; one less only beyond the margin.
	step := 0
	for way := half / 2; step < mostHalvings && toGo <= way && way > band; way /= 2 {
		step++
	}
	if step > c.step {
		c.step = step
		return ApproachHalf, true
	}
	for c.step > step && (c.step == mostHalvings || toGo > 1.5*half/float64(int(1)<<c.step)) {
		c.step--
	}
	return "", false
}
