package capture

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/internal/turned"
	"lobescribe/device/measure"
)

// turning feeds a Recorder at 10 readings a second and collects what a trace
// would hold.
type turning struct {
	*Recorder
	now    measure.Stamp
	traces [][]measure.Reading
}

func (u *turning) feed(seconds float64, state ValveState, lift func(s float64) measure.Length) {
	for end := u.now + measure.Stamp(seconds*1e6); u.now < end; u.now += 100 * measure.Millisecond {
		r := turned.Lift(u.now, lift(u.now.Seconds()))
		switch u.Step(r, state) {
		case Begin:
			u.traces = append(u.traces, append([]measure.Reading(nil), u.PreRoll()...))
		case Keep, EndAfter:
			u.traces[len(u.traces)-1] = append(u.traces[len(u.traces)-1], r)
		}
	}
}

func still(l measure.Length) func(float64) measure.Length {
	return func(float64) measure.Length { return l }
}

func TestATraceBeginsWithTheMovementAndTheTwoSecondsBefore(t *testing.T) {
	u := turning{Recorder: NewRecorder(RecorderOptions{})}
	u.feed(30, AtHeel, still(measure.Millimetre))
	require.Empty(t, u.traces)
	u.feed(1, OnOpening, func(s float64) measure.Length { return measure.FromMillimetres(1 + (s - 30)) })
	require.Len(t, u.traces, 1)
	first := u.traces[0][0].At
	assert.InDelta(t, 28.1, first.Seconds(), 0.11, "movement shows at 30.1 s")
	for i := 1; i < len(u.traces[0]); i++ {
		require.Equal(t, 100*measure.Millisecond, u.traces[0][i].At-u.traces[0][i-1].At, "no reading is missing")
	}
}

func TestRestEndsATraceOnlyOnTheHeel(t *testing.T) {
	u := turning{Recorder: NewRecorder(RecorderOptions{})}
	u.feed(3, AtHeel, still(0))
	u.feed(60, OnClosing, still(5*measure.Millimetre))
	assert.True(t, u.Recording(), "somebody is looking at the rocker at half lift")
	u.feed(60, AtNose, still(10*measure.Millimetre))
	assert.True(t, u.Recording())
	u.feed(19, AtHeel, still(0))
	assert.True(t, u.Recording())
	u.feed(2, AtHeel, still(0))
	assert.False(t, u.Recording())
	require.Len(t, u.traces, 1)
	// 2 s of pre-roll, 120 s, and 20 s of rest.
	assert.InDelta(t, 142, (u.traces[0][len(u.traces[0])-1].At - u.traces[0][0].At).Seconds(), 0.2)
}

func TestCreepBeginsNoTrace(t *testing.T) {
	u := turning{Recorder: NewRecorder(RecorderOptions{})}
	u.feed(600, AtHeel, func(s float64) measure.Length { // 0.2 mm in ten minutes
		return measure.FromMillimetres(0.2 * s / 600)
	})
	assert.Empty(t, u.traces)
}

func TestTheCrankBeginsATraceToo(t *testing.T) {
	c := NewRecorder(RecorderOptions{})
	at := measure.Stamp(0)
	step := func(a measure.Angle) Take {
		at += 100 * measure.Millisecond
		return c.Step(measure.Reading{At: at, Angle: a, Has: measure.HasLift | measure.HasAngle}, AtHeel)
	}
	for range 20 {
		require.Equal(t, Wait, step(measure.Degree/2))
	}
	assert.Equal(t, Begin, step(2*measure.Degree))
	// Turning on the heel is no rest.
	for i := range 1000 {
		require.Equal(t, Keep, step(2*measure.Degree+measure.Angle(i)*measure.Degree/5))
	}
}

func TestSilenceOnTheHeelEndsATrace(t *testing.T) {
	c := NewRecorder(RecorderOptions{})
	c.Step(turned.Lift(0, 0), AtHeel)
	require.Equal(t, Begin, c.Step(turned.Lift(100_000, measure.Millimetre), OnOpening))
	assert.False(t, c.Tick(19*measure.Second, AtHeel))
	assert.False(t, c.Tick(60*measure.Second, OnClosing))
	assert.True(t, c.Tick(21*measure.Second, AtHeel))
	assert.False(t, c.Tick(22*measure.Second, AtHeel), "it has ended already")
}

func TestStartAndStopByHand(t *testing.T) {
	c := NewRecorder(RecorderOptions{})
	c.Step(turned.Lift(0, 0), AtHeel)
	assert.True(t, c.Start())
	assert.False(t, c.Start())
	assert.Len(t, c.PreRoll(), 1)
	assert.True(t, c.Stop())
	assert.False(t, c.Stop())
	assert.Empty(t, c.PreRoll(), "a reading stands in one trace only")
}

func TestPreRollIsBounded(t *testing.T) {
	c := NewRecorder(RecorderOptions{})
	for i := range 100_000 { // all within one second
		c.Step(turned.Lift(measure.Stamp(i*10), 0), AtHeel)
	}
	assert.LessOrEqual(t, len(c.PreRoll()), maxPreRoll)
}
