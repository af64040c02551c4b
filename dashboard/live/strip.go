package live

import (
	"iter"

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
	if (s.r.Angle == nil) != (m.Angle == nil) {
		// The encoder came or went: one batch cannot tell both stories.
		s.r = capture.Readings{}
	}
	s.r.At = append(s.r.At, m.At...)
	s.r.Lift = append(s.r.Lift, m.Lift...)
	if m.Angle != nil {
		s.r.Angle = append(s.r.Angle, m.Angle...)
	}
	if old := s.old(); old > len(s.r.At)/2 {
		s.r.At = append(s.r.At[:0], s.r.At[old:]...)
		s.r.Lift = append(s.r.Lift[:0], s.r.Lift[old:]...)
		if s.r.Angle != nil {
			s.r.Angle = append(s.r.Angle[:0], s.r.Angle[old:]...)
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
	out := capture.Readings{
		At:   append([]int64(nil), s.r.At[from:]...),
		Lift: append([]int64(nil), s.r.Lift[from:]...),
	}
	if s.r.Angle != nil {
		out.Angle = append([]int64(nil), s.r.Angle[from:]...)
	}
	return out
}

// batchesOf cuts readings into batches of at most n.
func batchesOf(m capture.Readings, n int) iter.Seq[capture.Readings] {
	return func(yield func(capture.Readings) bool) {
		for from := 0; from < len(m.At); from += n {
			to := min(from+n, len(m.At))
			part := capture.Readings{At: m.At[from:to], Lift: m.Lift[from:to]}
			if m.Angle != nil {
				part.Angle = m.Angle[from:to]
			}
			if !yield(part) {
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
	keep := func(i int) {
		out.At, out.Lift = append(out.At, m.At[i]), append(out.Lift, m.Lift[i])
		if m.Angle != nil {
			out.Angle = append(out.Angle, m.Angle[i])
		}
	}
	stretches := most / 2
	for s := range stretches {
		from, to := s*n/stretches, (s+1)*n/stretches
		least, largest := from, from
		for i := from; i < to; i++ {
			if m.Lift[i] < m.Lift[least] {
				least = i
			}
			if m.Lift[i] > m.Lift[largest] {
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
