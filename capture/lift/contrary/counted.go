package contrary

import "lobescribe/capture/lift/lobe"

const (
	// A valve that goes back on its flank by such a share of its lift, and on again, has
	// its crank turned back, by more readings than a knock; both ways by more degrees.
	wentBack, backReadings, backDegrees = 0.08, 5, 3.0
	// So many clicks of a ratchet tell it as well, by so many counts and standard deviations.
	leastClicks, clickCounts, clickNoise = 3, 2.5, 4.0
	// The angle goes on by no less than such a share of what the lift says, back and there
	// again, and by so many degrees in all; one of so many clicks may be something else.
	clickShare, clickDegrees, againstClicks = 0.4, 2.0, 6
	// No flank is shorter, degrees.
	leastTurned = 40
)

// Counted returns by how many degrees the angle went on in all, from where the valve went
// back on a flank to where it came to the same lift again, and at which reading first: nought
// but for the play of a drive, where the angle goes back as well. Lift that is late seems to go
// on where it comes back, an angle that is late where it turns, and a knock does not last.
func (o *Opening) Counted() (sum float64, first int) {
	over := max(clickCounts*o.Step, clickNoise*o.Scatter)
	say, against := 0, 0
	o.flanks(func(from, to int, up float64) {
		far, deepest := from, from // the farthest on the flank, and the farthest back since
		steep := o.Y[o.Top] / max((o.A[to-1]-o.A[from])*o.Way, leastTurned)
		for i := from; i < to; i++ {
			switch {
			case o.Y[i]*up > o.Y[far]*up:
				onFlank := max(o.Y[far], o.Y[deepest]) < (1-lobe.NoseDepth)*o.Y[o.Top] // else the hand may have rocked over the nose
				back, turned := (o.Y[far]-o.Y[deepest])*up, (o.A[deepest]-o.A[far])*o.Way
				// At the same lift it was between the last two readings.
				before := max(i-1, 0)
				on := (o.A[i]-o.A[far])*o.Way - (o.A[i]-o.A[before])*o.Way*(o.Y[i]-o.Y[far])/(o.Y[i]-o.Y[before])
				share, says := turned*steep/back, 0
				switch {
				case !onFlank || back <= over || i-far <= backReadings:
				case back > wentBack*o.Y[o.Top] && turned > backDegrees && on > 2*backDegrees:
					says = leastClicks
				case share < clickShare || share > 1/clickShare || on*steep < 2*clickShare*back:
					against++
				default:
					says = 1
				}
				if says > 0 {
					if say == 0 {
						first = far
					}
					say, sum = say+says, sum+on
				}
				far, deepest = i, i
			case o.Y[i]*up < o.Y[deepest]*up:
				deepest = i
			}
		}
	})
	if say < leastClicks || againstClicks*against > say+against || sum < clickDegrees {
		return 0, 0
	}
	return sum, first
}
