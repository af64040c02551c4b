package workshop

import "lobescribe/device/measure"

// Calls judges what is called out live, reading by reading.
type Calls struct {
	s    *Session
	tops []measure.Length // at each reading: the highest true lift so far in its opening
}

// Calls returns the judge of a session's calls.
func (s *Session) Calls() *Calls {
	c := &Calls{s: s, tops: make([]measure.Length, len(s.Truth.Points))}
	last, in := measure.Length(0), -1
	for i, p := range s.Truth.Points {
		if now := c.Opening(i); now != in {
			in, last = now, 0
		}
		last = max(last, p.Lift)
		c.tops[i] = last
	}
	return c
}

// Opening returns the opening that the valve is in at a reading, or came out of within
// the last second; -1 on the heel.
func (c *Calls) Opening(reading int) int {
	at := c.s.Trace.Readings[reading].At
	for i, o := range c.s.Truth.Openings {
		if at >= o.Open && at <= o.Close+measure.Second {
			return i
		}
	}
	return -1
}

// Nose tells whether a nose that is called at a reading is one: the valve has been, in
// the opening under way, within a hundredth of its max lift and three counts. A first
// hump that high is a nose to anybody.
func (c *Calls) Nose(reading int) bool {
	now := c.Opening(reading)
	return now >= 0 && c.tops[reading] >= c.s.Truth.Openings[now].Lift*99/100-3*c.s.Step
}

// Half tells whether a half lift that is called at a reading, on a flank, is one: the
// valve is no further from it than it moves in a tenth of a second and 0.025 mm and
// three counts. One that is called as past may be further behind.
func (c *Calls) Half(reading int, closing, past bool) bool {
	half := c.s.Truth.Openings[max(c.Opening(reading), 0)].Lift / 2
	at := c.s.Trace.Readings[reading].At
	allow := c.s.Truth.MovedIn(at, 0.1) + 25*measure.Micrometre + 3*c.s.Step
	off := c.s.Truth.Points[reading].Lift - half
	switch {
	case past && closing:
		return off <= allow
	case past:
		return off >= -allow
	}
	return off <= allow && off >= -allow
}

// Left returns when the valve left the nose of an opening for good: where it was last
// within three counts or 0.3 of 100 of it.
func (c *Calls) Left(opening int) measure.Stamp {
	o := c.s.Truth.Openings[opening]
	near := o.Lift - max(3*c.s.Step, o.Lift*3/1000)
	for at := o.Close; at > o.Nose; at -= 2 * measure.Millisecond {
		if c.s.Truth.LiftAt(at) >= near {
			return at
		}
	}
	return o.Nose
}
