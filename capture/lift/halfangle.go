package lift

import (
	"math"
	"sort"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/drive"
	"lobescribe/capture/lift/lobe"
	"lobescribe/device/measure"
)

// The crank angle at half lift, and what its uncertainty is made of.

// crossed is what the uncertainty of a half-lift angle is made of.
type crossed struct {
	u     float64 // of the crossing itself, degrees
	steep float64 // of the lift there, nanometres a degree
	off   float64 // taken off for lift that comes late, degrees
	late  float64 // standard uncertainty of that
}

// passes samples the passage for the fit of the drive; way is which way the angle counts.
func (v *view) passes(lift, way float64) *drive.Passage {
	q := drive.Readings{T: v.room.floats(len(v.p)), A: v.room.floats(len(v.p)), Y: v.y, Lift: lift, Way: way, NoseAt: v.noseAt, NoseA: v.noseA}
	for i, p := range v.p {
		q.T[i], q.A[i] = p.t, p.a
	}
	return drive.Take(&q)
}

// crosses returns the crank angle at which a flank passes a lift, and its standard
// uncertainty: side is -1 for angles below the nose's and +1 for those above.
func (v *view) crosses(side, lift float64) (at, u float64) {
	a, y := v.room.floats(len(v.p))[:0], v.room.floats(len(v.p))[:0]
	for i, p := range v.p {
		if (p.a-v.noseA)*side > 0 {
			a, y = append(a, p.a), append(y, v.y[i]-lift)
		}
	}
	return lobe.Crossing(a, y, v.height)
}

// between returns the standard uncertainty of an angle that was taken at a moment between two
// of an encoder on rows of its own, degrees. Where the crank went faster or slower between
// them, an even change of pace bends the line by an eighth of what three in a row are off
// theirs; and of a slow encoder that line hides the count.
func (v *view) between(at float64, q *stream) float64 {
	every, count := q.habit.Crank()
	if every == 0 || !q.between {
		return 0
	}
	most, hidden := 0.0, 0.0
	if every > 1.5*q.typical {
		hidden = gum.Rectangular(count.Degrees())
	}
	crank := func(t float64) float64 {
		i := min(max(sort.Search(len(v.p), func(i int) bool { return v.p[i].t > t }), 1), len(v.p)-1)
		a, b := v.p[i-1], v.p[i]
		return a.a + (b.a-a.a)*min(max((t-a.t)/max(b.t-a.t, 1), 0), 1)
	}
	for k := -1; k <= 1; k++ {
		t := at + float64(k)*every/2
		most = max(most, math.Abs(crank(t-every)-2*crank(t)+crank(t+every))/8)
	}
	return gum.Root(most, hidden)
}

// mostAngleU is the widest that an angle's uncertainty is stated, degrees: nothing is known.
const mostAngleU = 90

// state states a half-lift angle for lift that comes later than the angle by lag
// seconds, known to u.
func (m *measured) state(side int, lag, u float64) {
	c, x := m.half(side), &m.crossing[side]
	if c.Angle == nil {
		return
	}
	off := 0.0
	if lag != 0 {
		off = m.passed.Late(side, c.At.Seconds(), lag)
	}
	*c.Angle -= measure.FromDegrees(m.way * (off - x.off))
	x.off, x.late = off, m.passed.LateU(side, c.At.Seconds(), lag, u)
	// Half lift is known to half of what max lift is.
	height := 0.0
	if x.steep > 0 {
		height = m.u() / 2 / x.steep
	}
	c.AngleU = angle(min(2*gum.Root(x.u, x.late, height), mostAngleU))
}
