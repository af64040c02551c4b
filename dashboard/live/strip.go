package live

import (
	"iter"
	"slices"

	"lobescribe/capture"
)

// stripBatch is how many readings of the past go into one message.
const stripBatch = 2048

// strip remembers the last readings of the live engine, for a page that opens
// in the middle of a turn.
type strip struct {
	span int64 // microseconds
	most int
	r    capture.Readings
}

// add appends a batch and forgets what is too old. It copies, and moves its
// columns down only when half of them is past, so that a reading is moved once
// or twice in its life.
func (s *strip) add(m capture.Readings) {
	for i, q := range s.r.Quantities() {
		if (len(*q) > 0) != (len(*m.Quantities()[i]) > 0) {
			// An instrument came or went: one batch cannot tell both stories.
			s.r = capture.Readings{}
			break
		}
	}
	s.r.At = append(s.r.At, m.At...)
	for i, q := range s.r.Quantities() {
		*q = append(*q, *m.Quantities()[i]...)
	}
	if old := s.old(); old > len(s.r.At)/2 {
		s.r.At = append(s.r.At[:0], s.r.At[old:]...)
		for _, q := range s.r.Quantities() {
			if len(*q) > 0 {
				*q = append((*q)[:0], (*q)[old:]...)
			}
		}
	}
}

// old is how many readings at the start are past remembering.
func (s *strip) old() int {
	n := len(s.r.At)
	if n == 0 {
		return 0
	}
	old := max(0, n-s.most)
	for newest := s.r.At[n-1]; old < n && s.r.At[old] < newest-s.span; old++ {
	}
	return old
}

// copy returns what is remembered, in columns of its own.
func (s *strip) copy() capture.Readings {
	from := s.old()
	out := s.r.Slice(from, len(s.r.At))
	out.At = slices.Clone(out.At)
	for _, q := range out.Quantities() {
		*q = slices.Clone(*q)
	}
	return out
}

// batchesOf cuts readings into batches of at most n.
func batchesOf(m capture.Readings, n int) iter.Seq[capture.Readings] {
	return func(yield func(capture.Readings) bool) {
		for from := 0; from < len(m.At); from += n {
			if !yield(m.Slice(from, min(from+n, len(m.At)))) {
				return
			}
		}
	}
}

// replayBatch is the most that one batch of a replay holds. Nobody can look at
// more in a sixtieth of a second, and a trace played a thousand times faster
// than it was turned would swamp every page.
const replayBatch = 2048

// thinned keeps at most about most readings of a replay: of every stretch, the
// least and the largest, so that the nose stays as high as it was.
func thinned(m capture.Readings, most int) capture.Readings {
	n := len(m.At)
	if n <= most {
		return m
	}
	var out capture.Readings
	drawn := m.Lift
	if len(drawn) == 0 {
		drawn = m.Sweep
	}
	if len(drawn) == 0 {
		return m
	}
	keep := func(i int) {
		out.At = append(out.At, m.At[i])
		for j, q := range out.Quantities() {
			if from := *m.Quantities()[j]; len(from) > 0 {
				*q = append(*q, from[i])
			}
		}
	}
	stretches := most / 2
	for s := range stretches {
		from, to := s*n/stretches, (s+1)*n/stretches
		least, largest := from, from
		for i := from; i < to; i++ {
			if drawn[i] < drawn[least] {
				least = i
			}
			if drawn[i] > drawn[largest] {
				largest = i
			}
		}
		keep(min(least, largest))
		if least != largest {
			keep(max(least, largest))
		}
	}
	return out
}
