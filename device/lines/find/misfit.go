package find

import (
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// misfit follows the lines that do not fit what was found, since the last that
// did.
type misfit struct {
	lines   int           // in a row
	since   measure.Stamp // when the first of them came
	refused wire.Refused  // what was counted for them
	looking bool          // there are so many that it looks for another format
	times   int           // how often it found another
	tried   int           // lines when it was last looked for in vain
	triedAt measure.Stamp
	fitted  int // where in the running chunk the last line that fitted ended; -1 if none did
}

// How many lines in a row must not fit, or for how long a few of them must not,
// before a Finder finds again.
const (
	misfitLines = 10
	misfitFew   = 4
	misfitFor   = measure.Second / 2
)

// begin starts over; how often another format was found stays known.
func (m *misfit) begin() { *m = misfit{times: m.times, fitted: -1} }

// misfits takes note of lines that do not fit.
func (m *misfit) misfits(at measure.Stamp, lines int, refused wire.Refused) {
	if m.lines == 0 {
		m.since = at
	}
	m.lines += lines
	m.refused = m.refused.Plus(refused)
}

// enough reports whether it is time to find again. endless says that no end of
// line comes any more.
func (m *misfit) enough(now measure.Stamp, endless bool) bool {
	return m.lines >= misfitLines || (m.lines >= misfitFew || endless) && now-m.since >= misfitFor
}

// more reports whether since the last look in vain something has come that may
// tell.
func (m *misfit) more(now measure.Stamp, endless bool) bool {
	fresh := m.lines - m.tried
	return m.triedAt == 0 || fresh >= findManyLines || (fresh >= misfitFew || endless) && now-m.triedAt >= misfitFor
}

// told puts into words what does not fit.
func (m *misfit) told(f wire.Found, doubt string) wire.Found {
	switch {
	case m.looking:
		f.Settled = false
		f.Says = "lines come that do not fit what was found before; finding again"
		if doubt != "" {
			f.Says += ": " + doubt
		}
	case m.times > 0:
		f.Says += " (found again, since the lines had changed)"
	}
	return f
}

// follow decodes a chunk by the format that was found, and finds again if that
// does not fit any more.
func (f *Finder) follow(c wire.Chunk, out *wire.Out) {
	f.take(c, out)
	f.choose(c.At, out)
	m := &f.misfit
	endless := f.found.Endless()
	m.looking = m.enough(c.At, endless)
	if !m.looking || !m.more(c.At, endless) {
		return
	}
	m.tried, m.triedAt = m.lines, c.At
	if refused, times := m.refused, m.times; f.look(out) {
		f.misfit.times = times + 1
		out.Refused = out.Refused.Minus(refused) // they are readings, or have been refused once more
	}
}

// take has the decoder take a chunk, and keeps what has not fitted so far.
func (f *Finder) take(c wire.Chunk, out *wire.Out) {
	m := &f.misfit
	m.fitted = -1
	before := out.Refused.TooLong
	f.found.Each(c, out, f.line)
	if n := out.Refused.TooLong - before; n > 0 {
		m.misfits(c.At, int(n), wire.Refused{TooLong: n})
	}
	if m.fitted >= 0 {
		c.Bytes = c.Bytes[m.fitted:]
	}
	if len(c.Bytes) > 0 {
		f.keep(c, out)
	}
}

// line has one line decoded, and takes note of whether it fitted. One that is
// held has not yet.
func (f *Finder) line(line []byte, at measure.Stamp, out *wire.Out) {
	before, said := out.Refused, len(out.Readings)+len(out.Conditions)+len(out.Notes)
	if f.rivals.watching {
		f.rivals.hear(line, at)
	}
	if f.found.Line(line, at, out) {
		return // neither fits nor does not
	}
	if len(out.Readings)+len(out.Conditions)+len(out.Notes) == said {
		f.misfit.misfits(at, 1, out.Refused.Minus(before))
		return
	}
	f.forget()
	f.quiet = true
	f.misfit.fitted = f.found.Ended()
}
