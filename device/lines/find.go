package lines

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// Finder is a decoder for a device of unknown format. It listens for about a
// second of lines, makes up a [Format] for them, and hands all that it
// listened to, with the times it came at, to a [Decoder] of that format. From
// then on it is that Decoder, until its lines stop fitting: then it finds
// again, and decodes again what did not fit, so that no reading is lost.
type Finder struct {
	o       Options
	found   *Decoder
	format  Format       // that it follows
	kept    []byte       // the bytes of the chunks
	chunks  []wire.Chunk // their Bytes are filled in when they are handed on
	sizes   []int
	ends    int // line ends so far
	triedAt measure.Stamp
	tried   int // line ends when it was last tried in vain
	quiet   bool
	doubt   string
	misfit  misfit
}

// How long a Finder listens.
const (
	findLines     = 8                  // at least so many lines, for
	findFor       = measure.Second     // so long; or
	findManyLines = 64                 // so many lines, for
	findForMany   = findFor / 4        // so long; or
	findFewLines  = 2                  // so few,
	findLonger    = 3 * measure.Second // when a device is slow
	findKeep      = 8192               // bytes kept at most
	findEndless   = 1024               // bytes without an end of a line that are worth a word
)

// NewFinder returns a decoder that finds the format by itself.
func NewFinder(o Options) *Finder { return &Finder{o: o} }

// BeginsQuiet says that what comes next is the start of a line.
func (f *Finder) BeginsQuiet() {
	f.quiet = true
	if f.found != nil {
		f.found.BeginsQuiet()
	}
}

// Reset says that bytes were lost. A format that was found is kept.
func (f *Finder) Reset() {
	f.forget()
	f.quiet = false
	if f.found != nil {
		f.found.Reset()
	}
}

func (f *Finder) forget() {
	f.kept, f.chunks, f.sizes, f.ends, f.tried = f.kept[:0], f.chunks[:0], f.sizes[:0], 0, 0
	f.doubt = ""
	f.misfit.begin()
}

// Found says what was found; its Says tells what is in the way as long as
// nothing was.
func (f *Finder) Found() wire.Found {
	if f.found != nil {
		return f.misfit.told(f.found.Found(), f.doubt)
	}
	says := f.doubt
	switch {
	case says != "":
	case f.ends == 0 && len(f.kept) > findEndless:
		says = endless(f.kept)
	default:
		says = "listening for lines of numbers"
	}
	return wire.Found{Says: says}
}

// endless tells what is the matter with bytes that make no lines.
func endless(b []byte) string {
	switch {
	case bytes.Count(b, []byte{0}) == len(b):
		return "nothing but NUL bytes comes: is the wire in, and is the baud rate right?"
	case countEnds(b) >= findFewLines && len(b) > findFewLines*defaultMaxLine:
		return fmt.Sprintf("lines come that are longer than %d bytes, which no reading is: is this the right port?", defaultMaxLine)
	}
	return "bytes come, but no ends of lines: is the baud rate right?"
}

// Format returns the format that was found; ok is false before that.
func (f *Finder) Format() (format Format, ok bool) {
	if f.found == nil {
		return Format{}, false
	}
	return f.found.f, true
}

// Decode takes the bytes that came next.
func (f *Finder) Decode(c wire.Chunk, out *wire.Out) {
	if f.found != nil {
		f.follow(c, out)
		return
	}
	f.keep(c, out)
	if f.enough() {
		f.tried, f.triedAt = f.ends, c.At
		f.look(out)
	}
}

// look makes up a format for what is kept, and if there is another than before
// has a decoder of that take it.
func (f *Finder) look(out *wire.Out) bool {
	chunks := f.listened()
	format, says, doubt, ok := find(chunks, f.quiet, f.o)
	if f.doubt = doubt; !ok || f.found != nil && reflect.DeepEqual(format, f.format) {
		return false
	}
	f.format = format
	f.found = NewDecoder(format, f.o)
	f.found.says = says
	f.found.assumed = guessed(format, f.o)
	if f.quiet {
		f.found.BeginsQuiet()
	}
	f.forget()
	for _, c := range chunks {
		f.take(c, out)
	}
	return true
}

// listened returns the chunks that are kept.
func (f *Finder) listened() []wire.Chunk {
	chunks := make([]wire.Chunk, len(f.chunks))
	b := slices.Clone(f.kept)
	for i, c := range f.chunks {
		c.Bytes, b = b[:f.sizes[i]], b[f.sizes[i]:]
		chunks[i] = c
	}
	return chunks
}

// keep remembers a chunk. When there is too much, the older half goes: it was
// tried in vain.
func (f *Finder) keep(c wire.Chunk, out *wire.Out) {
	for len(f.kept)+len(c.Bytes) > findKeep && len(f.chunks) > 0 {
		drop := f.sizes[0]
		f.dropped(f.kept[:drop], out)
		f.kept = append(f.kept[:0], f.kept[drop:]...)
		f.chunks, f.sizes = f.chunks[1:], f.sizes[1:]
	}
	b := c.Bytes
	if len(b) > findKeep { // one huge read: its end is as good as any part
		f.dropped(b[:len(b)-findKeep], out)
		b = b[len(b)-findKeep:]
	}
	f.kept = append(f.kept, b...)
	f.ends += countEnds(b)
	c.Bytes = nil
	f.chunks, f.sizes = append(f.chunks, c), append(f.sizes, len(b))
}

// dropped counts what is given up, unless a decoder has counted it already.
func (f *Finder) dropped(b []byte, out *wire.Out) {
	f.quiet = false
	if f.found == nil {
		out.Refused.NotANumber += int64(countEnds(b))
	}
	f.misfit.refused = wire.Refused{} // some of it remains refused
}

// enough reports whether it is worth while to try (again).
func (f *Finder) enough() bool {
	span := f.chunks[len(f.chunks)-1].At - f.chunks[0].At
	fresh := f.ends - f.tried
	switch {
	case f.tried > 0:
		return fresh >= findManyLines || fresh >= findLines && f.chunks[len(f.chunks)-1].At-f.triedAt >= findFor
	case fresh >= findManyLines && (span >= findForMany || len(f.chunks) == 1 || len(f.kept) > findKeep/2), fresh >= findLines && span >= findFor, fresh >= findFewLines && span >= findLonger:
		return true
	}
	return false
}

// countEnds counts what may be ends of lines: CR, LF or both as one, and the
// bytes that end a line of a device that sends neither.
func countEnds(b []byte) int {
	n := 0
	for i, c := range b {
		switch c {
		case '\n':
			if i == 0 || b[i-1] != '\r' {
				n++
			}
		case '\r', 0x03, ';':
			n++
		}
	}
	return n
}
