package lift_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// onChange returns what an instrument sends of a trace that sends a row when its lift
// changes, one each second as a sign of life, and where crank is said, a row of the crank
// alone when that has gone on by so much.
func onChange(tr measure.Trace, life measure.Stamp, crank measure.Angle) measure.Trace {
	out := tr
	out.Readings = nil
	var last measure.Reading
	var told measure.Angle
	for i, r := range tr.Readings {
		by := max(r.Angle-told, told-r.Angle)
		switch {
		case i == 0 || r.Lift != last.Lift || life > 0 && r.At-last.At >= life:
			last = r
		case crank > 0 && by >= crank:
			r.Has, r.Lift = measure.HasAngle, 0
		default:
			continue
		}
		told = r.Angle
		out.Readings = append(out.Readings, r)
	}
	return out
}

// without returns a trace without what came between two moments, seconds.
func without(tr measure.Trace, from, until float64, lost func(r measure.Reading) (measure.Reading, bool)) measure.Trace {
	out := tr
	out.Readings = nil
	for _, r := range tr.Readings {
		kept := r.At.Seconds() <= from || r.At.Seconds() >= until
		if !kept {
			r, kept = lost(r)
		}
		if kept {
			out.Readings = append(out.Readings, r)
		}
	}
	return out
}

func all(r measure.Reading) (measure.Reading, bool) { return r, false }

// liftOf loses the lift and leaves the crank.
func liftOf(r measure.Reading) (measure.Reading, bool) {
	has := r.Has & measure.HasAngle
	r.Has, r.Lift = has, 0
	return r, has != 0
}

// An instrument that speaks on change is silent while nothing moves, and of the lift while
// that stands still and the crank goes on: on the heel, for many seconds. No link was lost.
// One that was lost is told where the lift is another after it, where the crank went on in
// it, and where the crank went past a lobe.
func TestSilenceOfAnInstrumentThatSpeaksOnChange(t *testing.T) {
	tr := turned(-200, 50, leg{rest: 6}, leg{to: -60, speed: 40}, leg{rest: 4}, leg{to: 400, speed: 40}, leg{rest: 3}, leg{to: 1640, speed: 40}, leg{rest: 6})
	const nose1 = 6 + 200./40 + 4
	const nose2 = nose1 + 400./40 + 3 + 320./40
	for name, c := range map[string]struct {
		life  measure.Stamp
		crank measure.Angle
	}{
		"nothing else":                       {0, 0},
		"a sign of life each second":         {1010 * measure.Millisecond, 0},
		"the crank, too":                     {0, measure.Degree},
		"the crank, too, and a sign of life": {1010 * measure.Millisecond, measure.Degree},
	} {
		for _, encoder := range []bool{false, true} {
			sent := onChange(tr, c.life, c.crank)
			if !encoder && c.crank > 0 {
				continue
			} else if !encoder {
				sent = withoutAngles(sent)
			}
			gaps := func(tr measure.Trace) (finished, live int) {
				f, err := lift.Analyse(tr, lift.Options{})
				require.NoError(t, err)
				require.NotEmpty(t, f.Openings, "%s, encoder %v", name, encoder)
				g := lift.NewSegmenter(lift.Options{})
				for _, r := range tr.Readings {
					g.Step(r)
					for _, n := range g.Take(nil) {
						if n.Fault != nil && n.Fault.Kind == lift.Gap {
							live++
						}
					}
				}
				return faults(f, lift.Gap), live
			}
			finished, live := gaps(sent)
			assert.Zero(t, finished, "%s, encoder %v", name, encoder)
			assert.Zero(t, live, "%s, encoder %v, as it comes", name, encoder)
			finished, live = gaps(without(sent, nose2-2, nose2-0.5, all))
			assert.Equal(t, 1, finished, "lost on a flank: %s, encoder %v", name, encoder)
			assert.Equal(t, 1, live, "lost on a flank: %s, encoder %v, as it comes", name, encoder)
			told := func(from, until float64, lost func(measure.Reading) (measure.Reading, bool), says string) {
				finished, _ := gaps(without(sent, from, until, lost))
				assert.Equal(t, 1, finished, "%s: %s, encoder %v", says, name, encoder)
			}
			if encoder {
				told(nose2-5, nose2+5, all, "a lobe was lost")
				told(nose2-5, nose2+5, liftOf, "the lift of a lobe was lost")
			}
			if c.life > 0 {
				told(nose2-5, nose2+5, all, "no sign of life came")
			}
			if c.crank > 0 {
				told(nose1+5, nose1+8, all, "the crank went on")
			}
		}
	}
}

// Where an instrument that speaks on change is silent, the valve stands, and the longest
// silence is the heel: the openings are those that one finds which speaks all the time, also
// with a hand so slow that most of what is sent comes from the ramps. Max lift is the same to
// half a count and something.
func TestTheHeelOfAnInstrumentThatSpeaksOnChange(t *testing.T) {
	for name, legs := range map[string][]leg{
		"slowly":                    {{rest: 8}, {to: 200, speed: 12}, {rest: 8}, {to: 920, speed: 12}, {rest: 8}, {to: 1640, speed: 12}, {rest: 8}},
		"with a rest near the heel": {{rest: 8}, {to: -88, speed: 30}, {rest: 3}, {to: 200, speed: 30}, {rest: 8}, {to: 632, speed: 30}, {rest: 3}, {to: 920, speed: 30}, {rest: 8}},
		"long rests":                {{rest: 150}, {to: 200, speed: 40}, {rest: 150}, {to: 920, speed: 40}, {rest: 150}},
	} {
		all := withoutAngles(turned(-200, 50, legs...))
		want, err := lift.Analyse(all, lift.Options{})
		require.NoError(t, err)
		got, err := lift.Analyse(onChange(all, 0, 0), lift.Options{})
		require.NoError(t, err)
		require.Len(t, got.Openings, len(want.Openings), name)
		require.NotEmpty(t, want.Openings, name)
		for i, o := range got.Openings {
			assert.InDelta(t, want.Openings[i].MaxLift.Millimetres(), o.MaxLift.Millimetres(), 0.006, "%s, opening %d", name, i)
			assert.InDelta(t, want.Openings[i].OpeningHalf.At.Seconds(), o.OpeningHalf.At.Seconds(), 0.02, name)
		}
		assert.Equal(t, want.Faults, got.Faults, name)
	}
}
