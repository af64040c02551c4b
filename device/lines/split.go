package lines

import (
	"bytes"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// splitter cuts a stream of bytes into lines: it holds what has come of a
// line, drops a line without end, and skips what came before the first end.
type splitter struct {
	end, start byte
	size       int // bytes behind start, where nothing ends a frame
	max        int

	synced  bool // a line has ended, or is known to begin here
	tooLong bool // the line that is running has no end
	held    []byte
	at      int           // where in the chunk the line ended that take was called with
	heldAt  measure.Stamp // when the last byte came of what is held
}

// reset forgets the line that is running: bytes were lost.
func (s *splitter) reset() { s.synced, s.tooLong, s.held = false, false, s.held[:0] }

// each calls take for every whole line in c, and holds the rest. A line that
// lies whole in the chunk is not copied.
func (s *splitter) each(c wire.Chunk, out *wire.Out, take func(line []byte, at measure.Stamp, out *wire.Out)) {
	b := c.Bytes
	if s.size > 0 {
		s.frames(c, out, take)
		return
	}
	for from := 0; from < len(b); {
		at := from
		if s.end == 0 {
			for at < len(b) && b[at] != '\n' && b[at] != '\r' {
				at++
			}
		} else if n := bytes.IndexByte(b[from:], s.end); n >= 0 {
			at += n
		} else {
			at = len(b)
		}
		if at == len(b) {
			s.hold(b[from:], out)
			s.heldAt = c.At
			return
		}
		line, end := b[from:at], at+1
		// Where a line is ended by the start of the next, it was there when its last
		// byte was.
		late := from == 0 && at == 0 && len(s.held) > 0
		from = end
		if s.tooLong || !s.synced {
			// The tail of a line whose start is missing.
			s.synced, s.tooLong, s.held = true, false, s.held[:0]
			continue
		}
		if len(s.held) > 0 {
			if !s.hold(line, out) {
				s.tooLong, s.held = false, s.held[:0]
				continue
			}
			line = s.held
			s.held = s.held[:0]
		} else if len(line) > s.max {
			out.Refused.TooLong++
			continue
		}
		if len(line) == 0 {
			continue
		}
		if s.start != 0 || blankByte(line[0]) || blankByte(line[len(line)-1]) {
			if line = s.frame(line); len(line) == 0 {
				continue
			}
		}
		s.at = end
		if late {
			take(line, s.heldAt, out)
			continue
		}
		take(line, c.Stamp(end), out)
	}
}

// frames calls take for every frame of a fixed size behind the start byte.
func (s *splitter) frames(c wire.Chunk, out *wire.Out, take func(line []byte, at measure.Stamp, out *wire.Out)) {
	for i, b := range c.Bytes {
		switch {
		case b == s.start:
			if len(s.held) > 0 {
				out.Refused.Misshapen++ // one that was cut
			}
			s.synced, s.held = true, s.held[:0]
		case s.synced:
			s.held = append(s.held, b)
			if len(s.held) < s.size {
				continue
			}
			line := s.held
			s.synced, s.held = false, s.held[:0]
			for len(line) > 0 && blankByte(line[0]) {
				line = line[1:]
			}
			for len(line) > 0 && blankByte(line[len(line)-1]) {
				line = line[:len(line)-1]
			}
			if s.at = i + 1; len(line) > 0 {
				take(line, c.Stamp(i+1), out)
			}
		}
	}
}

// hold keeps the start of a line, and reports whether it is within bounds.
func (s *splitter) hold(b []byte, out *wire.Out) bool {
	if !s.synced || s.tooLong {
		return false
	}
	if len(s.held)+len(b) > s.max {
		s.tooLong, s.held = true, s.held[:0]
		out.Refused.TooLong++
		return false
	}
	s.held = append(s.held, b...)
	return true
}

// frame takes off what stands around the text: blanks, NULs (a line that
// floats reads as NULs), the other half of a CR LF, and all before Start.
func (s *splitter) frame(line []byte) []byte {
	if s.start != 0 {
		line = line[bytes.LastIndexByte(line, s.start)+1:]
	}
	for len(line) > 0 && blankByte(line[0]) {
		line = line[1:]
	}
	for len(line) > 0 && blankByte(line[len(line)-1]) {
		line = line[:len(line)-1]
	}
	return line
}

func blankByte(c byte) bool { return c == ' ' || c == '\t' || c == 0 || c == '\r' || c == '\n' }
