package prove

import (
	"math"
	"slices"

	"lobescribe/device/measure"
)

const (
	// restFor is how long the figure must stand for the spindle to be at rest:
	// longer than a gauge repeats itself while its spindle moves.
	restFor = measure.Second
	// restReadings is the least number that a rest takes.
	restReadings = 4
	// restBand is what a figure at rest may move by when its step is fine. A
	// finger that holds a spindle moves it by more.
	restBand = 10 * measure.Micrometre
	// lookEvery is how often a window is looked at; sorting it costs.
	lookEvery = 20 * measure.Millisecond
	// mostInWindow bounds it; a faster instrument's readings are thinned.
	mostInWindow = 2048
)

// sample is one reading of lift, in nanometres as floats are summed.
type sample struct {
	at   measure.Stamp
	lift float64
}

// window holds the readings of the last restFor and says whether the spindle is
// at rest. A reading or two that are misread do not disturb it.
type window struct {
	held   []sample
	sorted []float64
	looked measure.Stamp
}

func (w *window) reset() { w.held = w.held[:0] }

func (w *window) add(s sample) {
	from := s.at - restFor - restFor/10
	old := 0
	for old < len(w.held) && w.held[old].at < from {
		old++
	}
	if len(w.held)-old >= mostInWindow {
		old = len(w.held) - mostInWindow + 1
	}
	if old > 0 {
		w.held = append(w.held[:0], w.held[old:]...)
	}
	w.held = append(w.held, s)
}

// stand is where a spindle rests.
type stand struct {
	at   measure.Stamp
	lift float64 // mean of the readings that agree
	u    float64 // standard uncertainty of that, without the step
}

// rest returns where the spindle rests at a step; ok is false while it does not,
// or while it is too early to look again.
func (w *window) rest(step float64) (s stand, ok bool) {
	n := len(w.held)
	if n < restReadings {
		return s, false
	}
	last := w.held[n-1]
	if last.at-w.held[0].at < restFor || last.at-w.looked < lookEvery {
		return s, false
	}
	w.looked = last.at
	middle := w.median(w.held)
	band := max(2*step, float64(restBand))
	agree := func(x sample) bool { return math.Abs(x.lift-middle) <= band }
	// What has just started to move is no rest, and neither is a creeping figure.
	if !agree(last) && !agree(w.held[n-2]) {
		return s, false
	}
	if math.Abs(w.median(w.held[n/2:])-w.median(w.held[:n/2])) > max(step, band/2)*1.01 {
		return s, false
	}
	k, sum, squares := 0.0, 0.0, 0.0
	late := w.held[n/2:]
	for _, x := range w.held {
		if agree(x) {
			k++
		}
	}
	if k < min(0.85*float64(n), float64(n-1)) {
		return s, false
	}
	k = 0
	for _, x := range late {
		if agree(x) {
			k++
			d := x.lift - middle
			sum += d
			squares += d * d
		}
	}
	mean := sum / k
	s = stand{at: last.at, lift: middle + mean}
	if k > 1 {
		s.u = math.Sqrt(max(0, squares/k-mean*mean) / (k - 1))
	}
	return s, true
}

// wanders returns by how much the middle eight tenths of the window differ.
func (w *window) wanders() float64 {
	w.median(w.held)
	n := len(w.sorted)
	if n < restReadings {
		return 0
	}
	return w.sorted[n-1-n/10] - w.sorted[n/10]
}

func (w *window) median(of []sample) float64 {
	w.sorted = w.sorted[:0]
	for _, x := range of {
		w.sorted = append(w.sorted, x.lift)
	}
	slices.Sort(w.sorted)
	n := len(w.sorted)
	if n == 0 {
		return 0
	}
	return (w.sorted[(n-1)/2] + w.sorted[n/2]) / 2
}
