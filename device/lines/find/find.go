package find

import (
	"reflect"
	"slices"
	"strings"

	"lobescribe/device/lines"
	"lobescribe/device/lines/guess"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// Finder is a decoder for a device of unknown format. It listens for about a
// second of lines, makes up a [Format] for them, and hands all that it
// listened to, with the times it came at, to a [Decoder] of that format. From
// then on it is that Decoder, until its lines stop fitting: then it finds
// again, and decodes again what did not fit, so that no reading is lost.
type Finder struct {
	o       lines.Options
	found   *lines.Decoder
	format  lines.Format // that it follows
	kept    []byte       // the bytes of the chunks
	chunks  []wire.Chunk // their Bytes are filled in when they are handed on
	sizes   []int
	ends    int // line ends so far
	triedAt measure.Stamp
	tried   int // line ends when it was last tried in vain
	quiet   bool
	doubt   string
	misfit  misfit
	finding guess.Finding // that format is of
	rivals  rivals
	view    guess.View // of the last lines that were looked at
}

// How long a Finder listens.
const (
	findLines     = guess.Enough       // at least so many lines, for
	findFor       = measure.Second     // so long; or
	findManyLines = 64                 // so many lines, for
	findForMany   = findFor / 4        // so long; or
	findFewLines  = guess.Few          // so few,
	findLonger    = 3 * measure.Second // when a device is slow
	findKeep      = 24576              // bytes kept at most
	findFrames    = 48                 // bytes without an end of a line that may be frames
	findEndless   = 1024               // bytes without an end of a line that are worth a word
)

// New returns a decoder that finds the format by itself.
func New(o lines.Options) *Finder { return &Finder{o: o} }

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
		found := f.misfit.told(f.found.Found(), f.doubt)
		found.Assumes = f.assumes(found)
		return found
	}
	says := f.doubt
	switch {
	case says != "":
	case f.ends == 0 && len(f.kept) > findEndless:
		says = guess.Endless(f.kept)
	default:
		says = "listening for lines of numbers"
	}
	return wire.Found{Says: says}
}

// assumes is what nothing told and was assumed. A unit that was printed since is
// assumed no more.
func (f *Finder) assumes(found wire.Found) string {
	if f.found.Uncounted() {
		return "the lines carry the counts of an encoder, which are left out: add counts=, the edges it makes a turn, as in counts=2400"
	}
	if f.finding.Guessed && !found.Assumed {
		return f.finding.Note
	}
	return f.finding.Assumes
}

// View returns the last lines, and what is taken for what in them.
func (f *Finder) View() guess.View { return f.view }

// Format returns the format that was found; ok is false before that.
func (f *Finder) Format() (format lines.Format, ok bool) {
	if f.found == nil {
		return lines.Format{}, false
	}
	return f.found.Format(), true
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
		if f.ends == 0 {
			f.tried = len(f.kept)
		}
		f.look(out)
	}
}

// look makes up a format for what is kept, and if there is another than before
// has a decoder of that take it.
func (f *Finder) look(out *wire.Out) bool {
	chunks := f.listened()
	g := guess.Find(chunks, f.quiet, f.o)
	if len(g.View.Lines) > 0 {
		f.view = g.View
	}
	if f.doubt = g.Doubt; !g.OK {
		return false
	}
	if f.found != nil {
		alsoKnows(&g.Format, f.format)
		if reflect.DeepEqual(g.Format, f.format) {
			return false
		}
	}
	f.use(g)
	if f.quiet {
		f.found.BeginsQuiet()
	}
	f.forget()
	for _, c := range chunks {
		f.take(c, out)
	}
	return true
}

// use goes on by what was found.
func (f *Finder) use(g guess.Finding) {
	f.finding, f.format = g, g.Format
	f.found = lines.NewDecoder(g.Format, f.o)
	f.found.Describe(g.Says, g.Guessed)
	f.rivals.begin(g)
}

// alsoKnows adds to a format what another of the same columns knew: the words
// that stand behind its numbers, and the lines to skip.
func alsoKnows(f *lines.Format, before lines.Format) {
	if len(f.Columns) != len(before.Columns) || f.Separator != before.Separator {
		return
	}
	for i, c := range f.Columns {
		if b := before.Columns[i]; b.Role != c.Role || !slices.Equal(b.Tags, c.Tags) {
			return
		}
	}
	for i := range f.Columns {
		c := &f.Columns[i]
		for _, s := range before.Columns[i].Status {
			if !slices.ContainsFunc(c.Status, func(have lines.Status) bool { return have.Text == s.Text }) {
				c.Status = append(c.Status, s)
			}
		}
	}
	for _, s := range before.Skip {
		if !slices.Contains(f.Skip, s) {
			f.Skip = append(f.Skip, s)
		}
	}
	for _, w := range before.Words {
		if !slices.ContainsFunc(f.Words, func(have lines.Word) bool { return strings.EqualFold(have.Text, w.Text) }) {
			f.Words = append(f.Words, w)
		}
	}
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
	f.ends += guess.CountEnds(b)
	c.Bytes = nil
	f.chunks, f.sizes = append(f.chunks, c), append(f.sizes, len(b))
}

// dropped counts what is given up, unless a decoder has counted it already.
func (f *Finder) dropped(b []byte, out *wire.Out) {
	f.quiet = false
	if f.found == nil {
		out.Refused.NotANumber += int64(guess.CountEnds(b))
	}
	f.misfit.refused = wire.Refused{} // some of it remains refused
}

// enough reports whether it is worth while to try (again).
func (f *Finder) enough() bool {
	span := f.chunks[len(f.chunks)-1].At - f.chunks[0].At
	if f.ends == 0 { // perhaps it ends no lines
		return len(f.kept) >= f.tried+findFrames && span >= findFor
	}
	fresh := f.ends - f.tried
	switch {
	case f.tried > 0:
		return fresh >= findManyLines && f.chunks[len(f.chunks)-1].At-f.triedAt >= findForMany || fresh >= findLines && f.chunks[len(f.chunks)-1].At-f.triedAt >= findFor
	case fresh >= findManyLines && (span >= findForMany || len(f.chunks) == 1 || len(f.kept) > findKeep/2), fresh >= findLines && span >= findFor, fresh >= findFewLines && span >= findLonger:
		return true
	}
	return false
}
