package evidence

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/lift/lobe"
)

// Turned evenly, a harmonic lobe speaks against both faults so clearly that the
// uncertainty need not hold them; cut off at nine tenths it speaks for the one,
// begun at a sixth for the other. The law is (1 - cos x)/2; the shares are chosen
// here.
func TestEvidenceOnAnEvenTurn(t *testing.T) {
	flanksOn := func(from, to float64) []Flank {
		var x, y []float64
		for i := range 1001 {
			phi := 2 * math.Pi * float64(i) / 1000
			x = append(x, float64(i))
			y = append(y, 1e7*(min(max((1-math.Cos(phi))/2, from), to)-from))
		}
		top := len(y) / 2
		s := ShapeOf(lobe.Curve{X: x, Y: y, Top: top, Height: y[top]}, 0.003*y[top])
		assert.True(t, s.OK)
		// Three openings alike.
		return []Flank{s.Flanks[0], s.Flanks[1], s.Flanks[0], s.Flanks[1], s.Flanks[0], s.Flanks[1]}
	}
	for _, angles := range []bool{false, true} {
		cut, free := Of(CutOff, angles), Of(HangsFree, angles)
		for _, c := range []struct {
			from, to  float64
			cut, free bool
		}{{0, 1, false, false}, {0, 0.9, true, false}, {1.0 / 6, 1, false, true}} {
			flanks := flanksOn(c.from, c.to)
			forCut, forFree := cut.Weigh(CutOff, flanks), free.Weigh(HangsFree, flanks)
			assert.Equal(t, c.cut, forCut > cut.Tell, "angles %v, cut off at %v: %v beyond %v", angles, c.to, forCut, cut.Tell)
			assert.Equal(t, c.free, forFree > free.Mind, "angles %v, begun at %v: %v beyond %v", angles, c.from, forFree, free.Mind)
			if !c.cut {
				assert.Less(t, forCut, cut.Mind, "angles %v, from %v to %v", angles, c.from, c.to)
			}
		}
	}
}
