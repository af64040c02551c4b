package simulator

import (
	"cmp"
	"math"
	"slices"

	"lobescribe/device/measure"
)

// roundToCount returns the nearest whole number of steps to a length in
// millimetres.
func roundToCount(mm float64, step measure.Length) int64 {
	return int64(math.Round(mm / step.Millimetres()))
}

// misread returns what a number sent in one unit means to somebody who takes
// it to be in another.
func misread(l measure.Length, sent, taken measure.Unit) measure.Length {
	return measure.Length(math.Round(float64(l) / float64(sent.Length()) * float64(taken.Length())))
}

func lost(losses []Loss, at measure.Stamp) bool {
	for _, l := range losses {
		if at >= l.At && at < l.At+l.For {
			return true
		}
	}
	return false
}

func sortNotes(dst []measure.Note) {
	slices.SortStableFunc(dst, func(a, b measure.Note) int { return cmp.Compare(a.At, b.At) })
}

// indexes tells the first line after each pass of an encoder's index.
type indexes struct {
	*counter
	turn    int64
	started bool
}

func (x *indexes) passed(count int64) bool {
	turn := int64(math.Floor(float64(count) / float64(x.counts)))
	passed := x.started && turn != x.turn
	x.turn, x.started = turn, true
	return passed
}

// Apart returns the trace as two separate devices give it: readings of lift
// alone and of angle alone, in order of time.
func (s *Session) Apart() measure.Trace {
	t := s.Trace
	t.Readings = make([]measure.Reading, 0, len(s.Trace.Readings)+len(s.Counts))
	for _, r := range s.Trace.Readings {
		r.Has, r.Angle = measure.HasLift, 0
		t.Readings = append(t.Readings, r)
	}
	t.Readings = append(t.Readings, s.Counts...)
	slices.SortStableFunc(t.Readings, func(a, b measure.Reading) int { return cmp.Compare(a.At, b.At) })
	return t
}
