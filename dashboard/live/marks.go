package live

import (
	"slices"

	"lobescribe/capture/keep"
	"lobescribe/device/measure"
)

// marksKept bounds the marks of one trace that a new page is told: a foot that
// stands on the pedal must not make the hello grow.
const marksKept = 500

// marked keeps a mark in the time of the trace under way, as the trace itself does.
func (h *Hub) marked(m Marked) {
	t := h.now.Trace
	if t == nil || t.State == keep.StateKept {
		return // nothing is recorded, so nothing is marked
	}
	marks := slices.Clone(h.now.Marks) // a hello may be on its way out with the old ones
	if n := len(marks); m.Undone && n > 0 {
		marks = marks[:n-1]
	} else if !m.Undone && n < marksKept {
		marks = append(marks, m.At-measure.Stamp(t.Began))
	}
	h.now.Marks = marks
}
