package rocker

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

func TestBeamThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := Beam{
			ValveArm:    mm(rapid.Float64Range(20, 60).Draw(t, "valve arm")),
			AdjusterArm: mm(rapid.Float64Range(15, 50).Draw(t, "adjuster arm")),
			Bend:        measure.FromDegrees(rapid.Float64Range(-20, 20).Draw(t, "bend")),
		}
		short := mm(rapid.Float64Range(-8, 8).Draw(t, "short"))
		below, err := b.Below(short)
		require.NoError(t, err)
		back, err := b.Short(below)
		require.NoError(t, err)
		assert.InDelta(t, float64(short), float64(back), 3)
	})
}

// The rise of the adjuster's end against the valve's end is that of the ball
// with the valve held: a 1.5 in, R 1.6, raised 0.100 in, bent by 0 and 10 deg.
// Source: derived apart from this code.
func TestBeamBelowFallsWithTheShim(t *testing.T) {
	for bend, rise := range map[float64]float64{0: 0.162500, 10: 0.161188} {
		b := Beam{ValveArm: measure.FromInches(1.5), AdjusterArm: measure.FromInches(1.5 / 1.6), Bend: measure.FromDegrees(bend)}
		square, err := b.Below(0)
		require.NoError(t, err)
		raised, err := b.Below(measure.FromInches(-0.1))
		require.NoError(t, err)
		assert.InDelta(t, rise, (square - raised).Inches(), 1e-6)
	}
	_, err := Beam{ValveArm: mm(30), AdjusterArm: mm(20)}.Below(mm(40))
	assert.Error(t, err)
	_, err = Beam{ValveArm: mm(30), AdjusterArm: mm(20)}.Short(mm(60))
	assert.Error(t, err)
}
