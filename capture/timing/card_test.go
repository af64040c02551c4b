package timing

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

func ptr[T any](v T) *T { return &v }

func typed(v Valve, opens, closes, u float64) *Measured {
	t := FromEvents(v, 50*measure.Thou, AtLobe, Typed{Opens: FromCard(v, Opens, deg(opens)), Closes: FromCard(v, Closes, deg(closes)), U: deg(u)})
	return &Measured{Typed: &t}
}

func card(v Valve, opens, closes float64) *CardValve {
	return &CardValve{Opens: ptr(FromCard(v, Opens, deg(opens))), Closes: ptr(FromCard(v, Closes, deg(closes)))}
}

// The worked case: card 12/44 and 50/6. The cam is 3 crank degrees late, so
// openings come 3 later (9 and 47), closings 3 later (47 and 9), by hand.
func TestAWholeShiftIsFoundAndNothingIsLeft(t *testing.T) {
	got, err := CompareCard(typed(Intake, 9, 47, 1), typed(Exhaust, 47, 9, 1), CardOptions{Intake: card(Intake, 12, 44), Exhaust: card(Exhaust, 50, 6)})
	require.NoError(t, err)
	require.Len(t, got.Deviations, 4)
	for _, d := range got.Deviations {
		assert.Equal(t, deg(3), d.Later)
		assert.Zero(t, d.LeftOver)
		assert.False(t, d.Stands)
	}
	require.Len(t, got.Shifts, 1)
	assert.Equal(t, deg(-3), got.Shifts[0].Advance)
	assert.InDelta(t, 0.5, got.Shifts[0].AdvanceU.Degrees(), 1e-6, "four events of ± 1: ± 1/√4")
	assert.Equal(t, "the cam is retarded by 3 ± 0.5 crank degrees (1.5 cam degrees)", got.Shifts[0].Says)
	assert.Equal(t, "9 BTDC, card 12 BTDC", got.Deviations[0].Says)
}

func TestWhatAShiftCannotExplainIsSaid(t *testing.T) {
	// The intake closes 8 degrees late besides: lash, ratio or another lobe.
	got, err := CompareCard(typed(Intake, 9, 55, 1), typed(Exhaust, 47, 9, 1), CardOptions{Intake: card(Intake, 12, 44), Exhaust: card(Exhaust, 50, 6)})
	require.NoError(t, err)
	assert.Equal(t, deg(-5), got.Shifts[0].Advance) // mean of 3, 11, 3, 3
	assert.Equal(t, deg(6), got.Deviations[1].LeftOver)
	assert.True(t, got.Deviations[1].Stands)
	assert.Greater(t, got.Shifts[0].AdvanceU, deg(2), "what is left over must widen it")
	require.Len(t, got.Says, 4, "the shift, the long intake, and both exhaust events that it now leaves over")
	assert.Contains(t, got.Says[1].String(), "the intake valve is open 8 ± 1.4 degrees longer than the card says")
	// Two cams, each with a shift of its own.
	got, err = CompareCard(typed(Intake, 9, 47, 1), typed(Exhaust, 52, 4, 1), CardOptions{TwoCams: true, Intake: card(Intake, 12, 44), Exhaust: card(Exhaust, 50, 6)})
	require.NoError(t, err)
	require.Len(t, got.Shifts, 2)
	assert.Equal(t, deg(-3), got.Shifts[0].Advance)
	assert.Equal(t, deg(2), got.Shifts[1].Advance)
	assert.Contains(t, got.Shifts[1].Says, "exhaust cam is advanced by 2")
	// As the card says.
	got, err = CompareCard(typed(Intake, 12.2, 44.2, 1), nil, CardOptions{Intake: card(Intake, 12, 44)})
	require.NoError(t, err)
	assert.Contains(t, got.Says[0].String(), "stands where its card says")
}

func TestCardByDurationAndCentreline(t *testing.T) {
	// 230 at 105 after is 10/40; an exhaust of 240 at 105 before is 45/15.
	k := CardOptions{
		Intake:  &CardValve{Duration: ptr(deg(230)), Centreline: ptr(deg(105))},
		Exhaust: &CardValve{Duration: ptr(deg(240)), Centreline: ptr(deg(105))},
	}
	got, err := CompareCard(typed(Intake, 10, 40, 1), typed(Exhaust, 45, 15, 1), k)
	require.NoError(t, err)
	for _, d := range got.Deviations {
		assert.Zero(t, d.Later)
	}
	assert.Nil(t, k.Intake.Opens, "the card is not altered")
}

func TestCardAgainstACurve(t *testing.T) {
	c := synthetic(t, "synthetic-345-sym.csv", "lift_in_rounded_0.0005", Options{Valve: Intake, Resolution: measure.Thou / 2})
	k := &CardValve{CheckedAt: AtValve, Opens: ptr(deg(18.382)), Closes: ptr(deg(187.618)), MaxLift: inches(0.430)}
	got, err := CompareCard(&Measured{Curve: c}, nil, CardOptions{Intake: k})
	require.NoError(t, err)
	assert.InDelta(t, -2, got.Shifts[0].Advance.Degrees(), 0.05)
	require.Len(t, got.Lifts, 1)
	assert.InDelta(t, -0.010, got.Lifts[0].More.Inches(), 1e-4)
	assert.Contains(t, got.Says[len(got.Says)-1].String(), "less than the card")

	_, err = CompareCard(&Measured{Curve: c}, nil, CardOptions{Intake: &CardValve{}})
	assert.ErrorContains(t, err, "nothing on it")
	_, err = CompareCard(&Measured{Curve: c}, nil, CardOptions{Intake: &CardValve{CheckingLift: inches(2), Opens: ptr(deg(0))}})
	assert.ErrorContains(t, err, "card.intake")
	_, err = CompareCard(typed(Intake, 1, 2, 1), nil, CardOptions{Intake: &CardValve{CheckingLift: inches(0.1), Opens: ptr(deg(0))}})
	assert.ErrorContains(t, err, "another lift")
}

// Least squares: whatever the deviations, no other shift leaves a smaller sum
// of weighted squares, and the left-overs are independent of a common turn.
func TestShiftIsTheLeastSquares(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		off := rapid.SliceOfN(rapid.Float64Range(-10, 10), 4, 4).Draw(t, "deviations")
		u := rapid.SliceOfN(rapid.Float64Range(0.2, 3), 2, 2).Draw(t, "uncertainties")
		k := CardOptions{Intake: card(Intake, 12, 44), Exhaust: card(Exhaust, 50, 6)}
		run := func(turn float64) CardComparison {
			got, err := CompareCard(typed(Intake, 12-off[0]-turn, 44+off[1]+turn, u[0]), typed(Exhaust, 50-off[2]-turn, 6+off[3]+turn, u[1]), k)
			require.NoError(t, err)
			return got
		}
		got := run(0)
		sum := func(a float64) (s float64) {
			for i, d := range got.Deviations {
				w := u[i/2]
				s += (d.Later.Degrees() + a) * (d.Later.Degrees() + a) / w / w
			}
			return s
		}
		a := got.Shifts[0].Advance.Degrees()
		require.LessOrEqual(t, sum(a), sum(a+0.01))
		require.LessOrEqual(t, sum(a), sum(a-0.01))
		turned := run(2)
		require.InDelta(t, a-2, turned.Shifts[0].Advance.Degrees(), 1e-5)
		for i := range got.Deviations {
			require.InDelta(t, got.Deviations[i].LeftOver.Degrees(), turned.Deviations[i].LeftOver.Degrees(), 1e-5)
		}
	})
}
