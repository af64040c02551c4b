package shims

import (
	"math"
	"slices"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// The marks on the stem tell where the rocker is square without its bend. With
// the pivot too low by e the tip, on an arm a, stands e above the pivot's level
// at half lift L/2, and its contact lies at sqrt(a^2 - z^2) from the pivot for a
// height z of the tip over the pivot; z runs from e + L/2 (closed) to e - L/2
// (open). So
//
//	open against closed = sqrt(a^2 - (e + L/2)^2) - sqrt(a^2 - (e - L/2)^2)
//	width               = farthest less nearest of all contacts on the way
//
// the first above zero when the open contact lies nearer the pivot. Plane geometry, derived here. A mark is wider than the way of the contact by
// the width of the contact itself in the ink, alike in every trial: taken as
// 0.2 mm give or take 0.15 mm (one standard deviation; common practice, no
// source). It is not in "open against closed", which goes from the middle of one
// line to the middle of the other.
const (
	inkWide   = 0.2
	inkWideSD = 0.15
	wrongMark = 0.05 // odds that a mark is plain wrong: another opening's, smeared
	markReach = 10.0 // mm, over which a wrong one may lie
)

// mark is what a trial's stem showed; NaN for what was not measured.
type mark struct{ stack, width, shift float64 }

// marks are those of a question.
type marks struct {
	seen       []mark
	lift       float64
	arm, armSD float64
	noise      float64 // of a mark, one standard deviation
	cases      []markCase
}

// markCase is one arm and one width of the contact, with its odds.
type markCase struct{ arm, wide, odds float64 }

func (q Question) marks(a arms) marks {
	m := marks{lift: q.Lift.Millimetres(), arm: a.valve, armSD: a.valveU / 2, noise: orDefault(q.MarkU, defaultMarkU).Millimetres() / 2}
	for _, t := range q.Trials {
		s := mark{t.Stack.Total().Millimetres(), math.NaN(), math.NaN()}
		if t.Mark != nil {
			s.width = t.Mark.Millimetres()
		}
		if t.OpenVsClosed != nil {
			s.shift = t.OpenVsClosed.Millimetres()
		}
		if t.Mark != nil || t.OpenVsClosed != nil {
			m.seen = append(m.seen, s)
		}
	}
	// Seven places over three standard deviations either way stand for a normal
	// distribution to a percent of its variance.
	inks := []float64{0}
	if slices.ContainsFunc(m.seen, func(s mark) bool { return !math.IsNaN(s.width) }) {
		inks = []float64{-3, -2, -1, 0, 1, 2, 3}
	}
	for x := -3.0; x <= 3; x++ {
		for _, y := range inks {
			m.cases = append(m.cases, markCase{m.arm + x*m.armSD, max(0, inkWide+y*inkWideSD), math.Exp(-(x*x + y*y) / 2)})
		}
	}
	return m
}

// contact is how far from the pivot the tip touches when it stands z off the
// pivot's level.
func contact(arm, z float64) float64 { return math.Sqrt(max(arm*arm-z*z, 0)) }

// show is what a stem shows when the pivot is too low by e.
func (m marks) show(e, arm float64) (width, shift float64) {
	closed, open := contact(arm, e+m.lift/2), contact(arm, e-m.lift/2)
	far := max(closed, open)
	if math.Abs(e) < m.lift/2 { // the arm passes its right angle on the way
		far = arm
	}
	return far - min(closed, open), closed - open
}

// logOdds is the logarithm of how well a wanted stack foretells the marks.
func (m marks) logOdds(wanted float64) float64 {
	sum := 0.0
	shown := make([]struct{ width, shift float64 }, len(m.seen))
	for i, c := range m.cases {
		p := c.odds
		for j, s := range m.seen {
			if i == 0 || c.arm != m.cases[i-1].arm {
				shown[j].width, shown[j].shift = m.show(wanted-s.stack, c.arm)
			}
			width, shift := shown[j].width, shown[j].shift
			if !math.IsNaN(s.width) {
				p *= m.likely(s.width - width - c.wide)
			}
			if !math.IsNaN(s.shift) {
				p *= m.likely(s.shift - shift)
			}
		}
		sum += p
	}
	return math.Log(sum + 1e-300)
}

// likely is the density of a mark's error: a normal one, or plain wrong.
func (m marks) likely(off float64) float64 {
	z := off / m.noise
	return (1-wrongMark)*math.Exp(-z*z/2)/(m.noise*math.Sqrt(2*math.Pi)) + wrongMark/markReach
}

// wanted joins the height differences, the offset that is in all of them (one
// standard deviation) and the marks; u is expanded.
func (f fit) wanted(offset float64, m marks) (mean, u float64) {
	if len(m.seen) == 0 {
		return f.expanded(guess.wanted, offset)
	}
	mean, sd := f.mean(guess.wanted)
	sd = math.Hypot(sd, offset)
	const steps = 500
	middle, reach := mean, 5*sd
	logs, at := make([]float64, steps+1), make([]float64, steps+1)
	most := math.Inf(-1)
	for i := range logs {
		at[i] = middle + reach*(2*float64(i)/steps-1)
		heights := 0.0
		for _, g := range f {
			if g.odds < 1e-9 {
				continue
			}
			w, v := g.wanted()
			v += offset * offset
			heights += g.odds * math.Exp(-(at[i]-w)*(at[i]-w)/(2*v)) / math.Sqrt(v)
		}
		logs[i] = math.Log(heights+1e-300) + m.logOdds(at[i])
		most = max(most, logs[i])
	}
	var weight, sum float64
	for i, l := range logs {
		logs[i] = math.Exp(l - most)
		weight += logs[i]
		sum += logs[i] * at[i]
	}
	mean = sum / weight
	// The mean with as much either side as holds what it should.
	low, high := 0.0, 2*reach
	for range 60 {
		u = (low + high) / 2
		inside := 0.0
		for i, p := range logs {
			if math.Abs(at[i]-mean) <= u {
				inside += p
			}
		}
		if inside < coverage*weight {
			low = u
		} else {
			high = u
		}
	}
	return mean, u + reach/steps // half the grid's own width
}

func (m marks) assume(basis *worksheet.Basis) {
	if len(m.seen) == 0 {
		return
	}
	basis.Assume("a mark on the stem is wider than the way of the contact by %v ± %v, the contact's own width in the ink", measure.FromMillimetres(inkWide), measure.FromMillimetres(2*inkWideSD))
	basis.Cite("marks on the stem: contact at sqrt(a^2 - z^2), plane geometry, derived here")
}
