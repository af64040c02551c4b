package workshop

import (
	"math"

	"lobescribe/device/measure"
)

// openings finds the passages in the path itself: each time the way from before
// the lobe to behind it, back-turns and rests included.
func (b *bench) openings(samples []sample, path, lift []float64) []Opening {
	l := b.lobe
	var all []Opening
	up, down := l.cross(l.most / 2)
	opens, closes, first, second, nose := l.open, l.close, up, down, l.nose
	if b.way < 0 {
		opens, closes, first, second, nose = -l.close, -l.open, -down, -up, -l.nose
	}
	angle := func(way float64) measure.Angle {
		return measure.FromDegrees(b.enc.sign*b.way*way + b.enc.zero)
	}
	for k := -1; k <= b.turns; k++ {
		turn := 720 * float64(k)
		o := Opening{Lift: length(l.most), Shown: length(l.most),
			NoseAngle: angle(turn + nose), OpeningHalfAngle: angle(turn + first), ClosingHalfAngle: angle(turn + second)}
		at := -1  // where it stands highest
		from := 0 // left the seat for good
		to := len(path) - 1
		any, passed := false, false
		begin, last := near(b.way, path, turn, len(path)/2000+1)
		for i := begin; i < last; i++ {
			p := b.way*path[i] - turn
			switch {
			case p > opens && p < closes:
				any = true
				if at < 0 || lift[i] > lift[at] {
					at = i
				}
				to = i
			case p <= opens && at < 0:
				from = i
			}
			if i > begin {
				before := b.way*path[i-1] - turn
				if (before-first)*(p-first) <= 0 && before != p {
					o.OpeningHalf = append(o.OpeningHalf, stamp(i))
				}
				passed = passed || (before-nose)*(p-nose) <= 0
				if (before-second)*(p-second) <= 0 && before != p {
					o.ClosingHalf = append(o.ClosingHalf, stamp(i))
				}
			}
		}
		if !any {
			continue
		}
		// A back-turn may shut it once more before it goes on: it counts from the
		// last time that it was shut before the nose.
		for i := at; i >= 0; i-- {
			if b.way*path[i]-turn <= opens {
				from = i
				break
			}
		}
		o.Open, o.Nose, o.Close = stamp(from), stamp(at), stamp(to)
		o.Passed = passed
		o.Whole = o.Passed && b.way*path[0]-turn < opens && b.way*path[len(path)-1]-turn > closes
		best := 0.0
		for _, s := range samples {
			if t := stamp(int(s.at / tick)); t >= o.Open && t <= o.Close {
				best = math.Max(best, sampled(lift, s.at))
			}
		}
		o.Hidden = length(l.most - best)
		all = append(all, o)
	}
	return all
}

func stamp(i int) measure.Stamp { return measure.Stamp(math.Round(float64(i) * tick * 1e6)) }

// near returns a stretch of the path outside of which it is further than half
// a cycle from a turn.
func near(way float64, path []float64, turn float64, stride int) (first, last int) {
	first, last = len(path), 0
	for i := 0; i < len(path); i += stride {
		if math.Abs(way*path[i]-turn) <= 360 {
			first, last = min(first, i), max(last, i)
		}
	}
	return max(first-stride, 0), min(last+stride, len(path))
}
