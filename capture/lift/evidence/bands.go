package evidence

// endLevels are where the bands at either end of a flank end, in shares of the
// lift from that end; the innermost begins at what noise and step hide.
var endLevels = [Bands]float64{0.16, 0.08, 0.04, 0.02, 0.01}

// Levels returns where a band ends and where it begins, in shares of the lift from its
// end of the flank; the innermost band has noise for its beginning.
func Levels(band int) (until, from float64) { return endLevels[band], endLevels[band+1] }

// bandsOf measures them along a flank that is walked down from the nose. hidden is
// the share of the lift that noise and step hide.
func bandsOf(w walk, height, hidden, pace float64) (f Flank) {
	const last = Bands - 1
	passed := func(share float64) float64 { return w.down(share * height) }
	at, from := passed(1-hidden), hidden
	for i := last; i >= 0; i-- {
		share := endLevels[i]
		if share <= from {
			continue
		}
		next := passed(1 - share)
		f.Top[i] = slow(next-at, share-from, pace)
		at, from = next, share
	}
	at = passed(endLevels[0])
	for i := range Bands {
		until := hidden
		if i < last {
			until = max(endLevels[i+1], hidden)
		}
		if until >= endLevels[i] {
			continue
		}
		next := passed(until)
		f.Foot[i] = slow(next-at, endLevels[i]-until, pace)
		at = next
	}
	// What is hidden is taken to be as the band outside of it.
	for i := 1; i < Bands; i++ {
		if endLevels[i] <= hidden {
			f.Top[i], f.Foot[i] = f.Top[i-1], f.Foot[i-1]
		}
	}
	return f
}
