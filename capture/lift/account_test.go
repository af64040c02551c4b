package lift_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// from changes the readings that come after so many seconds.
func from(seconds float64, tr measure.Trace, change func(r measure.Reading, first measure.Length) measure.Length) measure.Trace {
	all := append([]measure.Reading(nil), tr.Readings...)
	var first *measure.Length
	for i, r := range all {
		if r.At.Seconds() < seconds {
			continue
		}
		if first == nil {
			first = &r.Lift
		}
		all[i].Lift = change(r, *first)
	}
	tr.Readings = all
	return tr
}

// What the valve did is an opening, or cut off by an end of the trace, or told.
func TestEveryExcursionIsAccountedFor(t *testing.T) {
	heel := leg{rest: 5}
	three := turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel, leg{to: 1640, speed: 40}, heel)
	const secondNose = 5 + 400./40 + 5 + 520./40
	none := lift.FaultKind("")
	for _, c := range []struct {
		name     string
		trace    measure.Trace
		openings int
		told     lift.FaultKind // without an encoder and with one; none: nothing
	}{
		{"sound", three, 3, none},
		{"ends on the closing flank", turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 780, speed: 40}), 1, none},
		{"ends at half lift, looking at the rocker", turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 780, speed: 40}, leg{rest: 5}), 1, none},
		{"ends where the valve is nearly home", turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 800, speed: 40}, leg{rest: 0.5}), 1, none},
		{"begins on the foot of the lobe", turned(-90, 50, leg{rest: 2}, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel), 1, none},
		{"the tip stands on something else from the second nose on",
			from(secondNose, three, func(_ measure.Reading, first measure.Length) measure.Length { return first - 3*measure.Millimetre }), 1, lift.NotCounted},
		{"the tip is off within the first opening, for good",
			from(9, three, func(_ measure.Reading, first measure.Length) measure.Length { return first + measure.Millimetre }), 0, lift.NotCounted},
		{"the unit is switched on the heel",
			from(secondNose-8, three, func(r measure.Reading, _ measure.Length) measure.Length { return r.Lift / 254 / 1000 * 10_000 }), 1, lift.UnitChange},
		{"the unit is switched on the heel, and the zero lies elsewhere",
			from(secondNose-6, three, func(r measure.Reading, _ measure.Length) measure.Length {
				return r.Lift/254/1000*10_000 + 300*measure.Micrometre
			}), 1, lift.UnitChange},
		{"the scale skips a pitch on the first flank",
			from(8, three, func(r measure.Reading, _ measure.Length) measure.Length { return r.Lift + 5*measure.Millimetre }), 2, lift.ZeroShift},
		{"the second nose is half a millimetre low, from the same heel",
			from(secondNose-3, three, func(r measure.Reading, _ measure.Length) measure.Length {
				if r.At.Seconds() > secondNose+3 {
					return r.Lift
				}
				return r.Lift * 95 / 100
			}), 3, lift.NoRepeat},
	} {
		for _, encoder := range []bool{false, true} {
			tr := c.trace
			if !encoder {
				tr = withoutAngles(tr)
			}
			f, err := lift.Analyse(tr, lift.Options{})
			require.NoError(t, err)
			assert.Len(t, f.Openings, c.openings, "%s, encoder %v", c.name, encoder)
			told := map[lift.FaultKind]bool{}
			for _, x := range f.Faults {
				if x.Kind != lift.PartTurn {
					told[x.Kind] = true
				}
			}
			if c.told == none {
				assert.Empty(t, told, "%s, encoder %v", c.name, encoder)
				continue
			}
			for i, o := range f.Openings { // or its uncertainty holds it
				if off := (o.MaxLift - 10*measure.Millimetre).Abs(); c.told == lift.NoRepeat && i == 1 && !told[c.told] {
					assert.GreaterOrEqual(t, o.MaxLiftU, off, c.name)
					told[c.told] = true
				}
			}
			assert.True(t, told[c.told], "%s, encoder %v: told %v", c.name, encoder, told)
		}
	}
}

// A hand that goes back from the nose to half lift, looks at the rocker there for
// longer than the heel lasted, and goes on over the nose, has turned no heel into a
// nose. A hand that rests long on each nose is told apart where the trace shows enough.
func TestDirectionIsPlain(t *testing.T) {
	for name, legs := range map[string][]leg{
		"back to half lift for half a minute": {{rest: 8}, {to: 10, speed: 40}, {to: -60, speed: 20}, {rest: 30}, {to: 200, speed: 40}, {rest: 3}, {to: 920, speed: 40}, {rest: 8}},
		"the same on the closing flank":       {{rest: 8}, {to: 60, speed: 40}, {rest: 30}, {to: -10, speed: 20}, {to: 200, speed: 40}, {rest: 3}, {to: 920, speed: 40}, {rest: 8}},
	} {
		for _, inverted := range []bool{false, true} {
			tr := withoutAngles(turned(-200, 50, legs...))
			if inverted {
				for i := range tr.Readings {
					tr.Readings[i].Lift *= -1
				}
			}
			f, err := lift.Analyse(tr, lift.Options{})
			require.NoError(t, err)
			require.Len(t, f.Openings, 2, "%s, inverted %v", name, inverted)
			want := 1
			if inverted {
				want = -1
			}
			assert.Equal(t, want, f.Sign, "%s, inverted %v", name, inverted)
			for _, o := range f.Openings {
				assert.InDelta(t, 10, o.MaxLift.Millimetres(), 0.015, name)
			}
		}
	}
}

// An indicator that sends a line only when its figure changes is silent while a hand
// rests: nothing is missing then. One that speaks all the time and stops has been cut off.
func TestSilentWhileItRests(t *testing.T) {
	all := withoutAngles(turned(-200, 50, leg{rest: 6}, leg{to: 60, speed: 30}, leg{rest: 9}, leg{to: 200, speed: 30}, leg{rest: 6}, leg{to: 920, speed: 30}, leg{rest: 6}))
	silent, cut := all, all
	silent.Readings, cut.Readings = nil, nil
	var rested measure.Stamp
	for i, r := range all.Readings {
		if i == 0 || r.Lift != all.Readings[i-1].Lift {
			silent.Readings = append(silent.Readings, r)
		}
		if i > 0 && r.Lift != all.Readings[i-1].Lift {
			rested = r.At
		}
		if r.At-rested < measure.Second || r.At.Seconds() < 10 || r.At.Seconds() > 25 {
			cut.Readings = append(cut.Readings, r)
		}
	}
	for name, c := range map[string]struct {
		trace measure.Trace
		gaps  int
	}{"it speaks when it moves": {silent, 0}, "it stopped speaking": {cut, 1}} {
		f, err := lift.Analyse(c.trace, lift.Options{})
		require.NoError(t, err)
		require.Len(t, f.Openings, 2, name)
		gaps := 0
		for _, x := range f.Faults {
			if x.Kind == lift.Gap {
				gaps++
			}
		}
		t.Logf("%s: %d of %d readings, %d gaps", name, len(c.trace.Readings), len(all.Readings), gaps)
		assert.Equal(t, c.gaps, gaps, name)
	}
}

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
	for i := range counted.Readings { // an encoder that lost half a cycle between two openings
		if r := &counted.Readings[i]; r.At.Seconds() > 3+400./60+3+360./60 {
			r.Angle -= 360 * measure.Degree
		}
	}
	f, err = lift.Analyse(counted, lift.Options{})
	require.NoError(t, err)
	assert.Positive(t, faults(f, lift.NoRepeat)+faults(f, lift.EncoderCounts)+faults(f, lift.EncoderSlip), "%v", f.Faults)
}
