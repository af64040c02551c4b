package lift

import "math"

const (
	// Where an index mends counts the angle leaps by so many times as far as anywhere else,
	// by so many degrees and so many counts.
	indexTimes, leastIndex, indexCounts = 2.0, 1.0, 3.0
)

// judgeIndex tells of counts that are lost all the turn and mended where the encoder passes
// its index: from nose to nose the turns are whole, and once in each, at one angle, it leaps
// from one reading to the next by more than the crank goes just before and after. A spring
// that throws the crank on does so in every other turn, or at several angles.
func (g *Segmenter) judgeIndex(all []measured) {
	if g.verdict.encoder || len(all) == 0 {
		return
	}
	t, a, leap := g.account.leaps(mostWay(all))
	var least, from, to [int(wholeTurn)]float64 // of each degree: the least leap over it, the first turn and the last
	for k := range least {
		least[k], from[k], to[k] = math.Inf(1), math.Inf(1), math.Inf(-1)
	}
	count := math.Inf(1)
	for i := 1; i < len(a); i++ {
		on := a[i] - a[i-1]
		if on != 0 {
			count = min(count, math.Abs(on))
		}
		for at := math.Floor(a[i-1]) + 1; at <= a[i] && on > 0 && on < wholeTurn; at++ {
			turn := math.Floor(at / wholeTurn)
			k := int(at - turn*wholeTurn)
			least[k], from[k], to[k] = min(least[k], leap[i]), min(from[k], turn), max(to[k], turn)
		}
	}
	best := -1
	for k := range least {
		known := to[k] > from[k] || k == 0 && to[k] == from[k] && g.sift.StartsAgain() // one leap elsewhere is a hand's
		if known && (best < 0 || least[k] > least[best]) {
			best = k
		}
	}
	if best < 0 {
		return
	}
	first, enough := 0, max(leastIndex, indexCounts*count)
	over := func(i int, at float64) bool {
		return math.Floor((a[i]-at)/wholeTurn) != math.Floor((a[i-1]-at)/wholeTurn)
	}
	for i := 1; i < len(a); i++ {
		switch at := float64(best); {
		case over(i, at) && first == 0:
			first = i
		case !over(i, at) && !over(i, at+least[best]) && a[i] != a[i-1]:
			enough = max(enough, indexTimes*leap[i])
		}
	}
	if least[best] > enough {
		g.fault(EncoderCounts, stamp(t[first]), "at %d degrees, where its index is, the encoder leaps by %.0f degrees or more in each turn: it loses counts all the way, and the index mends them there. Half-lift angles are off by up to as much; check its signals, and counts= in its address, and turn again", best, least[best])
	}
}

// leaps returns the angles of a trace the way the engine turns, and by how much farther each
// lies from the one before than at the greater of the paces beside it.
func (a *account) leaps(way float64) (t, angle, leap []float64) {
	for _, s := range a.s {
		if t, angle = append(t, s.from), append(angle, s.first*way); s.to > s.from {
			t, angle = append(t, s.to), append(angle, s.last*way)
		}
	}
	pace := func(i int) float64 {
		if i < 1 || i >= len(t) {
			return 0
		}
		return math.Abs(angle[i]-angle[i-1]) / max(t[i]-t[i-1], 1)
	}
	leap = make([]float64, len(t))
	for i := 1; i < len(t); i++ {
		leap[i] = math.Abs(angle[i]-angle[i-1]) - max(pace(i-1), pace(i+1))*(t[i]-t[i-1])
	}
	return t, angle, leap
}
