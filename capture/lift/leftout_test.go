package lift_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// The third opening goes to 10.2 mm instead of 10: its nose alone is pushed up,
// as by a rag under the spindle. The mean of two is that of these two, by hand.
func TestLeaveOut(t *testing.T) {
	for name, tr := range map[string]measure.Trace{
		"with encoder":    turned(-300, 200, leg{to: 360 + 720*2, speed: 60}),
		"without encoder": withoutAngles(turned(-300, 200, leg{to: 360 + 720*2, speed: 60})),
	} {
		t.Run(name, func(t *testing.T) {
			whole, err := lift.Analyse(tr, lift.Options{})
			require.NoError(t, err)
			require.Len(t, whole.Openings, 3)
			for i, r := range tr.Readings {
				if o := whole.Openings[2]; r.At >= o.Open && r.At <= o.Close {
					tr.Readings[i].Lift = r.Lift * 102 / 100
				}
			}
			bad, err := lift.Analyse(tr, lift.Options{})
			require.NoError(t, err)
			require.Greater(t, bad.Spread, 150*measure.Micrometre)

			o := bad.Openings[2]
			out := []lift.LeftOut{{From: o.Open, Until: o.Close, Why: "rag under the spindle"}}
			f, err := lift.Analyse(tr, lift.Options{LeaveOut: out})
			require.NoError(t, err)
			require.Len(t, f.Openings, 2)
			require.Len(t, f.LeftOut, 1)
			assert.Equal(t, "rag under the spindle", f.LeftOut[0].Why)
			assert.Equal(t, o.Nose, f.LeftOut[0].Opening.Nose)
			assert.InDelta(t, float64(f.Openings[0].MaxLift+f.Openings[1].MaxLift)/2, float64(f.MaxLift), 1)
			assert.InDelta(t, 10e6, float64(f.MaxLift), float64(f.MaxLiftU), "the lobe's own 10 mm")
			assert.Less(t, f.Spread, 20*measure.Micrometre)

			again, err := lift.Analyse(tr, lift.Options{})
			require.NoError(t, err)
			assert.Equal(t, bad, again, "taken back, all is as it was")

			for _, o := range bad.Openings[:2] {
				out = append(out, lift.LeftOut{From: o.Open, Until: o.Close})
			}
			f, err = lift.Analyse(tr, lift.Options{LeaveOut: out})
			require.NoError(t, err)
			assert.Empty(t, f.Openings)
			assert.Len(t, f.LeftOut, 3)
			require.Equal(t, 1, faults(f, lift.PartTurn))
			assert.Contains(t, f.Faults[len(f.Faults)-1].Says.String(), "was left out")

			rest := lift.Without(tr, out)
			assert.Less(t, len(rest.Readings), len(tr.Readings))
			for _, r := range rest.Readings {
				for _, l := range out {
					assert.False(t, l.From <= r.At && r.At <= l.Until)
				}
			}
		})
	}
}

// What is wrong with a struck opening alone is not told of the trace any more;
// what is wrong with another stays. The link was lost while the first was turned.
func TestLeaveOutTakesItsFaultsAlong(t *testing.T) {
	tr := turned(-300, 200, leg{to: 360 + 720, speed: 60})
	whole, err := lift.Analyse(tr, lift.Options{})
	require.NoError(t, err)
	require.Len(t, whole.Openings, 2)
	at := whole.Openings[0].Nose + 200*measure.Millisecond
	tr.Notes = []measure.Note{{At: at, Until: at + 4*measure.Millisecond, Kind: measure.NoteGap}}
	f, err := lift.Analyse(tr, lift.Options{})
	require.NoError(t, err)
	require.Len(t, f.Openings, 2)
	require.Equal(t, 1, faults(f, lift.Gap))
	for i, left := range []int{0, 1} {
		o := f.Openings[i]
		f, err := lift.Analyse(tr, lift.Options{LeaveOut: []lift.LeftOut{{From: o.Open, Until: o.Close}}})
		require.NoError(t, err)
		assert.Equal(t, left, faults(f, lift.Gap), "opening %d left out", i+1)
	}
}

// Whichever opening of a sound trace is struck, no fault comes of it: between the two
// beside it the engine turned two cycles, and the encoder counted them.
func TestLeaveOutMakesNoFault(t *testing.T) {
	const step = 12_700 // nm, of an indicator of half a thou: noses that are measured again, with the others' beside them
	for _, rate := range []float64{25, 50, 200} {
		for _, more := range []float64{1, 2, 3, 4} {
			tr := turned(-300, rate, leg{to: 360 + 720*more, speed: 60})
			for i, r := range tr.Readings {
				tr.Readings[i].Lift = measure.Length(math.Round(float64(r.Lift)/step)) * step
			}
			whole, err := lift.Analyse(tr, lift.Options{})
			require.NoError(t, err)
			require.Len(t, whole.Openings, int(more)+1)
			require.Empty(t, whole.Faults)
			for i, o := range whole.Openings {
				f, err := lift.Analyse(tr, lift.Options{LeaveOut: []lift.LeftOut{{From: o.Open, Until: o.Close}}})
				require.NoError(t, err)
				assert.Empty(t, f.Faults, "opening %d of %d left out, %v readings a second", i+1, len(whole.Openings), rate)
			}
		}
	}
}
