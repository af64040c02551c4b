package find

import (
	"bytes"
	"slices"

	"lobescribe/device/lines/guess"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// rivals follows the lines after a column was chosen while others could have
// been: if the chosen one stands still and another moves as a spindle does, that
// is the lift. It stops when the chosen one was seen to move.
type rivals struct {
	watching bool
	recent   []guess.Heard
	looked   measure.Stamp
}

// How much is kept to choose again by, and how often it is looked at.
const (
	rivalLines = 96
	rivalEvery = 700 * measure.Millisecond
)

func (r *rivals) begin(g guess.Finding) {
	*r = rivals{watching: !g.Alone && !g.Moved, recent: r.recent[:0]}
}

// hear keeps a line. Of fast devices some are left out, of each kind alike.
func (r *rivals) hear(line []byte, at measure.Stamp) {
	if len(r.recent) == rivalLines {
		r.recent = slices.Delete(r.recent, 0, rivalLines/4)
	}
	r.recent = append(r.recent, guess.Heard{Text: bytes.Clone(line), At: at})
}

// choose looks again which column is which, where that was not sure.
func (f *Finder) choose(now measure.Stamp, out *wire.Out) {
	r := &f.rivals
	if !r.watching || len(r.recent) < findLines || now-r.looked < rivalEvery {
		return
	}
	r.looked = now
	g := guess.Again(r.recent, f.format, f.finding.EndsIn, f.o)
	if !g.OK || !g.Moved {
		return
	}
	if g.Choice == f.finding.Choice {
		f.rivals.watching = false // it moves as it should
		return
	}
	if guess.Moves(f.format, f.o, r.recent) {
		return
	}
	before := f.finding.Says
	g.Says += " (chosen again: what was taken before stood still while this moved)"
	f.use(g)
	f.found.BeginsQuiet()
	f.rivals.watching = false
	out.Note(measure.Note{At: now, Kind: measure.NoteReZero, Says: "another column of the lines is taken from here on: the one before stood still (" + before + ")"})
}
