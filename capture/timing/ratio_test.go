package timing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// rockerArm is a planar rocker with a vertical pushrod: ratio R cos θ / cos
// (θ + γ) (derived). Lobe lift ℓ turns the arm, b (sin(θ+γ) - sin(θ0+γ)) = ℓ,
// and the valve moves a (sin θ - sin θ0).
type rockerArm struct{ a, r, gamma, start float64 }

func (k rockerArm) valve(lobe float64) (lift, ratio float64) {
	rad := math.Pi / 180
	b := k.a / k.r
	theta := math.Asin(lobe/b+math.Sin((k.start+k.gamma)*rad)) - k.gamma*rad
	return k.a * (math.Sin(theta) - math.Sin(k.start*rad)), k.r * math.Cos(theta) / math.Cos(theta+k.gamma*rad)
}

// R 1.6, γ 15: the ratio at five angles (derived).
func TestRockerArmIsTheDerivedOne(t *testing.T) {
	for theta, want := range map[float64]float64{-10: 1.58171, -5: 1.61850, 0: 1.65644, 5: 1.69621, 10: 1.73858} {
		_, ratio := rockerArm{38.1, 1.6, 15, theta}.valve(0)
		assert.InDelta(t, want, ratio, 5e-6)
	}
}

func TestRatioCurveIsTheRockers(t *testing.T) {
	arm := rockerArm{38.1, 1.6, 15, -10}
	lobeShape := func(x float64) float64 { return lobe345(110, 125)(x) * 0.72 } // 7.68 mm
	const lash = 0.25
	valveShape := func(x float64) float64 {
		l, _ := arm.valve(lobeShape(x))
		return max(l-lash, 0)
	}
	base := turn{from: -300, to: 1860, perReading: 0.3, resolution: measure.Thou / 2, angleStep: deg(0.05)}
	trace := func(shape func(float64) float64, seed uint64, offset float64) *Curve {
		h := base
		h.shape, h.seed, h.offset = shape, seed, offset
		c, err := FromTrace(h.trace(), Options{Valve: Intake})
		require.NoError(t, err)
		return c
	}
	lobe, valve := trace(lobeShape, 1, 0), trace(valveShape, 2, 0)
	got, err := Ratio(lobe, valve, RatioOptions{Nominal: 1.6})
	require.NoError(t, err)
	assert.True(t, got.LashFound)
	assert.InDelta(t, lash, got.Lash.Millimetres(), max(got.LashU.Millimetres(), 0.02))
	assert.Less(t, got.LashU.Millimetres(), 0.1)
	assert.InDelta(t, 0, got.Apart.Degrees(), 0.1)
	require.Len(t, got.Stations, 10)
	for _, s := range got.Stations {
		_, want := arm.valve(s.Lobe.Millimetres())
		assert.InDelta(t, want, s.Ratio, 0.01, "at %v", s.Lobe)
		assert.InDelta(t, s.Ratio-1.6, *s.Off, 1e-12)
		lift, _ := arm.valve(s.Lobe.Millimetres())
		assert.InDelta(t, lift, s.Valve.Millimetres(), 0.03)
	}
	// It must tell that the ratio grows, which one number for all cannot.
	assert.Greater(t, got.Stations[9].Ratio-got.Stations[0].Ratio, 0.1)
	top, _ := arm.valve(7.68)
	assert.InDelta(t, top/7.68, got.AtNose, 0.01)
	assert.Empty(t, got.Warnings)

	// With the lash told.
	told, err := Ratio(lobe, valve, RatioOptions{Lash: ptr(mm(lash))})
	require.NoError(t, err)
	assert.False(t, told.LashFound)
	assert.Nil(t, told.Stations[0].Off)
	for i, s := range told.Stations {
		_, want := arm.valve(s.Lobe.Millimetres())
		assert.InDelta(t, want, s.Ratio, 0.01)
		assert.LessOrEqual(t, s.RatioU, got.Stations[i].RatioU*1.01)
	}

	// The valve's trace with top dead centre set 1.5 degrees wrong: the same
	// ratio, and it says by how much.
	apart, err := Ratio(lobe, trace(valveShape, 3, 1.5), RatioOptions{})
	require.NoError(t, err)
	assert.InDelta(t, 1.5, apart.Apart.Degrees(), 0.15)
	require.NotEmpty(t, apart.Warnings)
	for i, s := range apart.Stations {
		assert.InDelta(t, got.Stations[i].Ratio, s.Ratio, 0.02)
	}

	// A ratio of 1.7 in its place: the gain.
	longer := rockerArm{38.1, 1.7, 15, -10}
	after := trace(func(x float64) float64 {
		l, _ := longer.valve(lobeShape(x))
		return max(l-lash, 0)
	}, 4, 0)
	gain := GainOf(valve, after, nil)
	topAfter, _ := longer.valve(7.68)
	assert.InDelta(t, topAfter-top, gain.MaxLift.Millimetres(), 0.02)
	assert.InDelta(t, topAfter-top, gain.Largest.Millimetres(), 0.03)
	assert.InDelta(t, 100, gain.LargestAt.Degrees(), 15)
	assert.InDelta(t, 0.07, gain.AreaShare, 0.02)
	require.Len(t, gain.Durations, 2)
	assert.Greater(t, gain.Durations[0].Duration, measure.Angle(0))
	none := GainOf(valve, valve, nil)
	assert.Zero(t, none.MaxLift)
	assert.Zero(t, none.Durations[0].Duration)
}

func TestRatioSaysWhatIsWrong(t *testing.T) {
	c := synthetic(t, "synthetic-345-sym.csv", "lift_in_exact", Options{Valve: Intake})
	far := synthetic(t, "synthetic-345-sym.csv", "lift_in_exact", Options{Valve: Intake, TDC: deg(50)})
	for _, o := range []struct {
		o    RatioOptions
		says string
	}{{RatioOptions{Degree: 9}, "ratio.degree"}, {RatioOptions{Nominal: -1}, "ratio.nominal"}, {RatioOptions{Nominal: math.NaN()}, "ratio.nominal"}, {RatioOptions{Lash: ptr(mm(-1))}, "ratio.lash_mm"}} {
		_, err := Ratio(c, c, o.o)
		assert.ErrorContains(t, err, o.says)
	}
	_, err := Ratio(c, far, RatioOptions{})
	assert.ErrorContains(t, err, "noses lie 50 degrees apart")
	same, err := Ratio(c, c, RatioOptions{})
	require.NoError(t, err)
	for _, s := range same.Stations {
		assert.InDelta(t, 1, s.Ratio, 1e-6)
	}
	assert.InDelta(t, 1, same.AtNose, 1e-9)
}
