package lift_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	independent "lobescribe/capture/coverage/model"
	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// A hand that goes back after each stroke shows delay and slack, and apart. What
// their uncertainties cover is tried in package coverage.
func TestDriveShowsDelayAndSlackApart(t *testing.T) {
	lobe := independent.Lobe{Height: 11.4, Centre: 200, Half: 140}
	for name, one := range map[string]independent.Ratchet{
		"neither":         {},
		"late lift":       {Late: 0.04},
		"late angle":      {Late: -0.04},
		"play at the cam": {ValvePlay: 0.9},
		"at the encoder":  {EncoderPlay: 0.9},
		"late, and play":  {Late: 0.03, ValvePlay: 0.6},
		"the other way":   {Late: -0.03, EncoderPlay: 0.6},
	} {
		t.Run(name, func(t *testing.T) {
			one.Lobe, one.Step, one.Count, one.Turns = lobe, 0.01, 0.15, 6
			trace := measure.Trace{Resolution: 10 * measure.Micrometre}
			for _, p := range one.Play(rand.New(rand.NewPCG(3, 7))) {
				trace.Readings = append(trace.Readings, measure.Reading{At: measure.Stamp(p.Seconds * 1e6), Has: measure.HasLift | measure.HasAngle,
					Lift: measure.FromMillimetres(p.Lift), Angle: measure.FromDegrees(p.Angle)})
			}
			f, err := lift.Analyse(trace, lift.Options{})
			require.NoError(t, err)
			require.NotNil(t, f.Drive)
			require.NotNil(t, f.Drive.Slack)
			assert.InDelta(t, one.Late, f.Drive.Delay.Seconds(), 0.006)
			assert.InDelta(t, one.ValvePlay-one.EncoderPlay, f.Drive.Slack.Degrees(), 0.45)
			t.Log(f.Drive.Says)
		})
	}
}

// A hand that shows that lift does not come late shows that the gauge averages over little,
// and the ± of a lift has no use for more.
func TestDriveBoundsWhatAGaugeAverages(t *testing.T) {
	u := func(angles bool) float64 { // at three times the pace of that hand
		one := independent.Ratchet{Lobe: independent.Lobe{Height: 11.4, Centre: 200, Half: 140}, Step: 0.001, Count: 0.15, Turns: 6}
		trace := measure.Trace{Resolution: measure.Micrometre}
		for _, p := range one.Play(rand.New(rand.NewPCG(3, 7))) {
			r := measure.Reading{At: measure.Stamp(p.Seconds / 3 * 1e6), Has: measure.HasLift, Lift: measure.FromMillimetres(p.Lift)}
			if angles {
				r.Has, r.Angle = r.Has|measure.HasAngle, measure.FromDegrees(p.Angle)
			}
			trace.Readings = append(trace.Readings, r)
		}
		f, err := lift.Analyse(trace, lift.Options{})
		require.NoError(t, err)
		require.NotEmpty(t, f.Openings)
		assert.InDelta(t, 11.4, f.MaxLift.Millimetres(), f.MaxLiftU.Millimetres())
		return f.MaxLiftU.Millimetres()
	}
	assert.Less(t, u(true), u(false)/3)
}

// Turned evenly, one way, the hand tells nothing of either.
func TestDriveOfAnEvenHandTellsNothing(t *testing.T) {
	lobe := independent.Lobe{Height: 11.4, Centre: 200, Half: 140}
	var trace measure.Trace
	for i := range 3000 {
		a := float64(i) * 0.8
		trace.Readings = append(trace.Readings, measure.Reading{At: measure.Stamp(i * 20_000), Has: measure.HasLift | measure.HasAngle,
			Lift: measure.FromMillimetres(lobe.Above(a)), Angle: measure.FromDegrees(a)})
	}
	f, err := lift.Analyse(trace, lift.Options{})
	require.NoError(t, err)
	require.NotEmpty(t, f.Openings)
	assert.Nil(t, f.Drive)
}

// An encoder that starts again at 0 after each turn is counted on.
func TestAnalyseCountsAWrappedAngleOn(t *testing.T) {
	lobe := independent.Lobe{Height: 11.4, Centre: 200, Half: 140}
	var on, wrapped measure.Trace
	for i := range 3500 {
		a := float64(i) * 0.7
		r := measure.Reading{At: measure.Stamp(i * 20_000), Has: measure.HasLift | measure.HasAngle,
			Lift: measure.FromMillimetres(math.Round(lobe.Above(a)*100) / 100), Angle: measure.FromDegrees(a)}
		on.Readings = append(on.Readings, r)
		r.Angle = measure.FromDegrees(math.Mod(a, 360))
		wrapped.Readings = append(wrapped.Readings, r)
	}
	want, err := lift.Analyse(on, lift.Options{})
	require.NoError(t, err)
	require.Len(t, want.Openings, 3)
	got, err := lift.Analyse(wrapped, lift.Options{})
	require.NoError(t, err)
	assert.Equal(t, want, got)
}

// evenly is a valve turned evenly past its nose so many times, fifty readings a second.
func evenly(turns int, height float64, show func(i int, angle, lift float64) (float64, float64)) measure.Trace {
	lobe := independent.Lobe{Height: height, Centre: 200, Half: 140}
	var t measure.Trace
	for i := range turns * 1440 {
		angle, lifted := show(i, float64(i)*0.5, lobe.Above(float64(i)*0.5))
		t.Readings = append(t.Readings, measure.Reading{At: measure.Stamp(i * 20_000), Has: measure.HasLift | measure.HasAngle,
			Lift: measure.FromMillimetres(math.Round(lifted*100) / 100), Angle: measure.FromDegrees(angle)})
	}
	return t
}

func TestEncoderThatStandsWhileTheValveMovesIsTold(t *testing.T) {
	var frozen float64
	f, err := lift.Analyse(evenly(4, 10, func(i int, angle, lifted float64) (float64, float64) {
		switch {
		case i < 1440+250: // on the opening flank of the second passage
			frozen = angle
		case i < 1440+310:
			angle = frozen
		}
		return angle, lifted
	}), lift.Options{})
	require.NoError(t, err)
	require.Len(t, f.Openings, 4)
	require.Contains(t, kinds(f), lift.EncoderSlip)
	for _, x := range f.Faults {
		if x.Kind == lift.EncoderSlip {
			assert.Contains(t, x.Says.String(), "stood still while the valve moved")
			assert.InDelta(t, 1.02*28.8+4.6, x.At.Seconds(), 3)
		}
	}
	sound, err := lift.Analyse(evenly(4, 10, func(_ int, angle, lifted float64) (float64, float64) { return angle, lifted }), lift.Options{})
	require.NoError(t, err)
	assert.Empty(t, sound.Faults)
}

// Within a count the valve moves and the angle stands: thirty counts a turn are no fault,
// and what they leave of the nose time tells; an encoder that stands is told all the same.
func TestCoarseEncoderIsNoneThatStands(t *testing.T) {
	coarse := func(stops int) lift.Findings {
		f, err := lift.Analyse(evenly(3, 10, func(i int, angle, lifted float64) (float64, float64) {
			return 12 * math.Floor(min(angle, float64(stops)*0.5)/12), lifted
		}), lift.Options{})
		require.NoError(t, err)
		return f
	}
	f := coarse(3 * 1440)
	require.Len(t, f.Openings, 3)
	assert.Empty(t, f.Faults)
	assert.InDelta(t, 10, f.MaxLift.Millimetres(), f.MaxLiftU.Millimetres())
	assert.Less(t, f.MaxLiftU.Millimetres(), 0.05)
	assert.Contains(t, kinds(coarse(1440+300)), lift.EncoderSlip, "on the second opening flank")
}

// Half a degree lost in each cycle is within what one turn may be off by, and five of
// them together are not.
func TestCountsThatGoWrongLittleByLittleAreTold(t *testing.T) {
	for name, one := range map[string]struct {
		times float64
		told  bool
	}{"right": {1, false}, "too many": {1.0007, true}, "some are lost": {0.9993, true}} {
		t.Run(name, func(t *testing.T) {
			f, err := lift.Analyse(evenly(6, 10, func(_ int, angle, lifted float64) (float64, float64) { return angle * one.times, lifted }), lift.Options{})
			require.NoError(t, err)
			require.Len(t, f.Openings, 6)
			assert.Equal(t, one.told, faults(f, lift.EncoderCounts) == 1, "%v", kinds(f))
		})
	}
}

// Counts that are lost all the turn and mended at the index leave whole turns from nose to
// nose; the leap at the index is told. A spring that throws the crank on behind the nose is
// none, nor is a hand's one quick jerk.
func TestCountsThatTheIndexMendsAreTold(t *testing.T) {
	l := independent.Lobe{Height: 10, Centre: 200, Half: 140}
	for name, one := range map[string]struct {
		crank, shown func(a float64) float64
		told         int
	}{
		"mended": {func(a float64) float64 { return a }, func(a float64) float64 { return a - 0.03*math.Mod(a+230, 360) }, 1},
		"thrown": {func(a float64) float64 { return a + 12*math.Floor((a+490)/720) }, func(a float64) float64 { return a }, 0},
		"jerked": {func(a float64) float64 { return a + 25*math.Floor((a+1000)/1700) }, func(a float64) float64 { return a }, 0},
	} {
		t.Run(name, func(t *testing.T) {
			f, err := lift.Analyse(evenly(3, 10, func(_ int, angle, _ float64) (float64, float64) {
				a := one.crank(angle)
				return math.Round(one.shown(a)*5) / 5, l.Above(a)
			}), lift.Options{})
			require.NoError(t, err)
			require.Len(t, f.Openings, 3)
			assert.Len(t, f.Faults, one.told, "%v", f.Faults)
			assert.Equal(t, one.told, faults(f, lift.EncoderCounts), "%v", f.Faults)
		})
	}
}

// A ratchet clicks back a little after each stroke, and the valve with it: an encoder that
// counts both ways as one goes on there. One that has both channels goes back.
func TestClicksThatAreCountedForwardAreTold(t *testing.T) {
	l := independent.Lobe{Height: 10, Centre: 200, Half: 140}
	for name, told := range map[string]int{"both ways": 0, "as one": 1} {
		t.Run(name, func(t *testing.T) {
			crank, counted := 0.0, 0.0
			f, err := lift.Analyse(evenly(1, 10, func(i int, _, _ float64) (float64, float64) {
				by := 0.0
				switch k := i % 40; { // a stroke of 24 degrees, two back, and a rest
				case k < 24:
					by = 1
				case k < 26:
					by = -1
				}
				if crank += by; told == 1 {
					by = math.Abs(by)
				}
				counted += by
				return counted, l.Above(crank)
			}), lift.Options{})
			require.NoError(t, err)
			require.Len(t, f.Openings, 1)
			assert.Equal(t, told, faults(f, lift.EncoderCounts), "%v", f.Faults)
		})
	}
}

// One opening has no nose to nose; but no lobe is as short as the cam's own angle makes it.
// The lobe here is 164 degrees wide at half lift; 120 to 185 are usual (common practice, no
// source), so that a wide one on the cam's own angle is still as wide as a narrow one.
func TestOneOpeningByAnEncoderOnTheCam(t *testing.T) {
	for name, one := range map[string]struct {
		times float64
		told  int
	}{"on the crank": {1, 0}, "narrower than any": {0.4, 1}, "counted twice": {2, 1}} {
		t.Run(name, func(t *testing.T) {
			f, err := lift.Analyse(evenly(1, 10, func(_ int, angle, lifted float64) (float64, float64) { return angle * one.times, lifted }), lift.Options{})
			require.NoError(t, err)
			require.Len(t, f.Openings, 1)
			assert.Equal(t, one.told, faults(f, lift.EncoderCounts), "%v", kinds(f))
		})
	}
}

// What a gauge that averages takes off every nose does not average out over openings.
func TestMeanLiftHoldsWhatAGaugeAverages(t *testing.T) {
	l := independent.Lobe{Height: 10, Centre: 200, Half: 140}
	const within = 24.0 // degrees in which it takes its mean: 0.12 s, at 200 degrees a second
	f, err := lift.Analyse(evenly(5, 10, func(_ int, angle, _ float64) (float64, float64) {
		sum := 0.0
		for i := range 48 {
			sum += l.Above(angle*8 - within*float64(i)/47)
		}
		return angle * 8, sum / 48
	}), lift.Options{})
	require.NoError(t, err)
	require.Len(t, f.Openings, 40)
	off := 10 - f.MaxLift.Millimetres()
	assert.Greater(t, off, 0.03, "it takes something off")
	assert.Less(t, off, f.MaxLiftU.Millimetres())
	assert.Less(t, f.MaxLiftU.Millimetres(), 5*off)
}

// No valve lifts 250 mm: the readings are in another unit than they are taken for.
func TestLiftOfNoValveIsNoOpening(t *testing.T) {
	f, err := lift.Analyse(evenly(3, 254, func(_ int, angle, lifted float64) (float64, float64) { return angle, lifted }), lift.Options{})
	require.NoError(t, err)
	assert.Empty(t, f.Openings)
	assert.Zero(t, f.MaxLift)
	assert.Equal(t, []lift.FaultKind{lift.UnitChange}, kinds(f))
}

func kinds(f lift.Findings) (all []lift.FaultKind) {
	for _, x := range f.Faults {
		all = append(all, x.Kind)
	}
	return all
}
