package lift

import (
	"math"

	"lobescribe/capture/internal/gum"
	"lobescribe/device/measure"
)

// An arm that bends under the spindle's force, and creeps back, shows the heel too low when
// the valve has shut, and the nose as well. What it is bent by follows the lift as late as a
// filter of the first order does: the heel tells how late, and by which share of the lift.

// creepLates are how late what is bent is taken to follow, seconds.
var creepLates = [...]float64{0.5, 1, 2, 4, 8}

const (
	// The heel must be lower by so many counts, and standard deviations of a mean.
	creepCounts, creepNoise = 0.8, 3.0
	// Over so much of the way back it must leave no more than such a share of the squares.
	creepLong, creepLeaves = 4.0, 0.5
	// It is looked for where the heel's first readings are low, over so many seconds.
	creepFirst = 0.8
	// More of the lift no arm bends by; what it takes off is known to a fifth.
	mostCreep, creepU = 0.05, 0.6
)

// creeps returns what the nose is low by for an arm that creeps back on the heel behind it;
// 0 for none.
func (e surroundings) creeps(v *view, after []point, heel level, scatter float64) float64 {
	shut := v.p[len(v.p)-1].t
	n, low := 0.0, 0.0
	for _, p := range after {
		if p.t > shut+creepFirst*s {
			break
		}
		if p.y <= heel.y { // else it is still on the ramp
			n, low = n+p.w, low+p.w*(heel.y-p.y)
		}
	}
	if n < 3 || low/n < creepCounts*e.step/2+creepNoise*scatter/math.Sqrt(n) {
		return 0
	}
	best, by := creepLeaves, 0.0
	for _, late := range creepLates {
		low, left := creptBack(after, heel.y, shut, late*s)
		if low < creepCounts*e.step || left >= best {
			continue
		}
		best = left
		nose, end := v.bends(late * s)
		by = min(low*nose/end, mostCreep*v.height)
	}
	return by
}

// creptBack fits a way back to the heel that begins at a moment and is so late: by how much
// the heel is low at first, and which share of the squares that leaves.
func creptBack(after []point, heel, shut, late float64) (low, left float64) {
	var n, sx, sy, sxx, sxy, syy float64
	for _, p := range after {
		if p.t > shut+creepLong*late {
			break
		}
		x, y, w := math.Exp((shut-p.t)/late), heel-p.y, p.w
		n, sx, sy, sxx, sxy, syy = n+w, sx+w*x, sy+w*y, sxx+w*x*x, sxy+w*x*y, syy+w*y*y
	}
	xx, xy, yy := sxx-sx*sx/n, sxy-sx*sy/n, syy-sy*sy/n
	if !(xx > 0) || !(yy > 0) {
		return 0, 1
	}
	return xy / xx, 1 - xy*xy/xx/yy
}

// bends returns by which share of the lift an arm is bent on the nose and when the valve has
// shut, where it follows so late, in microseconds.
func (v *view) bends(late float64) (nose, end float64) {
	bent := 0.0
	for i := 1; i < len(v.t); i++ {
		bent += ((v.y[i]+v.y[i-1])/2 - bent) * (1 - math.Exp((v.t[i-1]-v.t[i])/late))
		if i == v.top {
			nose = bent
		}
	}
	return nose, max(bent, v.height*1e-3)
}

// crept gives the openings what an arm that creeps back took off their noses, where most
// show it.
func (g *Segmenter) crept(dst []measured) {
	n, most := 0, 0.0
	for _, m := range dst {
		if m.crept > 0 {
			n, most = n+1, max(most, m.crept)
		}
	}
	if 2*n < len(dst) || n == 0 {
		return
	}
	for i := range dst {
		dst[i].common = gum.Root(dst[i].common, creepU*most)
		dst[i].stateLift()
	}
	g.hold(Sticking, measure.Length(most), "the heel creeps back up after the valve has shut: the stand bends under the spindle's force. Clamp the indicator shorter, and turn again")
}
