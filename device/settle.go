package device

import (
	"bytes"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// settling holds the first readings after an open until it is plain that the
// device itself speaks and not its boot loader. Opening a port resets many
// boards, and some of their chatter looks like a number. What was held is
// given out when a few readings came in a row, or one and then nothing; and
// dropped, as stale, when something refused comes among it.
type settling struct {
	held  []measure.Reading
	heard bool
	since measure.Stamp // the first thing heard
	last  measure.Stamp // the latest reading held
	done  bool
}

const (
	settleReadings = 3
	settleQuiet    = 300 * measure.Millisecond
	settleAtMost   = 2 * measure.Second
)

// begin starts over for a newly opened link.
func (s *settling) begin() { *s = settling{held: s.held[:0]} }

// piece says how many bytes to decode in one go: to the end of a line, so that
// what was refused and what was read are seen in the order in which they came,
// however the bytes were cut into reads.
func (s *settling) piece(b []byte) int {
	if i := bytes.IndexAny(b, "\r\n"); i >= 0 {
		return i + 1
	}
	return len(b)
}

// take passes what a piece gave. Before the link has settled, readings are
// taken out of out and held; when it has, all of them stand there in order.
func (s *settling) take(now measure.Stamp, out *wire.Out) {
	if s.done {
		return
	}
	refused := out.Refused.Total() > 0
	if !s.heard && (refused || len(out.Readings) > 0) {
		s.heard, s.since = true, now
	}
	if refused {
		out.Refused.Stale += int64(len(s.held))
		s.held = s.held[:0]
	}
	if len(out.Readings) > 0 {
		s.last = now
	}
	s.held = append(s.held, out.Readings...)
	out.Readings = out.Readings[:0]
	if len(s.held) >= settleReadings || len(s.held) > 0 && s.heard && now-s.since > settleAtMost {
		s.release(out)
	}
}

// tick passes time without bytes.
func (s *settling) tick(now measure.Stamp, out *wire.Out) {
	if !s.done && len(s.held) > 0 && now-s.last > settleQuiet {
		s.release(out)
	}
}

func (s *settling) release(out *wire.Out) {
	out.Readings = append(out.Readings, s.held...)
	s.held, s.done = s.held[:0], true
}
