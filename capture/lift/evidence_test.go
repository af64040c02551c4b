package lift

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Between its entries a table is linear along each measure; beyond them it says
// what it says at its edge.
func TestEvidenceIsInterpolated(t *testing.T) {
	e := evidence{from: [3]float64{-1, 0, 2}, to: [3]float64{1, 4, 7}}
	plane := func(i, j, k int) float64 { return float64(3*i - 2*j + 5*k) }
	for i := range firstKnots {
		for j := range secondKnots {
			for k := range thirdKnots {
				e.weights[(i*secondKnots+j)*thirdKnots+k] = int8(plane(i, j, k))
			}
		}
	}
	r := rand.New(rand.NewPCG(1, 2))
	for range 1000 {
		m := [3]float64{-2 + 4*r.Float64(), -1 + 6*r.Float64(), 1 + 7*r.Float64()}
		x := (min(max(m[0], -1), 1) + 1) / 2 * 8
		y := min(max(m[1], 0), 4) / 4 * 8
		z := (min(max(m[2], 2), 7) - 2) / 5 * 5
		assert.InDelta(t, weightUnit*(3*x-2*y+5*z), e.of(m), 1e-9, "%v", m)
		sum := 0.0
		e.corners(m, func(_ int, share float64) { sum += share })
		assert.InDelta(t, 1, sum, 1e-12)
	}
	assert.False(t, math.IsNaN(e.of([3]float64{math.Inf(1), math.Inf(-1), math.NaN()})))
}

// Turned evenly, a harmonic lobe speaks against both faults; cut off at nine
// tenths it speaks for the one, begun at a sixth for the other. The law is
// (1 - cos x)/2; the shares are chosen here.
func TestEvidenceOnAnEvenTurn(t *testing.T) {
	shapeOn := func(from, to float64) shape {
		var x, y []float64
		for i := range 1001 {
			phi := 2 * math.Pi * float64(i) / 1000
			x = append(x, float64(i))
			y = append(y, 1e7*(min(max((1-math.Cos(phi))/2, from), to)-from))
		}
		top := len(y) / 2
		return shapeOf(x, y, top, y[top], 0.003*y[top])
	}
	for _, angles := range []bool{false, true} {
		cut, free := evidenceOf(angles)
		for _, c := range []struct {
			from, to  float64
			cut, free bool
		}{{0, 1, false, false}, {0, 0.9, true, false}, {1.0 / 6, 1, false, true}} {
			s := shapeOn(c.from, c.to)
			assert.True(t, s.ok)
			var forCut, forFree float64
			for _, f := range s.flanks {
				forCut += cut.of(f.cut())
				forFree += free.of(f.free())
			}
			assert.Equal(t, c.cut, together(forCut, 2) > cut.enough, "cut off at %v: %v", c.to, forCut)
			assert.Equal(t, c.free, together(forFree, 2) > free.enough, "begun at %v: %v", c.from, forFree)
		}
	}
}
