package lines

import (
	"bytes"
	"slices"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// rivals follows the lines after a column was chosen while others could have
// been: if the chosen one stands still and another moves as a spindle does, that
// is the lift. It stops when the chosen one was seen to move.
type rivals struct {
	watching bool
	recent   []heard
	looked   measure.Stamp
}

// How much is kept to choose again by, and how often it is looked at.
const (
	rivalLines = 96
	rivalEvery = 700 * measure.Millisecond
)

func (r *rivals) begin(g finding) {
	*r = rivals{watching: !g.alone && !g.moved, recent: r.recent[:0]}
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
		f.rivals.watching = false // it moves as it should
		return
	}
	if reason := f.moves(r.recent); reason {
		return
	}
	before := f.found.says
	f.use(g)
	f.found.says += " (chosen again: what was taken before stood still while this moved)"
	f.found.BeginsQuiet()
	f.rivals.watching = false
	out.Note(measure.Note{At: now, Kind: measure.NoteReZero, Says: "another column of the lines is taken from here on: the one before stood still (" + before + ")"})
}

// lineEnd is the end of lines as the guesses know it.
func (f *Finder) lineEnd() byte {
	if f.format.End == 0 && f.format.Size == 0 {
		return '\n'
	}
	return f.format.End
}

// moves reports whether the chosen column moved in these lines.
func (f *Finder) moves(all []heard) bool {
	d, out := NewDecoder(f.format, f.o), &wire.Out{}
	d.o.Crank = anyCrank{}
	for i, l := range all {
		d.line(d.split.frame(l.text), measure.Stamp(i)*2*measure.Second, out)
	}
	if len(out.Readings) < 2 {
		return false
	}
	var low, high measure.Length
	var from, to measure.Angle
	for i, r := range out.Readings {
		if i == 0 {
			low, high, from, to = r.Lift, r.Lift, r.Angle, r.Angle
		}
		low, high, from, to = min(low, r.Lift), max(high, r.Lift), min(from, r.Angle), max(to, r.Angle)
	}
	return high-low > stepsOfStill*max(d.grain.step, d.grain.place) || to-from > measure.Degree && d.lift < 0
}
