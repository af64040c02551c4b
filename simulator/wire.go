package simulator

import (
	"bytes"
	"fmt"
	"math/rand/v2"

	"lobescribe/device/measure"
)

// Chunk is some bytes that arrive together. At is when the last of them is in.
type Chunk struct {
	At    measure.Stamp
	Bytes []byte
}

// Wire is the cable: how fast it is and how well it does.
type Wire struct {
	// Baud paces the bytes at ten bits a character (start, eight, stop). A
	// reading that comes due while the line before it is still being sent is
	// never sent, as in an instrument that sends its newest. 0 for as fast as
	// USB, where a line takes no time.
	Baud     int
	Mischief Mischief
}

// Mischief is what happens to bytes on the way. Zero is a good cable.
type Mischief struct {
	Seed uint64 // of PlayBytes and Spoil; a scenario has its own

	Split Split // how the bytes are cut into chunks; WholeLines

	// Noise is the chance a byte to arrive as another one, with its top bit
	// set; Missing the chance a byte to be lost.
	Noise, Missing float64
	// Garbage is the chance a line to have 1 to 20 bytes of rubbish before it.
	// There is never a digit among them; half the time they end like a line,
	// otherwise the good line hangs on to them.
	Garbage float64
	// Duplicates is the chance a line to be sent twice.
	Duplicates float64
	// Stalls is the chance a chunk to be late by up to a second, with all that
	// come after it then arriving at once.
	Stalls float64
}

// Split is how bytes are cut into chunks.
type Split uint8

// The ways of cutting.
const (
	WholeLines Split = iota // a chunk a line
	EachByte                // a chunk a byte
	Ragged                  // pieces of any size, ends of lines in their midst
	Blocks                  // what a USB converter gathers in 16 ms, 62 bytes at most
)

func (m Mischief) check() error {
	for _, p := range []float64{m.Noise, m.Missing, m.Garbage, m.Duplicates, m.Stalls} {
		if !(p >= 0 && p <= 1) {
			return fmt.Errorf("mischief on the wire with a chance of %v: write 0 to 1", p)
		}
	}
	return nil
}

// byteTime returns how long a byte takes, in microseconds.
func (w Wire) byteTime() float64 {
	if w.Baud <= 0 {
		return 0
	}
	return 10 * 1e6 / float64(w.Baud)
}

// Line is one line as it was sent, to say what a decoder should make of it.
type Line struct {
	At      measure.Stamp // when its last byte was in
	Reading int           // index into Session.Trace.Readings, or Session.Counts for the encoder's
	// Spoiled is true where bytes were changed, lost or stuck to it: a decoder
	// may refuse it.
	Spoiled bool
	Again   bool // the second of a duplicated pair
}

// sender puts lines on a wire.
type sender struct {
	wire  Wire
	end   []byte
	rng   *rand.Rand
	busy  float64 // microseconds
	buf   []byte
	lines []Line
	out   []Chunk
}

// newSender returns a sender with room for so many lines, so that a session's
// bytes lie together.
func newSender(wire Wire, end string, rng *rand.Rand, lines int) *sender {
	return &sender{
		wire: wire, end: []byte(end), rng: rng,
		buf: make([]byte, 0, lines*14), lines: make([]Line, 0, lines), out: make([]Chunk, 0, lines),
	}
}

// free reports whether the wire is idle at a time in seconds.
func (s *sender) free(t float64) bool { return s.busy <= t*1e6 }

// send puts a line on the wire at a time in seconds.
func (s *sender) send(t float64, line []byte, reading int) {
	m := s.wire.Mischief
	s.busy = max(s.busy, t*1e6)
	again := false
	for {
		l := Line{Reading: reading, Again: again}
		from := len(s.buf)
		if m.Garbage > 0 && s.rng.Float64() < m.Garbage {
			l.Spoiled = s.garbage()
		}
		if m.Noise == 0 && m.Missing == 0 {
			s.buf = append(s.buf, line...)
		} else if s.noisy(line) {
			l.Spoiled = true
		}
		s.busy += float64(len(s.buf)-from) * s.wire.byteTime()
		l.At = measure.Stamp(s.busy + 0.5)
		s.lines = append(s.lines, l)
		s.out = append(s.out, Chunk{l.At, s.buf[from:len(s.buf):len(s.buf)]})
		if again || m.Duplicates == 0 || s.rng.Float64() >= m.Duplicates {
			return
		}
		again = true
	}
}

// noisy adds a line with some bytes changed or lost, and reports whether any
// were.
func (s *sender) noisy(line []byte) (spoiled bool) {
	m := s.wire.Mischief
	for _, b := range line {
		switch {
		case m.Noise > 0 && s.rng.Float64() < m.Noise:
			b, spoiled = 0x80|byte(s.rng.IntN(128)), true
		case m.Missing > 0 && s.rng.Float64() < m.Missing:
			spoiled = true
			continue
		}
		s.buf = append(s.buf, b)
	}
	return spoiled
}

// garbage adds rubbish and reports whether the next line hangs on to it.
func (s *sender) garbage() bool {
	for range 1 + s.rng.IntN(20) {
		b := byte(s.rng.IntN(256))
		for b >= '0' && b <= '9' || bytes.IndexByte(s.end, b) >= 0 {
			b = byte(s.rng.IntN(256))
		}
		s.buf = append(s.buf, b)
	}
	if s.rng.Float64() < 0.5 {
		s.buf = append(s.buf, s.end...)
		return false
	}
	return true
}

// chunks returns what arrives.
func (s *sender) chunks() []Chunk {
	return s.wire.Mischief.cut(s.out, s.wire.byteTime(), s.rng)
}

// Spoil returns the chunks as they would arrive after this mischief, whose
// lines end with end. The chunks given stay as they are; each counts as a line.
func (m Mischief) Spoil(chunks []Chunk, end string) []Chunk {
	s := newSender(Wire{Mischief: m}, end, rand.New(rand.NewPCG(m.Seed, streamWire)), len(chunks))
	for i, c := range chunks {
		s.send(c.At.Seconds(), c.Bytes, i)
	}
	return s.chunks()
}

// cut cuts chunks elsewhere and makes some late. A byte is in so many microseconds
// after the one before it, counted back from the end of its chunk.
func (m Mischief) cut(chunks []Chunk, byteTime float64, rng *rand.Rand) []Chunk {
	out := chunks
	if m.Split != WholeLines {
		out = make([]Chunk, 0, len(chunks))
		c := cutter{split: m.Split, rng: rng, out: out}
		c.size = c.draw()
		for _, chunk := range chunks {
			for i, b := range chunk.Bytes {
				c.add(chunk.At-measure.Stamp(float64(len(chunk.Bytes)-1-i)*byteTime), b)
			}
		}
		c.flush(c.last)
		out = c.out
	}
	if m.Stalls == 0 {
		return out
	}
	late := append([]Chunk(nil), out...)
	until := measure.Stamp(0)
	for i := range late {
		if late[i].At >= until && rng.Float64() < m.Stalls {
			until = late[i].At + measure.Stamp(rng.IntN(1_000_000))
		}
		late[i].At = max(late[i].At, until)
	}
	return late
}

// latency is the usual latency timer of a USB converter, and blockSize what it
// puts into a packet at most.
const (
	latency   = 16 * measure.Millisecond
	blockSize = 62
)

// cutter gathers bytes into chunks.
type cutter struct {
	split Split
	rng   *rand.Rand
	out   []Chunk
	piece []byte
	size  int           // of the piece in hand
	last  measure.Stamp // when its last byte came
	due   measure.Stamp // when a block is sent at the latest
}

func (c *cutter) draw() int {
	switch c.split {
	case EachByte:
		return 1
	case Blocks:
		return blockSize
	}
	return 1 + c.rng.IntN(40)
}

func (c *cutter) add(at measure.Stamp, b byte) {
	if c.split == Blocks && len(c.piece) > 0 && at > c.due {
		c.flush(c.due)
	}
	if len(c.piece) == 0 {
		c.due = (at/latency + 1) * latency
	}
	c.piece, c.last = append(c.piece, b), at
	if len(c.piece) >= c.size {
		c.flush(at)
	}
}

func (c *cutter) flush(at measure.Stamp) {
	if len(c.piece) == 0 {
		return
	}
	if c.split == Blocks {
		at = max(at, min(c.due, at+latency))
		if len(c.piece) >= blockSize {
			at = c.last
		}
	}
	if n := len(c.out); n > 0 {
		at = max(at, c.out[n-1].At)
	}
	c.out = append(c.out, Chunk{at, c.piece})
	c.piece, c.size = nil, c.draw()
}
