package lift

import (
	"math"

	"lobescribe/capture/internal/gum"
	"lobescribe/capture/lift/lobe"
	"lobescribe/capture/lift/stops"
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
	c := lobe.ByAngle(x, y, w)
	c.Height, c.Scatter = height, misfit*scatter // laying them over one another adds its own
	p := c.Nose()
	common := gum.Root(p.Noise, p.Short)
	says := stops.Of(c, p.Y, pooledOff)
	for i, m := range dst {
		if m.parts == nil {
			continue
		}
		if says.OK {
			m.stops = says
			dst[i] = m
			says = stops.Says{OK: true} // counted once
		}
		own := gum.Root(m.nose.Noise, m.nose.Short)
		if common >= own || math.Abs(m.nose.Y-p.Y) > 3*gum.Root(own, common) {
			continue
		}
		share := own * own / (own*own + common*common)
		u := own * common / gum.Root(own, common)
		e := m.parts.e
		e.keep = false
		e.nose = &lobe.Peak{Y: m.nose.Y + share*(p.Y-m.nose.Y), Noise: u, Fit: m.nose.Fit || p.Fit}
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

// byAngle returns the readings near the nose in order of the crank angle.
func (v *view) byAngle(scatter float64) lobe.Curve {
	n := len(v.y)
	a, y, w := v.room.floats(n)[:0], v.room.floats(n)[:0], v.room.floats(n)[:0]
	for i, h := range v.y {
		if h > 0.8*v.height {
			a, y, w = append(a, v.a[i]), append(y, h), append(w, v.w[i])
		}
	}
	c := lobe.ByAngle(a, y, w)
	c.Height, c.Scatter = v.height, scatter
	return c
}
