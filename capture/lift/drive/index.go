package drive

import (
	"math"

	"lobescribe/capture/lift/lobe"
)

const (
	// Where an index mends counts the angle leaps by so many times as far as anywhere else,
	// by so many degrees and so many counts.
	indexTimes, leastIndex, indexCounts = 2.0, 1.0, 3.0
)

// Index says where an encoder passes its index, if it loses counts all the turn and the
// index mends them: from nose to nose the turns are whole, and once in each, at one angle,
// it leaps from one reading to the next by more than the crank goes just before and after. A
// spring that throws the crank on does so in every other turn, or at several angles. The
// angles of a trace go the way the engine turns, in degrees; one that starts again has its
// index at nought. It returns when that was first, at which angle, and by how many degrees
// at the least; by is 0 for nowhere.
func Index(t, a []float64, startsAgain bool) (first, at, by float64) {
	leap := leaps(t, a)
	var least, from, to [int(Turn)]float64 // of each degree: the least leap over it, the first turn and the last
	for k := range least {
		least[k], from[k], to[k] = math.Inf(1), math.Inf(1), math.Inf(-1)
	}
	for i := 1; i < len(a); i++ {
		for at := math.Floor(a[i-1]) + 1; at <= a[i] && a[i]-a[i-1] < Turn; at++ {
			turn := math.Floor(at / Turn)
			k := int(at - turn*Turn)
			least[k], from[k], to[k] = min(least[k], leap[i]), min(from[k], turn), max(to[k], turn)
		}
	}
	enough := max(leastIndex, indexCounts*lobe.Count(a))
	for k := range least { // one leap that is at no known place is a hand's
		known := to[k] > from[k] || to[k] == from[k] && k == 0 && startsAgain
		if known && least[k] > max(by, enough) {
			at, by = float64(k), least[k]
		}
	}
	for i := 1; i < len(a); i++ {
		over := func(at float64) bool { return math.Floor((a[i]-at)/Turn) != math.Floor((a[i-1]-at)/Turn) }
		switch {
		case over(at) && first == 0:
			first = t[i]
		case !over(at) && !over(at+by) && a[i] != a[i-1] && indexTimes*leap[i] >= by:
			return 0, 0, 0
		}
	}
	return first, at, by
}

// leaps returns by how much farther each angle lies from the one before than at the greater
// of the paces beside it.
func leaps(t, a []float64) []float64 {
	leap := make([]float64, len(t))
	for i := 1; i < len(t); i++ {
		pace := 0.0
		for _, k := range [2]int{max(i-1, 1), min(i+1, len(t)-1)} {
			if k != i {
				pace = max(pace, math.Abs(a[k]-a[k-1])/max(t[k]-t[k-1], 1))
			}
		}
		leap[i] = math.Abs(a[i]-a[i-1]) - pace*(t[i]-t[i-1])
	}
	return leap
}
