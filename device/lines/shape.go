package lines

import (
	"lobescribe/device/measure"
)

// shape knows how the numbers of a stream look: how many decimals for each
// unit, and which unit a bare number is in. A number that looks otherwise has
// lost a digit on the way, or the instrument was switched.
type shape struct {
	scale   measure.Length // of one count; 0 for decimals
	bare    measure.Unit   // of a number without a unit
	unit    measure.Unit   // of the latest reading
	told    bool           // a unit was printed
	started bool

	slots [7]slot // by printed unit; NoUnit for bare numbers
	// loose: the device drops trailing zeros, so decimals tell nothing.
	loose bool
	lone  int // odd ones that stood alone but right between their neighbours

	per      measure.Length // nanometres a count for the unit and decimals below; 0 if not whole
	perUnit  measure.Unit
	perPlace int
}

// slot is what is known of the numbers in one unit.
type slot struct{ decimals, seen int }

// settledSlot is how many alike numbers make a shape.
const settledSlot = 2

func newShape(c *Column) shape {
	return shape{scale: c.Scale, bare: c.Unit, unit: c.Unit, loose: c.Varies}
}

// odd reports whether n looks unlike the numbers before it.
func (s *shape) odd(n *number) bool {
	sl := &s.slots[n.unit]
	return !s.loose && sl.seen >= settledSlot && sl.decimals != n.decimals
}

// learn takes an accepted number into account.
func (s *shape) learn(n *number) {
	if n.unit != measure.NoUnit {
		s.told = true
	}
	sl := &s.slots[n.unit]
	switch {
	case sl.seen >= settledSlot: // only relearn changes it now
	case sl.decimals != n.decimals || sl.seen == 0:
		*sl = slot{decimals: n.decimals, seen: 1}
	default:
		sl.seen++
	}
}

// unitOf returns the unit that n is in.
func (s *shape) unitOf(n *number) measure.Unit {
	if n.unit != measure.NoUnit {
		return n.unit
	}
	return s.bare
}

// length returns the length of n in unit u; ok is false if it is out of range.
func (s *shape) length(n *number, u measure.Unit) (l measure.Length, ok bool) {
	if s.scale > 0 && n.unit == measure.NoUnit {
		l, err := measure.FromDecimal(n.mantissa, n.decimals, s.scale)
		return l, err == nil
	}
	if u != s.perUnit || n.decimals != s.perPlace {
		s.perUnit, s.perPlace = u, n.decimals
		s.per = wholeStep(u, n.decimals)
	}
	if s.per > 0 && n.mantissa < 1e9 && n.mantissa > -1e9 {
		return measure.Length(n.mantissa) * s.per, true
	}
	l, err := measure.FromDecimal(n.mantissa, n.decimals, u.Length())
	return l, err == nil
}

// wholeStep returns the length of one in the last decimal, or 0 if that is
// not a whole number of nanometres.
func wholeStep(u measure.Unit, decimals int) measure.Length {
	l := u.Length()
	for range decimals {
		if l%10 != 0 {
			return 0
		}
		l /= 10
	}
	return l
}

// relearn settles what two odd numbers in a row mean, a then b, after a
// reading of last. They are no noise: the device drops trailing zeros, or was
// set to another resolution, or was switched between inch and metric without
// printing so. In the last case the bare unit changes.
func (s *shape) relearn(a, b *number, last measure.Length, hasLast bool) {
	if a.decimals != b.decimals || a.unit != b.unit {
		s.loose = true
		return
	}
	before := s.slots[a.unit].decimals
	s.slots[a.unit] = slot{decimals: a.decimals, seen: settledSlot}
	if a.unit != measure.NoUnit || s.scale > 0 || !hasLast {
		return
	}
	// An inch read-out needs more decimals than a metric one for the same
	// step, so the direction of the change tells; and a switch leaves the
	// spindle where it was, which a change of resolution in the old unit
	// would not seem to.
	var other measure.Unit
	switch {
	case s.bare == measure.InMillimetres && a.decimals > before:
		other = measure.InInches
	case s.bare == measure.InInches && a.decimals < before:
		other = measure.InMillimetres
	default:
		return
	}
	same, ok1 := s.length(a, s.bare)
	flipped, ok2 := s.length(a, other)
	if ok1 && ok2 && (flipped-last).Abs() <= (same-last).Abs() {
		s.bare = other
	}
}

// alone counts an odd number that stood by itself but right between its
// neighbours. A few of them and the device is one that drops trailing zeros.
func (s *shape) alone() {
	if s.lone++; s.lone >= 3 {
		s.loose = true
	}
}

// grain finds the least step of the indicator. A display of 0.0005 in shows
// four decimals and moves by five in the last; so the last decimal alone does
// not tell.
type grain struct {
	step    measure.Length // the result
	place   measure.Length // one in the last decimal
	common  measure.Length // greatest common divisor of the changes
	changes int
	last    measure.Length
	hasLast bool
	settled bool
}

// grainChanges is how many changes must share a divisor before it is
// believed. That twenty random changes all divide by two has odds of one in a
// million.
const grainChanges = 20

func (g *grain) add(l, place measure.Length) {
	if place != g.place {
		*g = grain{place: place, step: place}
	}
	if g.hasLast && l != g.last && !g.settled {
		// After many changes, one in sixteen is looked at: a division costs
		// as much as reading the whole number.
		if g.changes++; g.changes < 256 || g.changes%16 == 0 {
			g.common = measure.CommonDivisor((l - g.last).Abs(), g.common)
		}
		if g.changes >= grainChanges {
			g.step = g.common
		}
		g.settled = g.common <= g.place // it can get no smaller
		if g.settled {
			g.step = g.place
		}
	}
	g.last, g.hasLast = l, true
}
