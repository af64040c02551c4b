package step

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestStepIsFound(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, step := range []int64{1270, 2540, 12_700, 25_400, 1000, 10_000, 2000, 100} {
		var f Finder
		x := 0.0
		for range 300 {
			x += 30_000 * r.NormFloat64()
			f.See(int64(math.Round(x/float64(step))) * step)
		}
		assert.Equal(t, step, f.Step())
	}
}

func TestStepOfCountsThatAreNoRoundLength(t *testing.T) {
	var f Finder
	const step = 1e6 / 1024 // nanometres
	for i := range 400 {
		f.See(int64(math.Round(math.Round(2000*math.Sin(float64(i)/20)) * step)))
	}
	assert.InDelta(t, step, f.Step(), 1)
}

// Half of the readings in inches, half in millimetres: the common divisor of
// the two steps is 10 nm and no step of anything.
func TestStepOfMixedUnits(t *testing.T) {
	var f Finder
	r := rand.New(rand.NewPCG(7, 8))
	x := 0.0
	for i := range 400 {
		step := int64(1000)
		if i >= 200 {
			step = 1270
		}
		x += 20_000 * r.NormFloat64()
		f.See(int64(math.Round(x/float64(step))) * step)
	}
	assert.Contains(t, []int64{1000, 1270}, f.Step())
}

func TestStepKnownIsKept(t *testing.T) {
	f := Finder{Fixed: 5000}
	f.See(0)
	f.See(1)
	f.Again()
	assert.EqualValues(t, 5000, f.Step())
}
