// Package step finds the least step of an indicator in its readings.
//
// The least step of an indicator shows in the differences of its readings: all
// of them are whole multiples of it. A plain greatest common divisor would be
// thrown by one reading in another unit (1270 nm and 1000 nm have 10 nm in
// common), so the steps that indicators are made with stand as candidates and
// the readings vote. [Finder] counts the votes.
package step

// makersSteps lists the steps of common indicators in nanometres, coarse first.
var makersSteps = [...]int64{
	100_000, 50_800, 50_000, 25_400, 25_000, 20_000, 12_700, 10_000, 5_080, 5_000, 2_540, 2_500, 2_000,
	1_270, 1_000, 508, 500, 254, 250, 200, 127, 100, 50, 20, 10, 5, 2, 1,
}

// After this many changes the vote is closed; it can be reopened.
const stepVotes = 1024

// Finder finds the least step, in nanometres, in constant memory.
type Finder struct {
	// Fixed is the step where it is known from outside; 0: found from the readings.
	Fixed   int64
	found   int64 // 0: too few changes so far
	changes int64
	fits    [len(makersSteps)]int64
	first   [64]int64 // the first differences, for steps no maker's list has
	last    int64
	started bool
}

// See takes the next reading and returns whether the answer changed.
func (s *Finder) See(x int64) bool {
	d := x - s.last
	was := s.started
	s.last, s.started = x, true
	if s.Fixed > 0 || s.changes >= stepVotes || d == 0 || !was {
		return false
	}
	if d < 0 {
		d = -d
	}
	if s.changes < int64(len(s.first)) {
		s.first[s.changes] = d
	}
	s.changes++
	for i, step := range makersSteps {
		if d%step == 0 {
			s.fits[i]++
		}
	}
	if s.changes >= 8 && s.changes&(s.changes-1) == 0 {
		old := s.found
		s.found = s.elect()
		return s.found != old
	}
	return false
}

// elect weighs candidate c by c times the square of the share of differences
// that it divides. A true step r has share 1 and its multiple n·r only 1/n, so
// n·r scores r/n; its parts score less by being small. Half the readings in
// another unit take three quarters from each of the two steps and leave the
// better still far above their common divisor.
func (s *Finder) elect() int64 {
	best, score := int64(1), 0.0
	for i, step := range makersSteps {
		share := float64(s.fits[i]) / float64(s.changes)
		if sc := share * share * float64(step); sc > score {
			best, score = step, sc
		}
	}
	if own := s.ownStep(); float64(own) > 4*score {
		return own
	}
	return best
}

// ownStep tries the least difference itself, for an indicator whose count is no
// round length (a scale of 1/1024 mm, say): every difference must be a multiple
// of it but for the rounding of each reading to a nanometre.
func (s *Finder) ownStep() int64 {
	n := min(s.changes, int64(len(s.first)))
	least := s.first[0]
	for _, d := range s.first[:n] {
		least = min(least, d)
	}
	if least < 20 {
		return 0
	}
	fit := int64(0)
	for _, d := range s.first[:n] {
		k := (d + least/2) / least
		if r := d - k*least; max(r, -r) <= k+1 && 10*k < 4*least {
			fit++
		}
	}
	if 10*fit < 9*n {
		return 0
	}
	return least
}

// Step returns the least step, 0 while unknown.
func (s *Finder) Step() int64 {
	if s.Fixed > 0 {
		return s.Fixed
	}
	return s.found
}

// Again opens the vote again, as after a change of unit.
func (s *Finder) Again() {
	*s = Finder{Fixed: s.Fixed, found: s.found}
}

// Changes returns how many changes of the reading have voted.
func (s *Finder) Changes() int64 { return s.changes }
