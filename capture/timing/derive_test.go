package timing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// 3-4-5 over 115 crank degrees, 0.420 in: peak velocity 0.00684783 in/deg,
// peak acceleration 1.833551e-4 in/deg², at 3000 rpm (18 000 degrees a second)
// 59 407.05 in/s² (derived).
const (
	peakVelocity     = 0.00684783
	peakAcceleration = 1.833551e-4
)

func peaks(d Derivatives) (v, a, j float64) {
	for _, p := range d.Points {
		v, a, j = max(v, math.Abs(p.Velocity)), max(a, math.Abs(p.Acceleration)), max(j, math.Abs(p.Jerk))
	}
	return v / 25.4, a / 25.4, j / 25.4
}

func TestDerivativesOfTheLobe(t *testing.T) {
	var pts []Point
	shape := lobe345(115, 115)
	for x := -60.0; x <= 270; x++ {
		pts = append(pts, Point{deg(x), mm(shape(x))})
	}
	c, err := FromPoints(pts, Options{Valve: Intake})
	require.NoError(t, err)
	d, err := c.Derivatives(DeriveOptions{})
	require.NoError(t, err)
	assert.Equal(t, measure.Degree/2, d.Step)
	v, a, _ := peaks(d)
	assert.InEpsilon(t, peakVelocity, v, 1e-4)
	assert.InEpsilon(t, peakAcceleration, a, 2e-3)
	assert.InEpsilon(t, 59407.05, a*18000*18000, 2e-3)
	assert.NotEmpty(t, d.Chosen)
	// Where it is: x = ½ - √3/6 of the rise.
	var at float64
	for _, p := range d.Points {
		if p.Acceleration/25.4 >= a-1e-12 {
			at = p.Angle.Degrees()
		}
	}
	x := 0.2113249 * 115
	assert.Less(t, min(math.Abs(at-(-10+x)), math.Abs(at-(220-x))), 1.5)
	// The jerk in the middle of the rise is -30·h/β³.
	i := int((47.5 - d.Points[0].Angle.Degrees()) / 0.5)
	require.Equal(t, deg(47.5), d.Points[i].Angle)
	assert.InEpsilon(t, -30*0.420/(115.*115*115), d.Points[i].Jerk/25.4, 0.01)
}

// The points rounded to half a thou, as they are read: the answers stay within
// the band that is claimed, and the band is not empty talk.
func TestTheBandHoldsWhatNoiseMakes(t *testing.T) {
	shape := lobe345(115, 115)
	h := turn{shape: shape, from: -300, to: 1860, perReading: 0.3, resolution: measure.Thou / 2, angleStep: deg(0.05), noise: 0.004, seed: 3}
	c, err := FromTrace(h.trace(), Options{Valve: Intake})
	require.NoError(t, err)
	exact := func(x float64) (v, a float64) {
		s := (x + 10) / 115
		sign := 1.0
		if x > 105 {
			s, sign = (220-x)/115, -1
		}
		if s <= 0 {
			return 0, 0
		}
		const h = 0.420 * 25.4
		return sign * h / 115 * 30 * s * s * (1 - s) * (1 - s), h / 115 / 115 * 60 * s * (1 - s) * (1 - 2*s)
	}
	d, err := c.Derivatives(DeriveOptions{})
	require.NoError(t, err)
	assert.Contains(t, d.Chosen, "narrowest")
	inV, inA, all := 0, 0, 0
	window := d.HalfWindow.Degrees()
	for _, p := range d.Points {
		x := p.Angle.Degrees()
		// Over the corners of the law (ends and nose) the window rounds off;
		// that is a bias, not noise.
		if x < -10+window || x > 220-window || math.Abs(x-105) < window {
			continue
		}
		v, a := exact(x)
		all++
		if math.Abs(p.Velocity-v) <= p.VelocityU {
			inV++
		}
		if math.Abs(p.Acceleration-a) <= p.AccelerationU {
			inA++
		}
	}
	require.Greater(t, all, 200)
	assert.Greater(t, float64(inV)/float64(all), 0.85)
	assert.Greater(t, float64(inA)/float64(all), 0.85)
	_, a, _ := peaks(d)
	assert.InEpsilon(t, peakAcceleration, a, 0.1)

	// A narrower window follows more and shows more noise; a wider one less.
	narrow, err := c.Derivatives(DeriveOptions{HalfWindow: 3 * measure.Degree})
	require.NoError(t, err)
	wide, err := c.Derivatives(DeriveOptions{HalfWindow: 12 * measure.Degree})
	require.NoError(t, err)
	_, bandNarrow := narrow.acceleration()
	_, bandWide := wide.acceleration()
	assert.Greater(t, bandNarrow, 5*bandWide)
	assert.Equal(t, 13, narrow.Window)
	assert.Equal(t, "as asked", narrow.Chosen)
}

// On the heel there is no motion: what shows there is noise, and lies within
// the band around 0.
func TestHeelShowsNothingButNoise(t *testing.T) {
	h := turn{shape: lobe345(115, 115), from: -300, to: 1860, perReading: 0.3, resolution: measure.Micrometre, angleStep: deg(0.05), noise: 0.006, seed: 4}
	c, err := FromTrace(h.trace(), Options{Valve: Intake})
	require.NoError(t, err)
	d, err := c.Derivatives(DeriveOptions{})
	require.NoError(t, err)
	inside, all := 0, 0
	for _, p := range d.Points {
		if x := p.Angle.Degrees(); x > -200 && x < -40 || x > 250 && x < 400 {
			all++
			if math.Abs(p.Acceleration) <= p.AccelerationU {
				inside++
			}
		}
	}
	require.Greater(t, all, 400)
	share := float64(inside) / float64(all)
	assert.Greater(t, share, 0.9)
	assert.Less(t, share, 1.0, "a band that nothing ever leaves is too wide")
}

func TestDerivativesSayWhatIsWrong(t *testing.T) {
	c := synthetic(t, "synthetic-345-sym.csv", "lift_in_rounded_0.0005", Options{Valve: Intake, Resolution: measure.Thou / 2})
	d, err := c.Derivatives(DeriveOptions{})
	require.NoError(t, err)
	assert.Equal(t, measure.Degree, d.Step)
	for _, o := range []DeriveOptions{{Order: 2}, {Order: 7}, {Step: 1}, {HalfWindow: 1}, {HalfWindow: 170 * measure.Degree}, {HalfWindow: -1}} {
		_, err := c.Derivatives(o)
		assert.ErrorContains(t, err, "derivatives.", "%+v", o)
	}
}
