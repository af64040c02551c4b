package doctor

import (
	"slices"
	"time"

	"lobescribe/device/measure"
)

// AngleCost is the angle by which the crank turns in a time.
func AngleCost(late measure.Stamp, degreesASecond float64) measure.Angle {
	return measure.FromDegrees(late.Seconds() * degreesASecond)
}

const (
	latenessWindow = 64 // arrivals fitted at once: a clock of a board drifts
	latenessLeast  = 3  // windows
)

// Lateness measures by how much arrivals of a device with a steady clock are
// scattered: the median over windows of the range of what is left of a
// straight line through them. It is not ok when there are too few, or when the
// device has no steady clock (one that sends when something changes).
func Lateness(at []measure.Stamp) (late measure.Stamp, ok bool) {
	var spreads []measure.Stamp
	for len(at) >= latenessWindow {
		if s, steady := spread(at[:latenessWindow]); steady {
			spreads = append(spreads, s)
		}
		at = at[latenessWindow:]
	}
	if len(spreads) < latenessLeast {
		return 0, false
	}
	slices.Sort(spreads)
	return spreads[len(spreads)/2], true
}

// spread fits a line through a window and returns the range of the rest. The
// window is not steady when a pause in it is much longer than the others,
// beyond what a timer makes.
func spread(at []measure.Stamp) (s measure.Stamp, steady bool) {
	n := float64(len(at))
	var sx, sy, sxx, sxy float64
	for i, t := range at {
		x, y := float64(i), float64(t-at[0])
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
	from := (sy - slope*sx) / n
	var least, most float64
	for i, t := range at {
		d := float64(t-at[0]) - (from + slope*float64(i))
		least, most = min(least, d), max(most, d)
		if i > 0 && float64(t-at[i-1]) > 3*slope+50_000 {
			return 0, false
		}
	}
	return measure.Stamp(most - least), slope > 0
}

// arrivals returns when the lines of a link came.
func arrivals(l Link) []measure.Stamp {
	perByte := l.Address.Line().ByteTime()
	var at []measure.Stamp
	var before byte
	for i, c := range l.Raw {
		if c.At < l.Status.OpenedAt {
			continue
		}
		each := perByte
		if i > 0 && len(c.Bytes) > 0 {
			each = max(0, min(each, (c.At-l.Raw[i-1].At).Duration()/time.Duration(len(c.Bytes))))
		}
		for j, b := range c.Bytes {
			if b == '\r' || b == '\n' && before != '\r' {
				at = append(at, c.At-measure.StampOf(time.Duration(len(c.Bytes)-1-j)*each))
			}
			before = b
		}
	}
	return at
}
