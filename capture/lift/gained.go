package lift

import (
	"cmp"

	"lobescribe/device/measure"
)

// An encoder that goes on while the valve goes back.

const (
	// A valve that goes back on its flank by such a share of its lift, and on again, has
	// its crank turned back, by more readings than a knock; both ways by more degrees.
	wentBack, backReadings, backDegrees = 0.08, 5, 3.0
	// So many clicks of a ratchet tell it as well, by so many counts and standard deviations.
	leastClicks, clickCounts, clickNoise = 3, 2.5, 4.0
	// The angle goes on by no less than such a share of what the lift says, back and there
	// again, and by so many degrees in all; one of so many clicks may be something else.
	clickShare, clickDegrees, againstClicks = 0.4, 2.0, 6
)

// gained returns by how many degrees the angle went on in all, from where the valve went
// back on a flank to where it came to the same lift again, and when at first: nought but for
// the play of a drive, where the angle goes back as well. Lift that is late seems to go on
// where it comes back, an angle that is late where it turns, and a knock does not last.
func gained(v *view, over float64) (sum float64, at measure.Stamp) {
	way, say, against := v.way(), 0, 0
	look := func(from, to int, up float64) {
		far, deepest := from, from // the farthest on the flank, and the farthest back since
		steep := v.height / max((v.p[to-1].a-v.p[from].a)*way, leastTurned)
		for i := from; i < to; i++ {
			switch {
			case v.y[i]*up > v.y[far]*up:
				onFlank := max(v.y[far], v.y[deepest]) < (1-noseDepth)*v.height // else the hand may have rocked over the nose
				back, turned := (v.y[far]-v.y[deepest])*up, (v.p[deepest].a-v.p[far].a)*way
				// At the same lift it was between the last two readings.
				on := (v.p[i].a-v.p[far].a)*way - (v.p[i].a-v.p[max(i-1, 0)].a)*way*(v.y[i]-v.y[far])/(v.y[i]-v.y[max(i-1, 0)])
				share, says := turned*steep/back, 0
				switch {
				case !onFlank || back <= over || i-far <= backReadings:
				case back > wentBack*v.height && turned > backDegrees && on > 2*backDegrees:
					says = leastClicks
				case share < clickShare || share > 1/clickShare || on*steep < 2*clickShare*back:
					against++
				default:
					says = 1
				}
				if says > 0 {
					say, sum, at = say+says, sum+on, cmp.Or(at, stamp(v.p[far].t))
				}
				far, deepest = i, i
			case v.y[i]*up < v.y[deepest]*up:
				deepest = i
			}
		}
	}
	look(0, v.top+1, 1)
	look(v.top, len(v.y), -1)
	if say < leastClicks || againstClicks*against > say+against || sum < clickDegrees {
		return 0, 0
	}
	return sum, at
}
