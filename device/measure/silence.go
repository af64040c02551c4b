package measure

// Silence knows an indicator that sends a line only when its figure changes, and
// perhaps one now and then: while that stands still it is silent, and nothing is
// missing. The zero value has heard nothing.
type Silence struct {
	readings, repeats int64
	most              Length // by which the figure has changed at once
}

// So many readings tell how an indicator speaks. Of so many fewer than one repeats the
// last at once, though a noisy indicator with a fine step may do so in no more than a
// few of 100.
const enoughReadings, seldom = 32, 150

// See takes by how much the figure has changed since the reading before, and whether
// that came soon after it.
func (s *Silence) See(by Length, soon bool) {
	s.readings++
	if !soon {
		return
	}
	s.most = max(s.most, by)
	if by == 0 {
		s.repeats++
	}
}

// Explains says whether the indicator is such a one and a change by so much over a
// silence is no more than it makes at once.
func (s *Silence) Explains(by Length) bool {
	return s.readings >= enoughReadings && by <= s.most && s.repeats*seldom < s.readings
}
