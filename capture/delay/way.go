package delay

import (
	"fmt"
	"math"
	"sort"

	"lobescribe/device/measure"
)

// way is the crank angle over time: seconds and degrees.
type way struct {
	t, a  []float64
	span  float64
	turns int // changes of direction
}

func newWay(angle []measure.Reading, span float64) (*way, error) {
	w := &way{span: span}
	for _, r := range angle {
		if r.Has&measure.HasAngle == 0 {
			continue
		}
		t := r.At.Seconds()
		if n := len(w.t); n > 0 && t <= w.t[n-1] {
			continue
		}
		w.t, w.a = append(w.t, t), append(w.a, r.Angle.Degrees())
	}
	if len(w.t) < atLeast/2 {
		return nil, fmt.Errorf("%w: %d readings of the angle; is the encoder connected?", ErrNotEnough, len(w.t))
	}
	return w, nil
}

// at returns the angle at a time, as the joiner has it: even turning between
// readings near each other, and standing still where the encoder was silent.
func (w *way) at(t float64) float64 {
	i := sort.SearchFloat64s(w.t, t) // the first not before t
	switch {
	case i == 0:
		return w.a[0]
	case i == len(w.t):
		return w.a[i-1]
	}
	from := max(w.t[i-1], w.t[i]-w.span)
	if t <= from {
		return w.a[i-1]
	}
	return w.a[i-1] + (w.a[i]-w.a[i-1])*(t-from)/(w.t[i]-from)
}

// speed returns degrees a second about a time.
func (w *way) speed(t float64) float64 {
	return (w.at(t+about) - w.at(t-about)) / (2 * about)
}

// sweptBothWays returns the whole degrees that were passed in both directions,
// and counts the changes of direction.
func (w *way) sweptBothWays() map[int]bool {
	passed := map[int]uint8{}
	direction := 0
	for i, t := range w.t {
		v := w.speed(t)
		if math.Abs(v) < slowest || i == 0 {
			continue
		}
		now, bit := 1, uint8(1)
		if v < 0 {
			now, bit = -1, 2
		}
		if direction != 0 && now != direction {
			w.turns++
		}
		direction = now
		lo, hi := min(w.a[i-1], w.a[i]), max(w.a[i-1], w.a[i])
		if hi-lo > 90 { // a jump, and no turning
			continue
		}
		for d := int(math.Floor(lo)); d <= int(math.Floor(hi)); d++ {
			passed[d] |= bit
		}
	}
	both := map[int]bool{}
	for d, bits := range passed {
		if bits == 3 {
			both[d] = true
		}
	}
	return both
}
