// Package bits says whether one bit of an indicator's figure is stuck: a wire that is off, or
// a counter that has lost a digit, leaves out every other stretch of figures of one length.
package bits

// Seen is what has been seen of an indicator's counts, in constant memory.
type Seen struct {
	step        int64
	last        int64
	moves       int
	ones        uint64 // bits that were one, in counts without their sign
	least, most uint64 // such a count
}

const (
	// A count that is so far from the last one is another place on a flank; so many such
	// places do not leave out half of all counts by chance.
	move, leastMoves = 3, 60
	// The lowest bits may be those of a finer step than the indicator has.
	lowest = 2
)

// See takes the next reading, of an indicator of that step; nanometres. With another step
// all begins anew.
func (s *Seen) See(x, step int64) {
	if step <= 0 {
		return
	}
	if step != s.step {
		*s = Seen{step: step}
	}
	n := x / step
	if s.moves > 0 && max(n-s.last, s.last-n) < move {
		return
	}
	s.last, s.moves = n, s.moves+1
	count := uint64(max(n, -n))
	if s.moves == 1 {
		s.least = count
	}
	s.ones, s.least, s.most = s.ones|count, min(s.least, count), max(s.most, count)
}

// Stuck returns what the bit that is stuck counts for, nanometres; 0 where none is. Of the
// counts that were passed each bit must have been one for a whole stretch and more.
func (s *Seen) Stuck() int64 {
	if s.moves < leastMoves {
		return 0
	}
	for b := lowest; b < 40 && s.most-s.least >= 3<<b; b++ {
		if s.ones&(1<<b) == 0 {
			return s.step << b
		}
	}
	return 0
}
