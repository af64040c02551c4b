package lift_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// port is how an instrument on a port of its own speaks: at a rate, or only when what it
// measures has changed, and stamped late.
type port struct {
	rate, late float64
	onChange   bool
}

// says returns what a port says of a value in steps.
func (p port) says(until float64, value func(t float64) int64) (out []measure.Reading) {
	last := int64(math.MinInt64)
	for t := 0.0; t < until; t += 1 / p.rate {
		if v := value(t); v != last || !p.onChange {
			last = v
			out = append(out, measure.Reading{At: measure.Stamp(math.Round(1e6 * (t + p.late))), Lift: measure.Length(v)})
		}
	}
	return out
}

// uneven is the crank of a hand that is not: from 4 to 76 degrees a second.
func uneven(t float64) float64 {
	t = min(max(t-3, 0), 36)
	return -200 + 40*t + 10*math.Sin(1.6*t) + 5*math.Sin(4*t)
}

// apart are the readings of an indicator and of an encoder with counts of so many degrees,
// each on rows of its own; wrap: its angle starts again after each turn.
func apart(indicator, encoder port, count float64, wrap bool) (tr measure.Trace) {
	lifts := indicator.says(46, func(t float64) int64 { return int64(math.Round(lobe(uneven(t)) * 100)) })
	angles := encoder.says(46, func(t float64) int64 { return int64(math.Floor(uneven(t) / count)) })
	for _, r := range lifts {
		r.Lift, r.Has = 10*measure.Micrometre*r.Lift, measure.HasLift
		tr.Readings = append(tr.Readings, r)
	}
	for _, r := range angles {
		a := measure.FromDegrees(float64(r.Lift) * count)
		if wrap {
			a = a.Wrap(measure.Turn)
		}
		tr.Readings = append(tr.Readings, measure.Reading{At: r.At, Angle: a, Has: measure.HasAngle})
	}
	slices.SortStableFunc(tr.Readings, func(a, b measure.Reading) int { return cmp.Compare(a.At, b.At) })
	return tr
}

// The angles of an encoder that stands on rows of its own are what they are beside the lift,
// whatever the rates of the two, whoever speaks on change only, and whether the angle starts
// again after each turn; how late the one port is stands in their ± or is taken off. Half a
// count is the encoder's zero.
func TestLiftAndAngleOnRowsOfTheirOwn(t *testing.T) {
	worst, widest := 0.0, 0.0
	for _, c := range []struct{ indicator, encoder port }{
		{port{rate: 50}, port{rate: 50}},
		{port{rate: 50}, port{rate: 100}},
		{port{rate: 100}, port{rate: 20}},
		{port{rate: 20}, port{rate: 100}},
		{port{rate: 10}, port{rate: 200}},
		{port{rate: 100}, port{rate: 10}},
		{port{rate: 50}, port{rate: 5}},
		{port{rate: 50}, port{rate: 2}},
		{port{rate: 100, onChange: true}, port{rate: 100}},
		{port{rate: 50}, port{rate: 1000, onChange: true}},
		{port{rate: 100, onChange: true}, port{rate: 1000, onChange: true}},
		{port{rate: 50, late: 0.03}, port{rate: 50}},
		{port{rate: 50}, port{rate: 100, late: 0.03}},
		{port{rate: 50, late: 0.08}, port{rate: 20}},
		{port{rate: 20, late: 0.02}, port{rate: 10, late: 0.06}},
	} {
		for _, coarse := range []bool{false, true} {
			count := 0.15
			if coarse {
				count = 3
			}
			name := fmt.Sprintf("%+v, %v degrees", c, count)
			f, err := lift.Analyse(apart(c.indicator, c.encoder, count, !coarse), lift.Options{})
			require.NoError(t, err)
			require.Len(t, f.Openings, 2, "%s: %v", name, f.Faults)
			for i, o := range f.Openings {
				for side, h := range map[float64]lift.Crossing{-60: o.OpeningHalf, 60: o.ClosingHalf} {
					require.NotNil(t, h.Angle, "%s: %v", name, f.Faults)
					off := math.Remainder(h.Angle.Degrees()-side-720*float64(i), 360)
					t.Logf("%s: opening %d, off %+.2f ± %.2f", name, i, off, h.AngleU.Degrees())
					assert.LessOrEqual(t, math.Abs(off), h.AngleU.Degrees()+count/2, "%s, opening %d, %v", name, i, f.Faults)
					if coarse {
						continue
					}
					worst, widest = max(worst, math.Abs(off)), max(widest, h.AngleU.Degrees())
				}
			}
			t.Logf("%s: %v, drive %+v", name, f.Faults, f.Drive)
		}
	}
	t.Logf("off by %.2f degrees at most, ± up to %.2f", worst, widest)
}

// One moment on two rows is what it is on one.
func TestOneRowOrTwo(t *testing.T) {
	one := turned(-200, 50, leg{rest: 3}, leg{to: 200, speed: 40}, leg{rest: 3}, leg{to: 920, speed: 60}, leg{rest: 3})
	var two measure.Trace
	for _, r := range one.Readings {
		two.Readings = append(two.Readings, measure.Reading{At: r.At, Lift: r.Lift, Has: measure.HasLift}, measure.Reading{At: r.At, Angle: r.Angle, Has: measure.HasAngle})
	}
	want, err := lift.Analyse(one, lift.Options{})
	require.NoError(t, err)
	got, err := lift.Analyse(two, lift.Options{})
	require.NoError(t, err)
	require.Len(t, got.Openings, 2)
	for i := range got.Openings {
		for k, h := range []*lift.Crossing{&got.Openings[i].OpeningHalf, &got.Openings[i].ClosingHalf} {
			w := []lift.Crossing{want.Openings[i].OpeningHalf, want.Openings[i].ClosingHalf}[k]
			assert.InDelta(t, w.AngleU.Degrees(), h.AngleU.Degrees(), 0.1, "what the crank does between two rows is in the ±")
			h.AngleU = w.AngleU
		}
	}
	assert.Equal(t, want, got)
}

// An encoder that sends no more while the valve moves is told.
func TestAnEncoderOfItsOwnThatIsLost(t *testing.T) {
	for _, span := range [][2]float64{{6, 6.6}, {6, 9}, {9, 12}, {20, 25}, {23, 40}} {
		for _, onChange := range []bool{false, true} {
			lost := without(apart(port{rate: 50}, port{rate: 200, onChange: onChange}, 0.15, false), span[0], span[1],
				func(r measure.Reading) (measure.Reading, bool) { return r, r.Has == measure.HasLift })
			f, err := lift.Analyse(lost, lift.Options{})
			require.NoError(t, err)
			assert.Positive(t, faults(f, lift.EncoderSlip), "%v, on change %v: %v", span, onChange, f.Faults)
		}
	}
}
