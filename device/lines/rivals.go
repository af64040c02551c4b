package lines

import (
	"bytes"
	"fmt"
	"slices"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// rivals follows the lines after a column was chosen while others could have
// been: if the chosen one stands still or only trembles, and another moves as a
// spindle does, that is the lift. An angle that was taken by its place is none if it
// moves as no crank does. It stops when what was chosen was seen to move as it should.
type rivals struct {
	watching bool
	recent   []heard
	looked   measure.Stamp
}

// How much is kept to choose again by, and how often it is looked at.
const (
	rivalLines = 96
	rivalEvery = 700 * measure.Millisecond
	// trembles is how many times as far another column must have gone as the one
	// that was taken, for that to be at rest and only tremble.
	trembles = 10
)

func (r *rivals) begin(g finding) {
	*r = rivals{watching: !g.alone && !g.moved || g.placed, recent: r.recent[:0]}
}

// hear keeps a line. Of fast devices some are left out, of each kind alike.
func (r *rivals) hear(line []byte, at measure.Stamp) {
	if len(r.recent) == rivalLines {
		r.recent = slices.Delete(r.recent, 0, rivalLines/4)
	}
	r.recent = append(r.recent, heard{text: bytes.Clone(line), at: at})
}

// choose looks again which column is which, where that was not sure.
func (f *Finder) choose(now measure.Stamp, out *wire.Out) {
	r := &f.rivals
	if !r.watching || len(r.recent) < findLines || now-r.looked < rivalEvery {
		return
	}
	r.looked = now
	g := findIn(r.recent, f.lineEnd(), frame{f.format.Start, f.format.Size}, f.finding.endsIn, f.o)
	if !g.ok || !g.moved {
		return
	}
	if g.choice == f.finding.choice {
		if f.finding.placed && !hasAngle(g.format) {
			f.goOnBy(g, now, out, "what was taken for the angle moves as no crank does",
				"no angle is taken from the lines from here on: what was taken for it moves as no crank does")
		}
		// It moves as it should.
		f.rivals.watching = f.finding.placed && g.placed
		return
	}
	if span, moved := f.moves(f.format, r.recent); moved {
		if rival, _ := f.moves(g.format, r.recent); span == 0 || rival < trembles*span {
			return
		}
	}
	f.goOnBy(g, now, out, "what was taken before stood still while this moved",
		"another column of the lines is taken from here on: the one before stood still")
	f.rivals.watching = false
}

// goOnBy decodes by another finding from here on. What was given out before stays told.
func (f *Finder) goOnBy(g finding, now measure.Stamp, out *wire.Out, found, note string) {
	before := f.found.says
	told := fmt.Sprintf("at first another column was taken (%s): %s", before, found)
	if g.assumes != "" {
		told = g.assumes + "; " + told
	}
	g.assumes, g.note = told, told
	f.use(g)
	f.found.says += " (chosen again: " + found + ")"
	f.found.BeginsQuiet()
	out.Note(measure.Note{At: now, Kind: measure.NoteReZero, Says: note + " (" + before + ")"})
}

func hasAngle(f Format) bool {
	return slices.ContainsFunc(f.Columns, func(c Column) bool { return c.Role == Angle })
}

// moves returns how far the lift of a format went in these lines, and whether it or
// the angle moved.
func (f *Finder) moves(by Format, all []heard) (span measure.Length, moved bool) {
	d, out := NewDecoder(by, f.o), &wire.Out{}
	d.o.Crank = anyCrank{}
	for i, l := range all {
		d.line(d.split.frame(l.text), measure.Stamp(i)*2*measure.Second, out)
	}
	if len(out.Readings) < 2 {
		return 0, false
	}
	var low, high measure.Length
	var from, to measure.Angle
	for i, r := range out.Readings {
		if i == 0 {
			low, high, from, to = r.Lift, r.Lift, r.Angle, r.Angle
		}
		low, high, from, to = min(low, r.Lift), max(high, r.Lift), min(from, r.Angle), max(to, r.Angle)
	}
	return high - low, high-low > stepsOfStill*max(d.grain.step, d.grain.place) || to-from > measure.Degree && d.lift < 0
}

// lineEnd is the end of lines as the guesses know it.
func (f *Finder) lineEnd() byte {
	if f.format.End == 0 && f.format.Size == 0 {
		return '\n'
	}
	return f.format.End
}
