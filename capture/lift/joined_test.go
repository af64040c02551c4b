package lift_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// A hand that looks for half lift on the closing flank, and rests on the way where the
// valve is all but shut, has turned through one opening; where the trace ends there it
// is none yet, and that is said. A base that slips and stays makes two of two.
func TestHalfLiftIsHunted(t *testing.T) {
	heel, past := leg{rest: 5}, []leg{{rest: 5}, {to: 200, speed: 40}, {rest: 5}, {to: 920, speed: 40}, {rest: 5}}
	hunted := []leg{{to: 720 + 1440 + 96, speed: 40}, {rest: 4}, {to: 720 + 1440 + 45, speed: 30}, {rest: 6}, {to: 720 + 1440 + 92, speed: 40}, {rest: 2}}
	for name, c := range map[string]struct {
		legs     []leg
		openings int
		partTurn bool
	}{
		"and turned on":  {append(append(append([]leg{}, past...), hunted...), leg{to: 720 + 1440 + 200, speed: 40}, heel), 4, false},
		"and left there": {append(append([]leg{}, past...), hunted...), 3, true},
		"turned on, at first": {[]leg{{rest: 6}, {to: 96, speed: 40}, {rest: 4}, {to: 45, speed: 30}, {rest: 6}, {to: 92, speed: 40}, {rest: 8},
			{to: 200, speed: 40}, heel, {to: 920, speed: 40}, heel}, 2, false},
	} {
		for _, encoder := range []bool{false, true} {
			tr := turned(-200, 50, c.legs...)
			if !encoder {
				tr = withoutAngles(tr)
			}
			f, err := lift.Analyse(tr, lift.Options{})
			require.NoError(t, err)
			require.Len(t, f.Openings, c.openings, "%s, encoder %v", name, encoder)
			for _, o := range f.Openings {
				assert.InDelta(t, 10, o.MaxLift.Millimetres(), 0.015, "%s, encoder %v", name, encoder)
			}
			assert.Equal(t, c.partTurn, faults(f, lift.PartTurn) == 1, "%s, encoder %v: %v", name, encoder, f.Faults)
			assert.Zero(t, faults(f, lift.ZeroShift)+faults(f, lift.NotCounted)+faults(f, lift.NoRepeat), "%s, encoder %v: %v", name, encoder, f.Faults)
		}
	}
	slipped := from(5+400./40+5+520./40+120./40, withoutAngles(turned(-200, 50, append(past, leg{to: 1640, speed: 40}, heel)...)),
		func(r measure.Reading, _ measure.Length) measure.Length { return r.Lift + 300*measure.Micrometre })
	f, err := lift.Analyse(slipped, lift.Options{})
	require.NoError(t, err)
	assert.Len(t, f.Openings, 3)
	assert.Equal(t, 1, faults(f, lift.ZeroShift))
}

// A lifter that bleeds down under a hand that never pauses shows without an encoder in
// the closing ramp alone, which is cut short: what it takes off the nose is in the ±. Of
// a lifter that stands nothing is added.
func TestBleedingWithoutAPause(t *testing.T) {
	for _, pace := range []float64{0, 0.03, 0.06, 0.1} { // mm a second
		tr := withoutAngles(turned(-200, 100, leg{rest: 3}, leg{to: 200, speed: 60}, leg{rest: 3}, leg{to: 920, speed: 60}, leg{rest: 3}))
		for i := range tr.Readings {
			r := &tr.Readings[i]
			open := 0.0
			for _, began := range []float64{3 + 80./60, 6 + 800./60} {
				if since := r.At.Seconds() - began; since > 0 && since < 240./60 {
					open = since
				}
			}
			sunk := measure.Length(1e6 * pace * open)
			r.Lift = max(r.Lift-sunk, 0) / 10_000 * 10_000
		}
		f, err := lift.Analyse(tr, lift.Options{})
		require.NoError(t, err)
		require.Len(t, f.Openings, 2, "%v mm/s", pace)
		off := 10 - f.MaxLift.Millimetres()
		assert.InDelta(t, 2*pace, off, 0.02, "%v mm/s", pace) // two seconds to the nose
		if pace == 0 {
			assert.Less(t, f.MaxLiftU.Millimetres(), 0.03)
			continue
		}
		assert.GreaterOrEqual(t, f.MaxLiftU.Millimetres(), off, "%v mm/s", pace)
		assert.Less(t, f.MaxLiftU.Millimetres(), 5*off, "%v mm/s", pace)
	}
}

// A crank that goes slowly passes few counts of a coarse encoder from one reading to the
// next. That says nothing of a delay of the two ports where there is none.
func TestCoarseEncoderTellsNoDelay(t *testing.T) {
	for _, count := range []float64{0.5, 1, 2} {
		for _, rate := range []float64{10, 20, 40} {
			legs := []leg{{rest: 3}}
			for i, to := 0, -190.0; to <= 920; i, to = i+1, to+10 {
				legs = append(legs, leg{to: to, speed: []float64{7, 9, 13, 8, 10}[i%5]})
			}
			tr := turned(-200, rate, append(legs, leg{rest: 3})...)
			for i := range tr.Readings {
				r := &tr.Readings[i]
				r.Angle = measure.FromDegrees(math.Floor(r.Angle.Degrees()/count) * count)
			}
			f, err := lift.Analyse(tr, lift.Options{})
			require.NoError(t, err)
			require.Len(t, f.Openings, 2)
			assert.Zero(t, faults(f, lift.SlowGauge)+faults(f, lift.LatePort), "%v degrees, %v a second: %v", count, rate, f.Drive)
			if d := f.Drive; d != nil {
				assert.LessOrEqual(t, math.Abs(d.Delay.Seconds()), d.DelayU.Seconds(), "%v degrees, %v a second", count, rate)
			}
		}
	}
}

// A valve that hangs open snaps home from where the zero makes the heel a 25th of it:
// nobody switched the unit.
func TestHomeIsNoOtherUnit(t *testing.T) {
	tr := turned(-200, 50, leg{rest: 5}, leg{to: 200, speed: 40}, leg{rest: 5}, leg{to: 920, speed: 40}, leg{rest: 5}, leg{to: 1640, speed: 40}, leg{rest: 5})
	hung := false
	for i := range tr.Readings {
		r := &tr.Readings[i]
		if at := r.At.Seconds() - (5 + 400./40 + 5 + 520./40); at > 0 && at < 6 && r.Lift < 7_620_000-300_000 {
			hung = true
			r.Lift = 7_320_000
		}
		r.Lift += 300_000
	}
	require.True(t, hung) // at 7.62 mm, and home at 0.3
	for _, tr := range []measure.Trace{tr, withoutAngles(tr)} {
		f, err := lift.Analyse(tr, lift.Options{})
		require.NoError(t, err)
		assert.Zero(t, faults(f, lift.UnitChange), "%v", f.Faults)
		assert.GreaterOrEqual(t, len(f.Openings), 2)
		for _, o := range f.Openings {
			assert.InDelta(t, 10, o.MaxLift.Millimetres(), 0.02)
		}
	}
}

// An indicator that is silent on the heel leaves an angle that starts again after each
// turn without its turns there: openings 360 degrees apart are no fault then. Where the
// angle is counted on, they are.
func TestTurnsThatNobodyCounted(t *testing.T) {
	heel := leg{rest: 3}
	tr := turned(-200, 50, heel, leg{to: 200, speed: 60}, heel, leg{to: 920, speed: 60}, heel, leg{to: 1640, speed: 60}, heel, leg{to: 2360, speed: 60}, heel)
	silent, counted := tr, tr
	silent.Readings, counted.Readings = nil, nil
	for i, r := range tr.Readings {
		if i > 0 && r.Lift == tr.Readings[i-1].Lift {
			continue
		}
		counted.Readings = append(counted.Readings, r)
		r.Angle = measure.FromDegrees(math.Mod(r.Angle.Degrees()+360, 360))
		silent.Readings = append(silent.Readings, r)
	}
	f, err := lift.Analyse(silent, lift.Options{})
	require.NoError(t, err)
	assert.Len(t, f.Openings, 4)
	assert.Zero(t, faults(f, lift.NoRepeat)+faults(f, lift.EncoderCounts)+faults(f, lift.EncoderSlip)+faults(f, lift.Gap), "%v", f.Faults)
	for i := range counted.Readings { // an encoder that lost counts between two openings
		if r := &counted.Readings[i]; r.At.Seconds() > 3+400./60+3+360./60 {
			r.Angle -= 250 * measure.Degree
		}
	}
	f, err = lift.Analyse(counted, lift.Options{})
	require.NoError(t, err)
	assert.Positive(t, faults(f, lift.NoRepeat)+faults(f, lift.EncoderCounts)+faults(f, lift.EncoderSlip), "%v", f.Faults)
}

// An encoder that slips in an opening whose heel moved, so that the fit of the drive
// leaves it out, is told all the same, and the angle's uncertainty holds the difference.
func TestAnglesOfOpeningsAgree(t *testing.T) {
	heel := leg{rest: 5}
	tr := turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel, leg{to: 1640, speed: 40}, heel)
	nose := 5 + 400./40 + 5 + 720./40 + 5 + 520./40
	for i := range tr.Readings {
		r := &tr.Readings[i]
		if r.At.Seconds() > nose-0.5 {
			r.Angle += 14 * measure.Degree
		}
		if r.At.Seconds() > nose+1 {
			r.Lift += 80 * measure.Micrometre
		}
	}
	f, err := lift.Analyse(tr, lift.Options{})
	require.NoError(t, err)
	require.Len(t, f.Openings, 3)
	assert.Positive(t, faults(f, lift.NoRepeat)+faults(f, lift.EncoderSlip), "%v", f.Faults)
	closing := f.Openings[2].ClosingHalf
	off := (*closing.Angle - *f.Openings[0].ClosingHalf.Angle).Degrees() - 1440
	assert.InDelta(t, 14, off, 1)
	assert.GreaterOrEqual(t, closing.AngleU.Degrees(), math.Abs(off)-0.5)
	assert.Less(t, f.Openings[0].ClosingHalf.AngleU.Degrees(), 5.0)
}
