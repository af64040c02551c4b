package lift

import (
	"lobescribe/device/measure"
)

// An encoder that goes on while the valve goes back.

const (
	// A valve that goes back on its flank by such a share of its lift, and on again, has
	// its crank turned back, by more readings than a knock; both ways by more degrees.
	wentBack, backReadings, backDegrees = 0.08, 5, 3.0
)

// gained returns by how many degrees the angle went on, at the most, from where the valve
// went back on a flank to where it came to the same lift again, and when: nought but for
// the play of a drive, where the angle goes back as well.
func gained(v *view) (most float64, at measure.Stamp) {
	way := v.way()
	look := func(from, to int, up float64) {
		far, deepest := from, from // the farthest on the flank, and the farthest back since
		for i := from; i < to; i++ {
			switch {
			case v.y[i]*up > v.y[far]*up:
				onFlank := max(v.y[far], v.y[deepest]) < (1-noseDepth)*v.height // else the hand may have rocked over the nose
				back, turned, on := (v.y[far]-v.y[deepest])*up, (v.p[deepest].a-v.p[far].a)*way, (v.p[i].a-v.p[far].a)*way
				if onFlank && back > wentBack*v.height && deepest-far >= backReadings && turned > backDegrees && on > 2*backDegrees && on > most {
					most, at = on, stamp(v.p[far].t)
				}
				far, deepest = i, i
			case v.y[i]*up < v.y[deepest]*up:
				deepest = i
			}
		}
	}
	look(0, v.top+1, 1)
	look(v.top, len(v.y), -1)
	return most, at
}
