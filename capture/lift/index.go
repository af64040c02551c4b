package lift

import "lobescribe/capture/lift/drive"

// judgeIndex tells of counts that are lost all the turn and mended by an index.
func (g *Segmenter) judgeIndex(all []measured) {
	if g.verdict.encoder || len(all) == 0 {
		return
	}
	way := mostWay(all)
	var t, a []float64
	for _, s := range g.account.s {
		t, a = append(t, s.from), append(a, s.first*way)
	}
	if first, at, by := drive.Index(t, a, g.sift.StartsAgain()); by > 0 {
		g.fault(EncoderCounts, stamp(first), "at %.0f degrees, where its index is, the encoder leaps by %.0f degrees or more in each turn: it loses counts all the way, and the index mends them there. Half-lift angles are off by up to as much; check its signals, and counts= in its address, and turn again", at*way, by)
	}
}
