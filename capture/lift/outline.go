package lift

import (
	"math"

	"lobescribe/capture/lift/lobe"
)

// outline goes through the stretches of a time that no opening holds; their lifts grow as
// the valve opens.
type outline struct {
	o       outside
	lim     limits
	home    bool    // it was seen at home before
	open    bool    // out is under way
	out     stretch // the excursion
	came    bool    // and seems to have come home
	level   stretch // the newest readings that lie at one level
	against int     // stretches that lie where the lobe cannot be
}

// begins returns the level at which a trace stood when it began, where that is a heel's:
// the crank was turned on it, or it stood there for long, or lower than on the heel that
// comes after, as no lobe does.
func (w outline) begins(parts []stretch) (level float64, heel bool) {
	for _, s := range parts {
		was := w.level
		w.stands(s)
		if w.level.from > parts[0].from {
			w.level = was
			break
		}
	}
	turned, long := w.level.most-w.level.least, w.level.to-w.level.from
	level = (w.level.lo + w.level.hi) / 2
	below := level < w.o.heel[1]-1.25*w.lim.leave && long > beganOnHeel
	return level, turned > stoodOff/2 || math.IsNaN(turned) && long > beganStill || below
}

// excursion takes the next stretch and returns the excursion that has ended for sure:
// the valve is home, rests, or goes out again.
func (w *outline) excursion(s stretch) (out stretch, ended bool) {
	over := s
	over.lo, over.hi = w.above(s)
	off := max(over.hi, -over.lo)
	away := off > fromHeel*w.o.lift
	if w.came && (off > 2*fromHeel*w.o.lift || off <= 1.5*w.lim.leave || !w.off(w.level) && w.level.to-max(w.level.from, w.out.to) > cameHome) {
		w.came, out, ended = false, w.out, true
	}
	switch {
	case !away:
		w.came = w.came || w.open
		w.open = false
		w.home = w.home || off <= w.lim.leave // a trace may begin on the foot of a lobe
	case !w.home:
	case w.open || w.came: // the hand turned back near the heel: it is the same one
		w.open, w.came, w.out = true, false, w.out.with(over)
	default:
		w.open, w.out = true, over
	}
	return out, ended
}

// above returns how far a stretch lies above the heel: above the nearer one, where it
// is not the same at both ends.
func (w *outline) above(s stretch) (lo, hi float64) {
	heel := w.o.heel[0]
	mid := (s.lo + s.hi) / 2
	if math.Abs(mid-w.o.heel[1]) < math.Abs(mid-heel) {
		heel = w.o.heel[1]
	}
	return s.lo - heel, s.hi - heel
}

// swings says whether the excursion under way came to its highest more than once, with
// a valley between, as none does that has one nose.
func (w *outline) swings(parts []stretch) bool {
	from := 0
	for from < len(parts) && parts[from].to < w.out.from {
		from++
	}
	parts = parts[max(from-1, 0):]
	noses := 0
	for _, t := range allExtremes(parts, swing*w.o.lift) {
		if _, hi := w.above(parts[t.at]); t.high && hi > openFully*w.out.hi {
			noses++
		}
	}
	return noses > 1
}

// stands follows the readings that lie at one level.
func (w *outline) stands(s stretch) {
	if w.level.from >= 0 && max(w.level.hi, s.hi)-min(w.level.lo, s.lo) <= 2*w.lim.near {
		w.level = w.level.with(s)
	} else {
		w.level = s
	}
}

// stood returns how far the crank was turned at a level that is none of the heel's.
func (w *outline) stood() float64 {
	if !w.off(w.level) {
		return 0
	}
	return w.level.most - w.level.least
}

// restsLong says whether the valve rests for longer than a hand does before it ends the
// trace: where nobody looks at a rocker the tip has left the valve, or it has come home
// and something has moved.
func (w *outline) restsLong() bool {
	long := cameHome
	if w.opens() {
		long = leftOpen
	}
	if lo, hi := w.above(w.level); !w.came && math.Abs((lo+hi)/2-w.o.lift/2) < aboutHalf*w.o.lift {
		long = restedOpen
	}
	return w.level.to-w.level.from > long
}

// opens says whether the valve rests about as high as it has risen, and no higher than a nose:
// it was left open, and nothing has fallen.
func (w *outline) opens() bool {
	lo, hi := w.above(w.level)
	return !w.came && lo > 0 && hi < w.o.lift+w.lim.leave && (!w.open || hi > w.out.hi-lobe.NoseDepth*w.o.lift)
}

// off says whether a level is none of the heel's.
func (w *outline) off(level stretch) bool {
	mid := (level.lo + level.hi) / 2
	return math.Abs(mid-w.o.heel[0]) > 1.25*w.lim.leave && math.Abs(mid-w.o.heel[1]) > 1.25*w.lim.leave
}

// outOfPhase counts stretches in a row that lie where the lobe of the openings cannot be
// at that angle.
func (w *outline) outOfPhase(s stretch) {
	if math.IsNaN(w.o.nose) || math.IsNaN(s.first) || math.IsNaN(s.last) {
		return
	}
	lo, hi := w.above(s)
	phase := math.Abs(math.Remainder((s.first+s.last)/2-w.o.nose, period))
	switch {
	case phase < onNose && hi < noseAtLeast*w.o.lift,
		phase > w.o.shut && lo > fromHeel*w.o.lift,
		hi < -fromHeel*w.o.lift:
		w.against++
	default:
		w.against = 0
	}
}
