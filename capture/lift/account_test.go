package lift_test

import (
	"math"
	"slices"
	"strings"
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

// aside moves the zero of a trace.
func aside(tr measure.Trace, by measure.Length) measure.Trace {
	return from(0, tr, func(r measure.Reading, _ measure.Length) measure.Length { return r.Lift + by })
}

// coarse rounds the readings of a trace to a step.
func coarse(tr measure.Trace, step measure.Length) measure.Trace {
	return from(0, tr, func(r measure.Reading, _ measure.Length) measure.Length { return (r.Lift + step/2) / step * step })
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
		{"the unit is switched on the heel of a coarse indicator",
			coarse(from(secondNose-8, aside(three, 4*measure.Millimetre), func(r measure.Reading, _ measure.Length) measure.Length { return r.Lift / 254 * 10 }), 25_400), 3, lift.UnitChange},
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

// A recorder that counts its rows closes up a gap. With an encoder the crank has then gone
// over a lobe without an opening, also behind the last one.
func TestALobeThatTheCrankWentOverIsMissed(t *testing.T) {
	heel := leg{rest: 5}
	tr := turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel)
	const flank, rows = 5 + 400./40 + 5 + 440./40, 6 * 50 // of the second opening
	var closed []measure.Reading
	for _, r := range tr.Readings {
		if r.At.Seconds() < flank {
			closed = append(closed, r)
		}
	}
	n := len(closed)
	for i, r := range tr.Readings[n+rows:] {
		r.At = tr.Readings[n+i].At
		closed = append(closed, r)
	}
	tr.Readings = closed
	f, err := lift.Analyse(tr, lift.Options{})
	require.NoError(t, err)
	assert.Len(t, f.Openings, 1)
	var told []lift.FaultKind
	for _, x := range f.Faults {
		told = append(told, x.Kind)
		assert.InDelta(t, flank, x.At.Seconds(), 0.5)
	}
	assert.Equal(t, []lift.FaultKind{lift.NotCounted}, told)
}

// Without an encoder a trace that begins a little off its heel and goes over a nose, or
// rests where nobody looks at a rocker until it ends, is told: something slipped, or the
// tip is off the valve. One that begins well up the lobe says so.
func TestWhereATraceBeginsAndEnds(t *testing.T) {
	heel := leg{rest: 5}
	two := []leg{{to: 200, speed: 40}, heel, {to: 920, speed: 40}, heel}
	slips := func(r measure.Reading, _ measure.Length) measure.Length { return r.Lift - 9*measure.Millimetre/10 }
	for name, c := range map[string]struct {
		trace    measure.Trace
		openings int
		told     []lift.FaultKind
	}{
		"sound":                               {turned(-200, 50, append([]leg{heel}, two...)...), 2, nil},
		"the base slips in the first opening": {from(9, turned(-200, 50, append([]leg{heel}, two...)...), slips), 1, []lift.FaultKind{lift.NotCounted}},
		"a value is preset behind it, on the heel": {from(18, turned(-200, 10, append([]leg{{rest: 3}}, two...)...), func(r measure.Reading, _ measure.Length) measure.Length {
			return r.Lift - 3*measure.Millimetre
		}), 1, []lift.FaultKind{lift.NotCounted}},
		"it begins well up the lobe": {turned(-40, 50, append([]leg{heel}, two...)...), 1, []lift.FaultKind{lift.PartTurn}},
		"it begins there, and the base slips in the next opening": {from(27, turned(-40, 50, append([]leg{heel, {to: 200, speed: 40}, heel, {to: 920, speed: 40}, heel}, leg{to: 1640, speed: 40}, heel)...), func(r measure.Reading, _ measure.Length) measure.Length {
			return r.Lift - 13*measure.Millimetre/10
		}), 1, []lift.FaultKind{lift.NotCounted}},
		"it ends beside the nose": {turned(-200, 50, heel, two[0], heel, leg{to: 742, speed: 40}, leg{rest: 4}), 1, []lift.FaultKind{lift.NotCounted}},
		"it ends at half lift":    {turned(-200, 50, heel, two[0], heel, leg{to: 780, speed: 40}, leg{rest: 4}), 1, []lift.FaultKind{lift.PartTurn}},
		"it ends near the nose":   {turned(-200, 50, heel, two[0], heel, leg{to: 695, speed: 40}, leg{rest: 5}), 1, []lift.FaultKind{lift.PartTurn}},
		"it ends past the nose":   {turned(-200, 50, heel, two[0], heel, leg{to: 727, speed: 40}, leg{rest: 5}), 1, []lift.FaultKind{lift.PartTurn}},
		"it ends on the foot":     {turned(-200, 50, heel, two[0], heel, leg{to: 630, speed: 40}, leg{rest: 5}), 1, nil},
	} {
		f, err := lift.Analyse(withoutAngles(c.trace), lift.Options{})
		require.NoError(t, err)
		assert.Len(t, f.Openings, c.openings, name)
		var told []lift.FaultKind
		for _, x := range f.Faults {
			told = append(told, x.Kind)
		}
		assert.Equal(t, c.told, told, name)
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

// A base that slips once between openings that all come home is no spindle that sticks.
func TestASlipIsNoSpindleThatSticks(t *testing.T) {
	heel := leg{rest: 5}
	three := withoutAngles(turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel, leg{to: 1640, speed: 40}, heel))
	const secondNose = 5 + 400./40 + 5 + 520./40
	f, err := lift.Analyse(from(secondNose, three, func(r measure.Reading, _ measure.Length) measure.Length { return r.Lift + 30*measure.Micrometre }), lift.Options{Resolution: 10 * measure.Micrometre})
	require.NoError(t, err)
	require.Len(t, f.Openings, 3)
	assert.Equal(t, 1, faults(f, lift.ZeroShift), "%v", f.Faults)
	assert.Zero(t, faults(f, lift.Sticking), "%v", f.Faults)
}

// A heel that stands higher behind the nose than before it is left high and come home to low
// where the engine is turned back: no spindle sticks. One that stays where it came home to does.
func TestALobeTurnedBackIsNoSpindleThatSticks(t *testing.T) {
	heel := leg{rest: 3}
	fine := func(tr measure.Trace, high func(r measure.Reading) bool) measure.Trace {
		return from(0, tr, func(r measure.Reading, _ measure.Length) measure.Length {
			y := measure.Length(math.Round(lobe(r.Angle.Degrees())*1000)) * measure.Micrometre
			if high(r) {
				y += 4 * measure.Micrometre
			}
			return y
		})
	}
	back := fine(turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: -200, speed: 40}, heel, leg{to: 200, speed: 40}, heel),
		func(r measure.Reading) bool { return r.Angle > 0 })
	sticks := fine(turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel),
		func(r measure.Reading) bool { return r.At > 8*measure.Second })
	for want, tr := range []measure.Trace{back, sticks} {
		f, err := lift.Analyse(tr, lift.Options{Resolution: measure.Micrometre})
		require.NoError(t, err)
		require.Len(t, f.Openings, 3-want)
		assert.Equal(t, want, faults(f, lift.Sticking), "%v", f.Faults)
	}
}

// Readings that come and count for nothing are no silence.
func TestReadingsThatDoNotCountAreNoSilence(t *testing.T) {
	heel := leg{rest: 5}
	two := withoutAngles(turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel))
	wild := from(20, two, func(r measure.Reading, _ measure.Length) measure.Length {
		if r.At.Seconds() > 22.5 {
			return r.Lift
		}
		return r.Lift + 600*measure.Millimetre
	})
	silent := two
	silent.Readings = nil
	for _, r := range two.Readings {
		if s := r.At.Seconds(); s < 20 || s > 22.5 {
			silent.Readings = append(silent.Readings, r)
		}
	}
	for kind, tr := range map[lift.FaultKind]measure.Trace{lift.Misread: wild, lift.Gap: silent} {
		f, err := lift.Analyse(tr, lift.Options{})
		require.NoError(t, err)
		assert.Positive(t, faults(f, kind), "%v: %v", kind, f.Faults)
		for _, x := range f.Faults {
			assert.Equal(t, kind == lift.Gap, x.Kind == lift.Gap, "%v: %v", x.Kind, x.Says)
		}
	}
}

// A spring that throws the cam past its nose takes the valve home between two readings:
// that is an opening like any other, whether or not the encoder's port is late, and
// nothing slipped.
func TestASpringThrowsTheCam(t *testing.T) {
	heel := leg{rest: 5}
	thrown := []leg{heel, {to: 30, speed: 40}, {rest: 1}, {to: 200, speed: 450}, heel, {to: 750, speed: 40}, {rest: 1}, {to: 920, speed: 450}, heel}
	for _, rate := range []float64{10, 15, 50, 200} {
		for _, encoder := range []bool{false, true} {
			tr := turned(-200, rate, thrown...)
			if !encoder {
				tr = withoutAngles(tr)
			}
			f, err := lift.Analyse(tr, lift.Options{})
			require.NoError(t, err)
			assert.Len(t, f.Openings, 2, "%v a second, encoder %v", rate, encoder)
			for _, o := range f.Openings {
				assert.InDelta(t, 10, o.MaxLift.Millimetres(), 0.015)
			}
			for _, x := range f.Faults {
				assert.Contains(t, []lift.FaultKind{lift.BackTurn, lift.TooFast}, x.Kind, "%v a second, encoder %v: %v", rate, encoder, x.Says)
			}
		}
	}
}

// A valve that does not quite come home between two noses makes one opening of them, which
// is told.
func TestTwoNosesInOneOpeningAreTold(t *testing.T) {
	heel := leg{rest: 5}
	two := withoutAngles(turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel))
	hangs := from(11, two, func(r measure.Reading, _ measure.Length) measure.Length {
		if r.At.Seconds() > 30 {
			return r.Lift
		}
		return max(r.Lift, 200*measure.Micrometre)
	})
	f, err := lift.Analyse(hangs, lift.Options{})
	require.NoError(t, err)
	require.Len(t, f.Openings, 1)
	assert.Equal(t, 1, faults(f, lift.NotCounted), "%v", f.Faults)
}

// A reading whose minus sign is never sent comes down to zero and goes up again as fast. One
// that rests on a heel at zero does not.
func TestAMinusSignThatIsNeverSentIsTold(t *testing.T) {
	heel := leg{rest: 5}
	two := turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel)
	folded := func(r measure.Reading, _ measure.Length) measure.Length { return r.Lift.Abs() }
	for _, encoder := range []bool{false, true} {
		whole := two
		if !encoder {
			whole = withoutAngles(two)
		}
		for _, heel := range []measure.Length{-4 * measure.Millimetre, -90 * measure.Micrometre} {
			f, err := lift.Analyse(from(0, aside(whole, heel), folded), lift.Options{})
			require.NoError(t, err)
			assert.Equal(t, 1, faults(f, lift.Misread), "heel at %v: %v", heel, f.Faults)
		}
		for _, heel := range []measure.Length{0, 90 * measure.Micrometre} {
			f, err := lift.Analyse(from(0, aside(whole, heel), folded), lift.Options{})
			require.NoError(t, err)
			assert.Empty(t, f.Faults)
			assert.Len(t, f.Openings, 2)
		}
	}
}

// An encoder that counts both ways as one goes on while the hand turns back. A true one
// goes back with it, also where the hand rocks over the nose.
func TestAnEncoderThatCountsOneWayIsTold(t *testing.T) {
	heel := leg{rest: 5}
	rocks := turned(-200, 50, heel, leg{to: -40, speed: 40}, leg{to: -75, speed: 30}, leg{to: 15, speed: 40}, leg{to: -15, speed: 30}, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel)
	f, err := lift.Analyse(rocks, lift.Options{})
	require.NoError(t, err)
	assert.Zero(t, faults(f, lift.EncoderCounts), "%v", f.Faults)
	oneWay := rocks
	oneWay.Readings = append([]measure.Reading(nil), rocks.Readings...)
	for i := 1; i < len(rocks.Readings); i++ {
		by := rocks.Readings[i].Angle - rocks.Readings[i-1].Angle
		oneWay.Readings[i].Angle = oneWay.Readings[i-1].Angle + max(by, -by)
	}
	f, err = lift.Analyse(oneWay, lift.Options{})
	require.NoError(t, err)
	assert.Positive(t, faults(f, lift.EncoderCounts), "%v", f.Faults)
}

// With an encoder a reading that stands still at the trace's end, while the crank goes on
// past where the other openings came home, is told, wherever it stands.
func TestAReadingThatStaysBehindTheCrankIsTold(t *testing.T) {
	heel := leg{rest: 5}
	two := turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 900, speed: 40}, leg{rest: 1})
	const secondNose = 5 + 400./40 + 5 + 520./40
	f, err := lift.Analyse(two, lift.Options{})
	require.NoError(t, err)
	require.Len(t, f.Openings, 2)
	assert.Empty(t, f.Faults)
	f, err = lift.Analyse(from(secondNose, two, func(_ measure.Reading, first measure.Length) measure.Length { return first }), lift.Options{})
	require.NoError(t, err)
	assert.Positive(t, faults(f, lift.NotCounted), "%v", f.Faults)
}

// A heel that comes back a little elsewhere on a fine gauge, and stays there, may be a spindle
// that sticks, or a stand with play: its lift is as much too low, and the ± holds it.
func TestPlayOnAFineGaugeIsInTheUncertainty(t *testing.T) {
	heel := leg{rest: 5}
	two := withoutAngles(turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel))
	const by = 22 * measure.Micrometre
	plays := from(10, two, func(r measure.Reading, _ measure.Length) measure.Length { return r.Lift + by })
	f, err := lift.Analyse(plays, lift.Options{Resolution: measure.Micrometre})
	require.NoError(t, err)
	require.Len(t, f.Openings, 2)
	for _, o := range f.Openings {
		assert.GreaterOrEqual(t, o.MaxLiftU, by)
	}
	assert.Equal(t, 1, faults(f, lift.Sticking), "%v", f.Faults)
}

// With an encoder a valve that meets a spindle on its way, faster than a ramp lifts, tells
// that it hung free; without one the ± holds it, or the flanks tell.
func TestASpindleThatHangsFreeIsToldByItsSlope(t *testing.T) {
	heel := leg{rest: 5}
	two := turned(-200, 50, heel, leg{to: 200, speed: 20}, heel, leg{to: 920, speed: 20}, heel)
	const by = 800 * measure.Micrometre
	hangs := from(0, two, func(r measure.Reading, _ measure.Length) measure.Length { return max(r.Lift-by, 0) })
	for name, tr := range map[string]measure.Trace{"with": hangs, "without": withoutAngles(hangs)} {
		f, err := lift.Analyse(tr, lift.Options{})
		require.NoError(t, err)
		require.Len(t, f.Openings, 2)
		told := faults(f, lift.NoContact)
		if name == "with" {
			assert.Equal(t, 1, told, "%v", f.Faults)
		}
		assert.True(t, told == 1 || f.MaxLiftU >= by, "%s an encoder: ± %v", name, f.MaxLiftU)
	}
	f, err := lift.Analyse(two, lift.Options{})
	require.NoError(t, err)
	assert.Empty(t, f.Faults)
	assert.Less(t, f.MaxLiftU, 20*measure.Micrometre)
}

// A spindle that is pressed against the end of its travel follows with a part of the way:
// both flanks bend at one level, which is told. A hand that rests there is none.
func TestASoftStopIsTold(t *testing.T) {
	heel := leg{rest: 5}
	three := turned(-200, 100, heel, leg{to: 200, speed: 20}, heel, leg{to: 920, speed: 20}, heel, leg{to: 1640, speed: 20}, heel)
	rests := turned(-200, 100, heel, leg{to: -20, speed: 20}, leg{rest: 8}, leg{to: 200, speed: 20}, heel, leg{to: 740, speed: 20}, leg{rest: 8}, leg{to: 920, speed: 20}, heel, leg{to: 1640, speed: 20}, heel)
	const stop = 9 * measure.Millimetre
	presses := from(0, three, func(r measure.Reading, _ measure.Length) measure.Length {
		return min(r.Lift, stop) + max(r.Lift-stop, 0)/5
	})
	for _, encoder := range []bool{false, true} {
		for told, tr := range map[int]measure.Trace{0: rests, 1: presses} {
			if !encoder {
				tr = withoutAngles(tr)
			}
			f, err := lift.Analyse(tr, lift.Options{})
			require.NoError(t, err)
			require.Len(t, f.Openings, 3)
			assert.Equal(t, told, faults(f, lift.TravelEnd), "encoder %v: %v", encoder, f.Faults)
		}
	}
}

// A lobe has its middle at one angle whichever way it is turned: an encoder that changes its
// direction on the way is told, an engine that is turned back through an opening is not.
func TestAnEncoderThatChangesItsDirectionIsTold(t *testing.T) {
	heel := leg{rest: 2}
	on := turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel)
	back := turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: -200, speed: 40}, heel)
	swapped := on
	swapped.Readings = slices.Clone(on.Readings)
	from := len(on.Readings) * 2 / 5
	at := on.Readings[from].Angle
	for i := from; i < len(swapped.Readings); i++ {
		swapped.Readings[i].Angle = 2*at - swapped.Readings[i].Angle
	}
	for name, c := range map[string]struct {
		trace measure.Trace
		told  int
	}{"turned on": {on, 0}, "turned back through it": {back, 0}, "the encoder's wires are swapped": {swapped, 1}} {
		f, err := lift.Analyse(c.trace, lift.Options{})
		require.NoError(t, err)
		require.Len(t, f.Openings, 2, name)
		assert.Equal(t, c.told, faults(f, lift.EncoderSlip), "%s: %v", name, f.Faults)
	}
}

// One bit of the figure that is never one leaves out every other stretch of lifts: that is
// told, once, and of a whole figure nothing is.
func TestABitThatIsStuckIsTold(t *testing.T) {
	heel := leg{rest: 2}
	whole := turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel)
	const bit = 64
	stuck := from(0, whole, func(r measure.Reading, _ measure.Length) measure.Length {
		n := r.Lift / 10_000
		return n &^ bit * 10_000
	})
	for told, tr := range map[bool]measure.Trace{false: whole, true: stuck} {
		f, err := lift.Analyse(tr, lift.Options{})
		require.NoError(t, err)
		says := slices.ContainsFunc(f.Faults, func(x lift.Fault) bool {
			return x.Kind == lift.Misread && strings.Contains(x.Says.String(), "every other stretch of 0.64 mm")
		})
		assert.Equal(t, told, says, "%v", f.Faults)
	}
}

// Somebody who rests on the only nose of a trace for minutes has turned no heel into a nose.
func TestALongRestOnTheOnlyNose(t *testing.T) {
	tr := withoutAngles(turned(-200, 20, leg{rest: 6}, leg{to: 5, speed: 40}, leg{rest: 150}, leg{to: 200, speed: 40}, leg{rest: 3}))
	f, err := lift.Analyse(tr, lift.Options{})
	require.NoError(t, err)
	require.Len(t, f.Openings, 1)
	assert.InDelta(t, 10, f.Openings[0].MaxLift.Millimetres(), 0.01)
	assert.Empty(t, f.Faults)
}

// A file whose inches are read as millimetres shows no valve's lift anywhere.
func TestInchesReadAsMillimetresAreTold(t *testing.T) {
	heel := leg{rest: 5}
	inches := func(r measure.Reading, _ measure.Length) measure.Length { return r.Lift * 10 / 254 }
	for name, c := range map[string]struct {
		trace measure.Trace
		told  int
	}{
		"two openings":              {turned(-200, 50, heel, leg{to: 200, speed: 40}, heel, leg{to: 920, speed: 40}, heel), 1},
		"the engine was not turned": {turned(-200, 50, heel, heel), 0},
		"half of an opening":        {turned(-200, 50, heel, leg{to: -40, speed: 40}, heel), 0},
	} {
		for _, encoder := range []bool{true, false} {
			tr := from(0, c.trace, inches)
			if !encoder {
				tr = withoutAngles(tr)
			}
			f, err := lift.Analyse(tr, lift.Options{})
			require.NoError(t, err)
			assert.Empty(t, f.Openings, name)
			assert.Equal(t, c.told, faults(f, lift.UnitChange), "%s, encoder %v: %v", name, encoder, f.Faults)
		}
	}
}

// A heel that has moved before the valve opens is told.
func TestAHeelThatMovedBeforeTheValveOpens(t *testing.T) {
	tr := turned(-200, 50, leg{rest: 6}, leg{to: 200, speed: 40}, leg{rest: 6}, leg{to: 920, speed: 40}, leg{rest: 6})
	f, err := lift.Analyse(withoutAngles(from(5, tr, func(r measure.Reading, _ measure.Length) measure.Length { return r.Lift + 200*measure.Micrometre })), lift.Options{})
	require.NoError(t, err)
	require.Len(t, f.Openings, 2)
	assert.Positive(t, faults(f, lift.ZeroShift), "%v", f.Faults)
	for _, o := range f.Openings {
		assert.InDelta(t, 10, o.MaxLift.Millimetres(), 0.01)
	}
}

// A base that slips on one flank and back on the other leaves both heels alike. With an
// encoder that is told, and the ± holds it.
func TestABaseThatSlipsAndComesBack(t *testing.T) {
	tr := turned(-200, 50, leg{rest: 5}, leg{to: 200, speed: 20}, leg{rest: 5})
	const by = 300 * measure.Micrometre
	for i, r := range tr.Readings {
		if a := r.Angle.Degrees(); a > -60 && a < 70 {
			tr.Readings[i].Lift -= by
		}
	}
	f, err := lift.Analyse(tr, lift.Options{})
	require.NoError(t, err)
	require.Len(t, f.Openings, 1)
	assert.Equal(t, 1, faults(f, lift.Knock), "%v", f.Faults)
	off := (f.Openings[0].MaxLift - 10*measure.Millimetre).Abs()
	assert.InDelta(t, by.Millimetres(), off.Millimetres(), 0.01)
	assert.LessOrEqual(t, off, f.Openings[0].MaxLiftU)
}
