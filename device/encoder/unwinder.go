package encoder

// unwinder makes of a number that starts again one that does not. It is a pure
// state machine.
type unwinder struct {
	// periods are what the number may start again after, ascending. With told,
	// there is one and it is certain.
	periods []int64
	told    bool

	period    int64 // the one that was found; 0 while none was
	last      int64
	turned    int64 // what the starts took away
	low, high int64 // of the numbers seen
	started   bool
}

// limit bounds the numbers that are followed: no shaft is turned that often,
// and sums of such numbers stay in range.
const limit = 1 << 60

// next returns n with what was lost at the starts put back.
func (u *unwinder) next(n int64) int64 {
	n = min(max(n, -limit), limit)
	if !u.started {
		u.started, u.last, u.low, u.high = true, n, n, n
		if u.told {
			u.period = u.periods[0]
		}
		return n
	}
	d := n - u.last
	// A number counts as seen when a neighbour bears it out: a single one that
	// noise made must not hide the period.
	if abs(d) <= u.periods[0]/4 {
		u.low, u.high = min(u.low, n, u.last), max(u.high, n, u.last)
	}
	switch {
	case u.told:
	case u.period > 0 && !within(u.low, u.high, u.period):
		u.period, u.turned = 0, 0 // it went on beyond: it had never started again
	case u.period == 0:
		u.find(n, d)
	}
	u.last = n
	if p := u.period; p > 0 {
		switch { // the shorter way
		case d > p/2:
			u.turned -= p * ((d + p/2) / p)
		case d < -(p / 2):
			u.turned += p * ((-d + p/2) / p)
		}
		u.turned = min(max(u.turned, -limit), limit)
	}
	return n + u.turned
}

// find looks for a period that makes a small step of the jump d to n.
func (u *unwinder) find(n, d int64) {
	low, high := min(u.low, n, u.last), max(u.high, n, u.last)
	for _, p := range u.periods {
		if left := p - abs(d); left >= 0 && left <= p/4 && within(low, high, p) {
			u.period = p
			return
		}
	}
}

// within reports whether numbers from low to high may belong to one period,
// counted from zero or about zero.
func within(low, high, p int64) bool {
	return low >= 0 && high <= p || low >= -p/2-1 && high <= p/2+1
}

func abs(d int64) int64 {
	if d < 0 {
		return -d
	}
	return d
}
