package prove

import (
	"math"
	"slices"

	"lobescribe/device/measure"
)

// pace learns how often readings come and how often they are new ones.
type pace struct {
	readings int
	spent    measure.Stamp
	last     measure.Stamp
	any      bool

	fresh   sample // the last reading that differed
	moved   bool   // by much
	between []measure.Stamp
	next    int
}

const (
	// longPause between two readings is no part of their rate.
	longPause = measure.Second
	// plainMove is how many steps a figure moves between two refreshes where the
	// spindle plainly moves, so that it would have changed earlier if it could.
	plainMove = 4
	// keptIntervals is how many intervals between changes are kept: the newest.
	keptIntervals = 512
)

func (p *pace) add(s sample, step float64) {
	if p.any {
		if d := s.at - p.last; d > 0 && d < longPause {
			p.readings++
			p.spent += d
		}
	}
	if !p.any || s.lift != p.fresh.lift {
		moved := p.any && step > 0 && math.Abs(s.lift-p.fresh.lift) >= plainMove*step
		if d := s.at - p.fresh.at; moved && p.moved && d > 0 && d < longPause {
			if len(p.between) < keptIntervals {
				p.between = append(p.between, d)
			} else {
				p.between[p.next] = d
				p.next = (p.next + 1) % keptIntervals
			}
		}
		p.fresh, p.moved = s, moved
	}
	p.last, p.any = s.at, true
}

// gap forgets the reading before a loss of the link.
func (p *pace) gap() { p.any, p.moved = false, false }

// rate returns readings a second, 0 while not known.
func (p *pace) rate() float64 {
	if p.readings == 0 || p.spent == 0 {
		return 0
	}
	return float64(p.readings) / p.spent.Seconds()
}

// period is the time of one reading.
func (p *pace) period() measure.Stamp {
	if p.readings == 0 {
		return 0
	}
	return p.spent / measure.Stamp(p.readings)
}

// refresh returns the mean time between changes while the spindle moved, without
// those far from the middle one, which a frozen figure or a misread digit makes.
// ok is false where too few were seen.
func (p *pace) refresh() (mean measure.Stamp, ok bool) {
	const fewest = 6
	if len(p.between) < fewest {
		return p.period(), false
	}
	all := slices.Clone(p.between)
	slices.Sort(all)
	middle := all[len(all)/2]
	sum, n := measure.Stamp(0), measure.Stamp(0)
	for _, d := range all {
		if 2*d >= middle && 5*d <= 8*middle {
			sum += d
			n++
		}
	}
	return max(sum/n, p.period()), true
}

// stale says whether a figure stands for longer than a reading takes, so that
// not each reading is a new one.
func (p *pace) stale() bool {
	r, ok := p.refresh()
	return ok && 2*r > 3*p.period()
}
