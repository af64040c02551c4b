// Package silence tells whether readings are missing where none came, or the instrument
// had nothing to say: some send a line only when a figure changes, and perhaps one now
// and then as a sign of life.
package silence

import (
	"math/bits"

	"lobescribe/device/measure"
)

// Habit is how an instrument speaks, learned from what it sends. The zero value has
// heard nothing.
type Habit struct {
	heard, again int64           // lifts with a spacing; of these, said the same again at once
	other, same  [octaves]int64  // that said something new, or nothing, by the spacing before them
	soon         measure.Stamp   // no more than this apart are readings while something moves
	life         measure.Stamp   // a sign of life comes within this; 0: none does
	onChange     bool            // it speaks only when something changes
	most         measure.Length  // by which the lift has changed at once
	farthest     measure.Angle   // that the crank has turned at once
	turning      int64           // readings that told of the crank alone
	alone        measure.Reading // the last of these
	every        float64         // microseconds between them, while it turns, of so many
	n            int
	count        measure.Angle // the least by which they differ

	last             measure.Reading // with what was known before
	liftAt, turnedAt measure.Stamp   // when that was said
	spell            Spell           // since the last lift
}

// Spell is a time without a lift: by how much that changed, how long nothing at all came
// in it, and how far the crank went on in silence.
type Spell struct {
	By      measure.Length
	Longest measure.Stamp
	Turned  measure.Angle
}

// over adds what lies between two readings.
func (s *Spell) over(dt measure.Stamp, turned measure.Angle) {
	s.Longest = max(s.Longest, dt)
	if dt >= silent {
		s.Turned = max(s.Turned, turned)
	}
}

const (
	// Spacings are counted by octaves of about a millisecond, up to minutes.
	octaves, octave = 18, 10
	// So many readings tell how an instrument speaks; while they have not, readings no
	// farther apart than this come at once.
	enough   = 32
	often    = 1024 // after so many, every so many are enough to learn of
	atOnce   = 300 * measure.Millisecond
	oneInTen = 10
	// Of so many readings while something moves fewer than one repeats the last, though
	// a noisy instrument with a fine step may do so in no more than a few of 100.
	seldom = 150
	// By less the lift may have changed before it showed, at the start of a motion.
	someway = 100 * measure.Micrometre
	// Spacings are averaged over so many.
	lately  = 64
	longest = 3 * measure.Second // between two while it turns
	// Nothing may come for so long while a hand does something.
	silent = measure.Second
	// Signs of life: so many, of which nearly all come within two octaves; without one
	// for so many times as long the link is lost.
	fewSigns, lifeTimes = 5, 3
	// Of so many readings one tells of the crank alone where the crank makes it speak.
	turningOne = 32
)

// See takes a reading. Stamps that go back, and lifts of one time, tell no spacing.
func (h *Habit) See(r *measure.Reading) {
	by, turned := h.changed(r)
	if r.Has&measure.HasLift == 0 && h.last.Has != 0 {
		h.spell.over(r.At-h.last.At, turned)
	}
	if r.Has&measure.HasAngle != 0 {
		switch apart := r.At - h.turnedAt; {
		case h.last.Has&measure.HasAngle == 0:
		case by == 0 && turned != 0 && apart < silent:
			h.turning++
			fallthrough
		case apart <= h.quick():
			h.farthest = max(h.farthest, turned)
		}
		if r.Has&measure.HasLift == 0 {
			h.crankAlone(r)
		}
		h.last.Angle, h.turnedAt = r.Angle, r.At
	}
	if r.Has&measure.HasLift != 0 {
		if h.last.Has&measure.HasLift != 0 && r.At > h.liftAt {
			h.spaced(r.At-h.liftAt, by, turned)
		}
		h.last.Lift, h.liftAt = r.Lift, r.At
		if h.spell.Longest != 0 {
			h.spell = Spell{}
		}
	}
	h.last.At, h.last.Has = max(r.At, h.last.At), h.last.Has|r.Has
}

// crankAlone takes a reading that tells of the crank alone.
func (h *Habit) crankAlone(r *measure.Reading) {
	by := max(r.Angle-h.alone.Angle, h.alone.Angle-r.Angle)
	if dt := r.At - h.alone.At; h.alone.Has != 0 && by > 0 && dt < longest {
		if h.count == 0 || by < h.count {
			h.count = by
		}
		h.n = min(h.n+1, lately)
		h.every += (float64(dt) - h.every) / float64(h.n)
	}
	h.alone = *r
}

// spaced counts a lift that came so long after the last.
func (h *Habit) spaced(dt measure.Stamp, by measure.Length, turned measure.Angle) {
	i := min(bits.Len64(uint64(dt)>>octave), octaves-1)
	early := dt <= h.quick()
	switch {
	case by != 0 || turned != 0:
		h.other[i]++
	default:
		h.same[i]++
		if early {
			h.again++
		}
	}
	if early {
		h.most = max(h.most, by)
	}
	if h.heard++; h.heard%enough == 0 && (h.heard < often || h.heard%often == 0) {
		h.learn()
	}
}

// Spell returns what lies between the last lift and r, which comes next.
func (h *Habit) Spell(r *measure.Reading) Spell {
	s := h.spell
	var turned measure.Angle
	s.By, turned = h.changed(r)
	s.over(r.At-h.last.At, turned)
	return s
}

// Explains says whether the instrument is one that had nothing to say in such a time: the
// lift changed by no more than it does at once, no sign of life is overdue, and the crank
// did not go on where that makes it speak.
func (h *Habit) Explains(s Spell) bool {
	h.learn()
	return h.onChange && s.By <= h.most && (h.life == 0 || s.Longest <= lifeTimes*h.life) &&
		(s.Longest <= h.life || s.Turned <= max(h.farthest, measure.Degree) || h.turning*turningOne <= h.heard)
}

// Crank returns how far apart readings of the crank alone are, microseconds, while it turns,
// and the least by which they differ; 0 where none comes.
func (h *Habit) Crank() (every float64, count measure.Angle) { return h.every, h.count }

// OnChange says whether it is known to speak only when something changes.
func (h *Habit) OnChange() bool { return h.onChange }

// Misses says whether readings are missing in such a time as far as can be told so far,
// with more to come: the instrument is one that speaks all the time, or while that is not
// known something moved. Of one that speaks on change the end will tell.
func (h *Habit) Misses(s Spell) bool {
	if h.known() {
		return !h.onChange
	}
	return moved(s)
}

// MayExplain is Explains, and while nobody knows yet how the instrument speaks, whether
// nothing moved.
func (h *Habit) MayExplain(s Spell) bool { return h.Explains(s) || !h.known() && !moved(s) }

func (h *Habit) known() bool { return h.heard >= enough || h.again >= fewSigns }

func moved(s Spell) bool { return s.By > someway || s.Turned > measure.Degree }

// changed returns by how much a reading changes what was said before.
func (h *Habit) changed(r *measure.Reading) (by measure.Length, turned measure.Angle) {
	if r.Has&h.last.Has&measure.HasLift != 0 {
		by = (r.Lift - h.last.Lift).Abs()
	}
	if r.Has&h.last.Has&measure.HasAngle != 0 {
		turned = max(r.Angle-h.last.Angle, h.last.Angle-r.Angle)
		if turned > measure.Turn/2 && turned <= measure.Cycle { // it may start again there
			turned = min(max(turned-measure.Turn, measure.Turn-turned), max(turned-measure.Cycle, measure.Cycle-turned))
		}
	}
	return by, turned
}

func (h *Habit) quick() measure.Stamp {
	if h.soon == 0 {
		return atOnce
	}
	return h.soon
}

// learn makes of the spacings how the instrument speaks.
func (h *Habit) learn() {
	if h.heard < enough {
		return
	}
	// While something moves one in ten comes within this.
	total, quick, k := int64(0), int64(0), 0
	for _, n := range h.other {
		total += n
	}
	for quick = h.other[0]; k < octaves-1 && quick*oneInTen < total; quick += h.other[k] {
		k++
	}
	h.soon = 1 << (k + octave)
	repeats, late := int64(0), int64(0)
	for i, n := range h.same {
		if i <= k {
			repeats += n
		} else {
			late += n
		}
	}
	h.onChange = (repeats-1)*seldom < quick+repeats
	h.life = 0
	for i := k + 1; i < octaves-1 && late >= fewSigns; i++ {
		if n := h.same[i] + h.same[i+1]; n*10 >= late*9 {
			if h.same[i+1] == 0 {
				i--
			}
			h.life = 1 << (i + 1 + octave)
			break
		}
	}
}
