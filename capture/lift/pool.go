package lift

import (
	"cmp"
	"math"
	"slices"
)

// parts is what an opening was measured from.
type parts struct {
	e                      surroundings
	before, passage, after []point
	heel                   float64
}

// pool looks for the nose in the readings of all openings at once. With an
// encoder they lie on one curve, the lobe, wherever in the turn each of them
// was taken: what one opening has missed another has. The openings are laid
// over one another by the middle between their half lifts, which many readings
// fix.
//
// An opening whose own nose is sparse and does not contradict the pool is
// measured again with both together, weighted by their variances.
func pool(dst []measured) {
	var x, y, w []float64
	height, scatter, n := 0.0, 0.0, 0
	for _, m := range dst {
		if m.parts == nil || m.OpeningHalf.Angle == nil || m.ClosingHalf.Angle == nil {
			continue
		}
		n++
		middle := (m.OpeningHalf.Angle.Degrees() + m.ClosingHalf.Angle.Degrees()) / 2
		for _, p := range m.parts.passage {
			if v := p.y - m.parts.heel; v > 0.8*m.height {
				x, y, w = append(x, p.a-middle), append(y, v), append(w, p.w)
			}
		}
		height, scatter = max(height, m.height), max(scatter, m.scatter)
	}
	if n < 2 {
		return
	}
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(x[a], x[b]) })
	sx, sy, sw := make([]float64, 0, len(x)), make([]float64, 0, len(x)), make([]float64, 0, len(x))
	for _, i := range order {
		if k := len(sx); k > 0 && x[i]-sx[k-1] < 1e-6 {
			sy[k-1] += (y[i] - sy[k-1]) * w[i] / (sw[k-1] + w[i])
			sw[k-1] += w[i]
			continue
		}
		sx, sy, sw = append(sx, x[i]), append(sy, y[i]), append(sw, w[i])
	}
	top := 0
	for i := range sy {
		if sy[i] > sy[top] {
			top = i
		}
	}
	// Laying them over one another is worth some scatter of its own.
	p := findPeak(sx, sy, sw, top, height, misfit*scatter, ofAngle)
	common := hypot(p.noise, p.short)
	stops := descent{x: sx, y: sy, top: top, nose: p.y, height: height, scatter: misfit * scatter, off: pooledOff, own: stopLobe, angles: true}
	says := stops.says()
	for i, m := range dst {
		if m.parts == nil {
			continue
		}
		if says.ok {
			m.stops = says
			dst[i] = m
			says = stopSays{ok: true} // counted once
		}
		own := hypot(m.nose.noise, m.nose.short)
		if common >= own || math.Abs(m.nose.y-p.y) > 3*hypot(own, common) {
			continue
		}
		share := own * own / (own*own + common*common)
		u := own * common / hypot(own, common)
		e := m.parts.e
		e.keep = false
		e.nose = &peak{y: m.nose.y + share*(p.y-m.nose.y), noise: u, fit: m.nose.fit || p.fit}
		if again, ok := e.opening(m.parts.before, m.parts.passage, m.parts.after); ok {
			// What came from the pool is common to the openings.
			shared := share * common
			again.own = math.Sqrt(max(again.own*again.own-shared*shared, 0))
			again.common = math.Hypot(again.common, shared)
			again.stops = m.stops
			again.skipped, again.slipped = m.skipped, m.slipped // what lies around it is as it was
			dst[i] = again
		}
	}
}

// pooledOff is how well, in degrees, openings are laid over one another.
const pooledOff = 0.15

// misfit is how much wider than one reading's the pooled readings scatter.
const misfit = 1.5
