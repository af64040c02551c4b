package lift

import "math"

// A hand that looks for half lift turns forth and back on a flank and rests where the
// valve is all but shut. Without an encoder such a rest looks like a heel that has moved,
// and one opening like two. What follows tells: a heel that something has moved does not
// go back to where it was. So an opening of a finished trace which comes home elsewhere
// waits for the next ones, and is one with them where they come home to the old heel.

// waiting is an opening that may be a part of one.
type waiting struct {
	m  measured
	b  bounds
	ok bool // it could be measured
}

// mostWaits is how many rests on a flank are looked back over.
const mostWaits = 8

// wait files an opening, or keeps it until the next one tells whether its heel was one.
func (g *Segmenter) wait(i int, until float64, w waiting) {
	k := &g.tracks[i]
	for n, first := range g.waits[i] {
		if math.Abs(w.b.home-first.b.heel) > k.lim.same {
			continue
		}
		b := bounds{first.b.section, first.b.out, w.b.landed, first.b.heel, w.b.home, true}
		if m, ok := g.measure(k, i, b, until); ok {
			w, g.waits[i] = waiting{m, b, true}, g.waits[i][:n]
		}
		break
	}
	g.waits[i] = append(g.waits[i], w)
	if !g.restedOnFlank(i, w) || len(g.waits[i]) > mostWaits {
		g.fileWaiting(i)
	}
	g.keep(i)
}

// restedOnFlank says whether an opening came home so far above the heel before it that
// the hand may have rested on its flank; an encoder tells.
func (g *Segmenter) restedOnFlank(i int, w waiting) bool {
	return w.b.home-w.b.heel > g.tracks[i].lim.leave && math.IsNaN(g.tracks[i].low.a0)
}

// fileWaiting files what waits. A heel that cannot have moved so far was none, and until
// one is borne out neither were those that follow.
func (g *Segmenter) fileWaiting(i int) {
	none := false
	for _, w := range g.waits[i] {
		if none = !w.b.real || none && g.restedOnFlank(i, w); !none {
			g.file(i, w.m, w.ok)
		}
	}
	g.waits[i] = nil
	g.keep(i)
}

// keep keeps the readings of what waits.
func (g *Segmenter) keep(i int) {
	k := &g.tracks[i]
	k.keep = math.Inf(1)
	if len(g.waits[i]) > 0 {
		k.keep = g.waits[i][0].b.section
	}
}
