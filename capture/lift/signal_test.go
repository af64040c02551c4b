package lift_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// hand moves a crank by a script: each leg turns to an angle at a speed, or
// rests for seconds where it is.
type leg struct{ to, speed, rest float64 }

// lobe is a 3-4-5 lobe of 10 mm with its nose at 0 and flanks of 120 degrees,
// repeated each cycle.
func lobe(crank float64) float64 {
	crank -= 720 * math.Round(crank/720)
	x := min(max(1-math.Abs(crank)/120, 0), 1)
	return 10 * x * x * x * (10 + x*(-15+6*x))
}

// turned plays legs from an angle at a rate.
func turned(from, rate float64, legs ...leg) measure.Trace {
	var tr measure.Trace
	t, c := 0.0, from
	read := func(until float64, at func(t float64) float64) {
		for ; t < until; t += 1 / rate {
			c := at(t)
			tr.Readings = append(tr.Readings, measure.Reading{
				At: measure.Stamp(math.Round(t * 1e6)), Has: measure.HasLift | measure.HasAngle,
				Lift:  measure.Length(math.Round(lobe(c)*100)) * 10_000,
				Angle: measure.FromDegrees(math.Floor(c/0.15) * 0.15),
			})
		}
	}
	for _, l := range legs {
		if l.rest > 0 {
			read(t+l.rest, func(float64) float64 { return c })
			continue
		}
		t0, c0, way := t, c, 1.0
		if l.to < c {
			way = -1
		}
		read(t+math.Abs(l.to-c)/l.speed, func(t float64) float64 { return c0 + way*l.speed*(t-t0) })
		c = l.to
	}
	return tr
}

func withoutAngles(t measure.Trace) measure.Trace {
	r := make([]measure.Reading, len(t.Readings))
	for i, x := range t.Readings {
		x.Has, x.Angle = measure.HasLift, 0
		r[i] = x
	}
	t.Readings = r
	return t
}

func TestHands(t *testing.T) {
	heel := leg{rest: 2}
	for name, c := range map[string]struct {
		from     float64
		legs     []leg
		openings int
	}{
		"straight through":         {-200, []leg{heel, {to: 200, speed: 40}, heel}, 1},
		"a minute at half lift":    {-200, []leg{heel, {to: -60, speed: 40}, {rest: 60}, {to: 200, speed: 40}, heel}, 1},
		"a minute on the nose":     {-200, []leg{heel, {to: 2, speed: 40}, {rest: 60}, {to: 200, speed: 40}, heel, {rest: 9}}, 1},
		"a minute low on a flank":  {-200, []leg{heel, {to: 95, speed: 40}, {rest: 60}, {to: 200, speed: 40}, heel}, 1},
		"a minute on the heel":     {-200, []leg{heel, {to: 300, speed: 40}, {rest: 60}, {to: 920, speed: 40}, heel}, 2},
		"rocking about half lift":  {-200, []leg{heel, {to: 70, speed: 40}, {to: 50, speed: 20}, {to: 70, speed: 20}, {to: 45, speed: 20}, {rest: 5}, {to: 200, speed: 40}, heel}, 1},
		"rocking about the nose":   {-200, []leg{heel, {to: 15, speed: 40}, {to: -15, speed: 20}, {to: 15, speed: 20}, {to: -5, speed: 20}, {to: 200, speed: 40}, heel}, 1},
		"back-turns on both":       {-200, []leg{heel, {to: -60, speed: 40}, {to: -80, speed: 40}, {to: 60, speed: 40}, {to: 40, speed: 40}, {to: 200, speed: 40}, heel}, 1},
		"a back-turn off the heel": {-200, []leg{heel, {to: 118, speed: 40}, {to: 130, speed: 40}, {rest: 3}, {to: 110, speed: 40}, {to: 300, speed: 40}, heel}, 1},
		"a touch of the ramp":      {-200, []leg{heel, {to: -102, speed: 40}, {to: -150, speed: 40}, {rest: 1}, {to: 200, speed: 40}, heel}, 1},
		"two cycles":               {-200, []leg{heel, {to: 920, speed: 40}, heel}, 2},
		"from a rest on the nose":  {0, []leg{heel, {to: 920, speed: 40}, heel}, 1},
		"from the closing flank":   {60, []leg{heel, {to: 920, speed: 40}, heel}, 1},
		"from the opening flank":   {-60, []leg{heel, {to: 920, speed: 40}, heel}, 1},
		"up to the nose only":      {-200, []leg{heel, {to: 0, speed: 40}, heel}, 0},
		"never off the heel":       {-300, []leg{heel, {to: -150, speed: 40}, heel}, 0},
	} {
		for _, rate := range []float64{10, 50, 500} {
			for _, encoder := range []bool{true, false} {
				tr := turned(c.from, rate, c.legs...)
				if !encoder {
					tr = withoutAngles(tr)
				}
				f, err := lift.Analyse(tr, lift.Options{})
				require.NoError(t, err)
				if !assert.Len(t, f.Openings, c.openings, "%s at %v Hz, encoder %v", name, rate, encoder) {
					continue
				}
				for _, o := range f.Openings {
					assert.InDelta(t, 10, o.MaxLift.Millimetres(), 0.015, "%s at %v Hz", name, rate)
					assert.Less(t, o.Open, o.OpeningHalf.At)
					assert.Less(t, o.OpeningHalf.At, o.Nose)
					assert.Less(t, o.Nose, o.ClosingHalf.At)
					assert.Less(t, o.ClosingHalf.At, o.Close)
				}
				parts := 0
				for _, x := range f.Faults {
					if x.Kind == lift.PartTurn {
						parts++
					}
				}
				upTheLobe := c.from == -60 // it begins there, and goes over a nose that does not count
				assert.Equal(t, c.openings == 0 || upTheLobe, parts == 1, name)
			}
		}
	}
}

func TestDirectionIsFoundOrForced(t *testing.T) {
	tr := turned(-200, 50, leg{rest: 2}, leg{to: 920, speed: 40}, leg{rest: 2})
	out := tr
	out.Readings = nil
	for _, r := range tr.Readings {
		r.Lift = -r.Lift
		out.Readings = append(out.Readings, r)
	}
	for _, tr := range []measure.Trace{tr, out, withoutAngles(tr), withoutAngles(out)} {
		f, err := lift.Analyse(tr, lift.Options{})
		require.NoError(t, err)
		require.Len(t, f.Openings, 2)
		assert.InDelta(t, 10, f.MaxLift.Millimetres(), 0.01)
	}
	f, err := lift.Analyse(out, lift.Options{Sign: -1})
	require.NoError(t, err)
	assert.Len(t, f.Openings, 2)
}

func TestAnalyseRefusesOnlyWhatHasNoLift(t *testing.T) {
	_, err := lift.Analyse(measure.Trace{}, lift.Options{})
	require.ErrorIs(t, err, lift.ErrNoLift)
	_, err = lift.Analyse(measure.Trace{Readings: []measure.Reading{{At: 1, Angle: 5, Has: measure.HasAngle}}}, lift.Options{})
	require.ErrorIs(t, err, lift.ErrNoLift)
	f, err := lift.Analyse(measure.Trace{Readings: []measure.Reading{{At: 1, Lift: 5, Has: measure.HasLift}}}, lift.Options{})
	require.NoError(t, err)
	require.Len(t, f.Faults, 1)
	assert.Equal(t, lift.PartTurn, f.Faults[0].Kind)
}

// The trace is not changed.
func TestAnalyseLeavesItsInput(t *testing.T) {
	tr := turned(-200, 50, leg{rest: 2}, leg{to: 920, speed: 40}, leg{rest: 2})
	before := append([]measure.Reading(nil), tr.Readings...)
	_, err := lift.Analyse(tr, lift.Options{})
	require.NoError(t, err)
	assert.Equal(t, before, tr.Readings)
}

// fault returns the faults of a kind.
func faults(f lift.Findings, kind lift.FaultKind) (n int) {
	for _, x := range f.Faults {
		if x.Kind == kind {
			n++
		}
	}
	return n
}

func TestStreamFaults(t *testing.T) {
	tr := turned(-200, 50, leg{rest: 2}, leg{to: 70, speed: 40}, leg{rest: 2}, leg{to: 920, speed: 40}, leg{rest: 2})
	sound, err := lift.Analyse(tr, lift.Options{})
	require.NoError(t, err)
	require.Empty(t, sound.Faults)
	change := func(from float64, do func(r *measure.Reading, at0 measure.Length)) measure.Trace {
		out := tr
		out.Readings = append([]measure.Reading(nil), tr.Readings...)
		var at0 measure.Length
		for i := range out.Readings {
			if out.Readings[i].At.Seconds() >= from {
				if at0 == 0 {
					at0 = tr.Readings[i].Lift
				}
				do(&out.Readings[i], at0)
			}
		}
		return out
	}
	rest := 2 + 270.0/40 + 1 // while the hand rests on the closing flank

	zeroed, err := lift.Analyse(change(rest, func(r *measure.Reading, at0 measure.Length) { r.Lift -= at0 }), lift.Options{})
	require.NoError(t, err)
	assert.Equal(t, 1, faults(zeroed, lift.ReZero), "%v", zeroed.Faults)
	assert.Zero(t, faults(zeroed, lift.ZeroShift), "%v", zeroed.Faults)
	require.Len(t, zeroed.Openings, 2, "the openings are saved")
	assert.InDelta(t, 10, zeroed.MaxLift.Millimetres(), 0.015)

	switched, err := lift.Analyse(change(rest, func(r *measure.Reading, _ measure.Length) {
		r.Lift = measure.Length(math.Round(float64(r.Lift) * 25.4))
	}), lift.Options{})
	require.NoError(t, err)
	assert.Equal(t, 1, faults(switched, lift.UnitChange), "%v", switched.Faults)
	require.Len(t, switched.Openings, 2)
	assert.InDelta(t, 10, switched.MaxLift.Millimetres(), 0.015)

	slipped, err := lift.Analyse(change(rest, func(r *measure.Reading, _ measure.Length) { r.Lift += 150_000 }), lift.Options{})
	require.NoError(t, err)
	assert.Equal(t, 1, faults(slipped, lift.ZeroShift), "%v", slipped.Faults)
	require.Len(t, slipped.Openings, 2)

	var holed measure.Trace
	for _, r := range tr.Readings {
		if s := r.At.Seconds(); s < 4 || s > 6 {
			holed.Readings = append(holed.Readings, r)
		}
	}
	gap, err := lift.Analyse(holed, lift.Options{})
	require.NoError(t, err)
	assert.Equal(t, 1, faults(gap, lift.Gap), "%v", gap.Faults)
	noted := holed
	noted.Notes = []measure.Note{{At: 4_000_000, Until: 6_000_000, Kind: measure.NoteGap}}
	gap, err = lift.Analyse(noted, lift.Options{})
	require.NoError(t, err)
	assert.Equal(t, 1, faults(gap, lift.Gap), "a hole that a note tells is told once: %v", gap.Faults)

	for kind, note := range map[lift.FaultKind]measure.NoteKind{lift.UnitChange: measure.NoteUnitChange} {
		noted := tr
		noted.Notes = []measure.Note{{At: 3_000_000, Kind: note}}
		f, err := lift.Analyse(noted, lift.Options{})
		require.NoError(t, err)
		assert.Equal(t, 1, faults(f, kind))
		assert.Len(t, f.Openings, 2)
	}
}

// Five readings a second while the hand turns say nothing of a press on zero:
// the valve could have moved as far. The crank angle does say it.
func TestPressOnZeroBetweenSparseReadings(t *testing.T) {
	tr := turned(-200, 5, leg{rest: 4}, leg{to: 920, speed: 40}, leg{rest: 4})
	for i, r := range tr.Readings {
		if r.At.Seconds() > 4+230.0/40 {
			pressed := tr.Readings[i].Lift
			for k := i; k < len(tr.Readings); k++ {
				tr.Readings[k].Lift -= pressed
			}
			break
		}
	}
	f, err := lift.Analyse(tr, lift.Options{})
	require.NoError(t, err)
	assert.Equal(t, 1, faults(f, lift.ReZero), "%v", f.Faults)
	require.Len(t, f.Openings, 2)
	assert.InDelta(t, 10, f.Openings[1].MaxLift.Millimetres(), 0.03)
}

func TestBackTurnsAreTold(t *testing.T) {
	tr := turned(-200, 50, leg{rest: 2}, leg{to: -50, speed: 40}, leg{to: -68, speed: 40}, leg{to: 300, speed: 40}, leg{rest: 2})
	for _, tr := range []measure.Trace{tr, withoutAngles(tr)} {
		f, err := lift.Analyse(tr, lift.Options{})
		require.NoError(t, err)
		assert.Equal(t, 1, faults(f, lift.BackTurn), "%v", f.Faults)
	}
}

// A nose turned through at 700 degrees a second and read five times a second is
// not to be trusted, and that is said.
func TestTooFast(t *testing.T) {
	told := 0
	for phase := range 10 {
		tr := turned(-200-float64(phase)*7, 5, leg{rest: 4}, leg{to: 250, speed: 260}, leg{rest: 4})
		f, err := lift.Analyse(withoutAngles(tr), lift.Options{})
		require.NoError(t, err)
		told += faults(f, lift.TooFast)
		for _, o := range f.Openings {
			short := 10 - o.MaxLift.Millimetres()
			assert.LessOrEqual(t, math.Abs(short), max(0.05, 2*o.MaxLiftU.Millimetres()))
		}
	}
	assert.GreaterOrEqual(t, told, 8, "of 10")
}
