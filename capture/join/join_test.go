package join

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/capture/internal/turned"
	"lobescribe/device/measure"
)

func TestJoinerInterpolatesTheAngleAtTheLiftsOwnInstant(t *testing.T) {
	j := New(Options{})
	out := j.Angle(nil, turned.Angle(0, 0))
	out = j.Lift(out, turned.Lift(30_000, 1))
	assert.Empty(t, out, "the next angle is not there yet")
	out = j.Angle(out, turned.Angle(40_000, 4*measure.Degree))
	require.Len(t, out, 1)
	assert.Equal(t, 3*measure.Degree, out[0].Angle)
	assert.Equal(t, measure.HasLift|measure.HasAngle, out[0].Has)
	assert.Equal(t, measure.Length(1), out[0].Lift)
	assert.Equal(t, measure.Stamp(30_000), out[0].At)
}

func TestJoinerWithoutEncoderPassesLiftAtOnce(t *testing.T) {
	j := New(Options{})
	out := j.Lift(nil, turned.Lift(10, 5))
	require.Len(t, out, 1)
	assert.Equal(t, measure.HasLift, out[0].Has)
}

func TestJoinerTakesSilenceForStandingStill(t *testing.T) {
	j := New(Options{})
	j.Angle(nil, turned.Angle(0, 10*measure.Degree))
	out := j.Lift(nil, turned.Lift(1*measure.Second, 7))
	assert.Empty(t, out)
	out = j.Tick(out, 1*measure.Second+250*measure.Millisecond)
	require.Len(t, out, 1, "an encoder that says nothing must not hold the lift back")
	assert.Equal(t, 10*measure.Degree, out[0].Angle)

	// The crank stood still for 5 s and then moved: a lift in the middle of the
	// silence belongs to the old angle, not to the middle of the way.
	j = New(Options{Hold: 10 * measure.Second})
	j.Angle(nil, turned.Angle(0, 10*measure.Degree))
	out = j.Lift(nil, turned.Lift(2500*measure.Millisecond, 7))
	out = j.Lift(out, turned.Lift(4950*measure.Millisecond, 8))
	out = j.Angle(out, turned.Angle(5*measure.Second, 20*measure.Degree))
	require.Len(t, out, 2)
	assert.Equal(t, 10*measure.Degree, out[0].Angle)
	assert.Equal(t, 15*measure.Degree, out[1].Angle)
}

func TestJoinerForgetsALostEncoder(t *testing.T) {
	j := New(Options{})
	j.Angle(nil, turned.Angle(0, 10*measure.Degree))
	out := j.Lift(nil, turned.Lift(100, 7))
	out = j.Forget(out, measure.HasAngle)
	out = j.Lift(out, turned.Lift(200, 8))
	require.Len(t, out, 2)
	assert.Equal(t, measure.HasLift, out[0].Has)
	assert.Equal(t, measure.HasLift, out[1].Has, "no old angle beside a new lift")
}

func TestJoinerPassesABoardThatMeasuresBoth(t *testing.T) {
	j := New(Options{})
	both := measure.Reading{At: 5, Lift: 1, Angle: 2, Has: measure.HasLift | measure.HasAngle}
	assert.Equal(t, []measure.Reading{both}, j.Lift(nil, both))
}

// Nothing is lost, doubled or reordered, and the angle beside a lift is that
// of the crank at that instant, whatever the two rates and whichever comes
// first.
func TestJoinerLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		crank := func(at measure.Stamp) float64 { // 60 deg/s with a hand's unevenness
			s := at.Seconds()
			return 60*s + 3*math.Sin(2*s)
		}
		liftEvery := measure.Stamp(rapid.IntRange(1, 200).Draw(t, "lift ms")) * measure.Millisecond
		angleEvery := measure.Stamp(rapid.IntRange(1, 50).Draw(t, "angle ms")) * measure.Millisecond
		phase := measure.Stamp(rapid.IntRange(0, 49_999).Draw(t, "phase us"))
		lag := measure.Stamp(rapid.IntRange(0, 30_000).Draw(t, "lift arrives later by us"))
		j := New(Options{})
		var out []measure.Reading
		sent := 0
		nextAngle := phase
		for at := 500 * measure.Millisecond; at < 4*measure.Second; at += liftEvery {
			for ; nextAngle <= at+lag; nextAngle += angleEvery {
				out = j.Angle(out, turned.Angle(nextAngle, measure.FromDegrees(crank(nextAngle))))
			}
			out = j.Lift(out, turned.Lift(at, measure.Length(sent)))
			sent++
		}
		out = j.Angle(out, turned.Angle(nextAngle, measure.FromDegrees(crank(nextAngle))))
		out = j.Tick(out, 10*measure.Second)
		require.Len(t, out, sent)
		for i, r := range out {
			require.Equal(t, measure.Length(i), r.Lift)
			require.Equal(t, measure.HasLift|measure.HasAngle, r.Has)
			// Between angles at most 50 ms apart the hand's unevenness bends
			// the way by no more than a''/8 dt^2 = 12/8 * 0.05^2 = 0.004 deg.
			require.InDelta(t, crank(r.At), r.Angle.Degrees(), 0.005, "at %v", r.At)
		}
	})
}

// The sweep gauge has a rate of its own and is put beside the lift as the angle
// is; without an indicator its readings are the ones that the angle goes with.
func TestJoinerPutsTheSweepBesideTheLift(t *testing.T) {
	sweepAt := func(at measure.Stamp, l measure.Length) measure.Reading {
		return measure.Reading{At: at, Sweep: l, Has: measure.HasSweep}
	}
	j := New(Options{})
	out := j.Sweep(nil, sweepAt(0, 1000))
	assert.Equal(t, []measure.Reading{sweepAt(0, 1000)}, out, "nobody knows yet that an indicator is there")
	j.Angle(nil, turned.Angle(0, 0))
	out = j.Lift(nil, turned.Lift(0, 4))
	out = j.Sweep(out, sweepAt(0, 1000))
	out = j.Lift(out, turned.Lift(10_000, 5))
	out = j.Angle(out, turned.Angle(20_000, 2*measure.Degree))
	require.Len(t, out, 1, "the second lift's sweep is not there yet")
	assert.Equal(t, measure.Reading{Lift: 4, Has: measure.HasAll, Sweep: 1000}, out[0])
	out = j.Sweep(out[:0], sweepAt(20_000, 3000))
	assert.Equal(t, []measure.Reading{{At: 10_000, Lift: 5, Angle: measure.Degree, Sweep: 2000, Has: measure.HasAll}}, out)

	// A gauge that is gone leaves no old reading beside a new lift.
	out = j.Lift(out[:0], turned.Lift(30_000, 6))
	assert.Empty(t, out)
	out = j.Forget(out, measure.HasSweep)
	out = j.Angle(out, turned.Angle(40_000, 4*measure.Degree))
	assert.Equal(t, []measure.Reading{{At: 30_000, Lift: 6, Angle: 3 * measure.Degree, Has: measure.HasLift | measure.HasAngle}}, out)

	// One indicator, moved: there is no lift any more.
	out = j.Forget(out[:0], measure.HasLift)
	out = j.Sweep(out, sweepAt(50_000, 7))
	assert.Empty(t, out)
	out = j.Angle(out, turned.Angle(60_000, 6*measure.Degree))
	assert.Equal(t, []measure.Reading{{At: 50_000, Sweep: 7, Angle: 5 * measure.Degree, Has: measure.HasSweep | measure.HasAngle}}, out)
	j.Sweep(nil, sweepAt(61_000, 8))
	out = j.End(nil)
	assert.Equal(t, []measure.Reading{{At: 61_000, Sweep: 8, Angle: 6 * measure.Degree, Has: measure.HasSweep | measure.HasAngle}}, out)
}
