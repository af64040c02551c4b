package timing

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/verdict"
	"lobescribe/device/measure"
)

// line finds one of the card's lines.
func line(t *testing.T, c CardComparison, v Valve, name string) CardLine {
	t.Helper()
	for _, l := range c.Lines {
		if l.Valve == v && l.Line == name {
			return l
		}
	}
	t.Fatalf("no line %s %s in %v", v, name, c.Lines)
	return CardLine{}
}

// Worked by hand. Guarded acceptance with w = U (JCGM 106:2012, 8.3.2): off 1 ± 0.9
// keeps to 2, off 1.5 ± 0.9 cannot be told, off 3 ± 0.9 does not keep to it (8.3.3).
// Each event has ± 0.9 of its own; a top dead centre that is known to ± 1.2 makes it
// hypot(0.9, 1.2) = 1.5, and 0.4 can then still be told, 1 not.
func TestEachLineOfTheCardIsJudged(t *testing.T) {
	judged := func(off, uTDC float64) CardLine {
		m := typed(Intake, 12-off, 44+off, 0.9)
		ev := FromEvents(Intake, 50*measure.Thou, AtLobe, Typed{FromCard(Intake, Opens, deg(12-off)), FromCard(Intake, Closes, deg(44+off)), deg(0.9), deg(uTDC)})
		m.Typed, m.uTDC = &ev, uTDC/coverage
		got, err := CompareCard(m, nil, CardOptions{Intake: card(Intake, 12, 44)})
		require.NoError(t, err)
		require.Len(t, got.Lines, 4)
		return line(t, got, Intake, "opens")
	}
	for _, c := range []struct {
		off, uTDC float64
		want      verdict.Kind
	}{
		{1, 0, verdict.Meets}, {1.5, 0, verdict.CannotTell}, {3, 0, verdict.Fails}, {-3, 0, verdict.Fails},
		{0.4, 1.2, verdict.Meets}, {1, 1.2, verdict.CannotTell}, {3, 1.2, verdict.CannotTell}, {4, 1.2, verdict.Fails},
	} {
		got := judged(c.off, c.uTDC)
		assert.Equal(t, c.want, got.Verdict.Kind, "%+v", c)
		assert.InDelta(t, c.off, got.Off.Degrees(), 1e-6)
	}
}

// A cam that is 5 degrees late, and nothing else: events and centrelines fail, the
// durations meet, and a turn of the cam mends all eight.
func TestATurnOfTheCamMendsWhatItCan(t *testing.T) {
	got, err := CompareCard(typed(Intake, 7, 49, 1), typed(Exhaust, 45, 11, 1), CardOptions{
		Intake: card(Intake, 12, 44), Exhaust: card(Exhaust, 50, 6), LobeSeparation: ptr(deg(109)), Tolerance: deg(2.5)})
	require.NoError(t, err)
	for _, v := range []Valve{Intake, Exhaust} {
		for _, name := range []string{"opens", "closes", "centreline"} {
			l := line(t, got, v, name)
			assert.Equal(t, verdict.Fails, l.Verdict.Kind, "%s %s", v, name)
			require.NotNil(t, l.Turned)
			assert.Equal(t, verdict.Meets, l.Turned.Kind, "%s %s", v, name)
		}
		l := line(t, got, v, "duration")
		assert.Equal(t, verdict.Meets, l.Verdict.Kind)
		assert.Nil(t, l.Turned)
	}
	// Card: (106 + 112)/2 = 109; a turn of the whole cam leaves it there.
	assert.InDelta(t, 0, line(t, got, "", "lobe separation").Off.Degrees(), 1e-6)
	require.Len(t, got.Mends, 1)
	assert.Equal(t, "advancing the cam by 5 ± 0.5 crank degrees would bring 6 of 6 lines that turn with it within the tolerance, if top dead centre is right", got.Mends[0].String())

	// A duration that is 10 short: no turn mends that.
	got, err = CompareCard(typed(Intake, 7, 39, 1), nil, CardOptions{Intake: card(Intake, 12, 44)})
	require.NoError(t, err)
	assert.Equal(t, verdict.Fails, line(t, got, Intake, "duration").Verdict.Kind)
	require.Len(t, got.Mends, 1)
	assert.Contains(t, got.Mends[0].String(), "cannot be told")
	assert.Contains(t, got.Mends[0].String(), "1 more that no turn changes")
}

// A top dead centre that puts the lobe where no cam has one: durations are judged,
// what counts from it is not.
func TestNoVerdictFromAnImpossibleTDC(t *testing.T) {
	got, err := CompareCard(typed(Intake, -80, 136, 0.5), nil, CardOptions{Intake: card(Intake, 12, 44)})
	require.NoError(t, err)
	for _, name := range []string{"opens", "closes", "centreline"} {
		v := line(t, got, Intake, name).Verdict
		assert.Equal(t, verdict.NotJudged, v.Kind, name)
		assert.Contains(t, v.String(), "no intake cam is")
	}
	assert.Equal(t, verdict.Meets, line(t, got, Intake, "duration").Verdict.Kind)
}

// The lash of a card's max lift, taken off by whoever compares: 12 mm of lobe times
// ratio and 0.3 mm of lash are 11.7 mm at the valve.
func TestMaxLiftOfTheCardIsWithoutLashTakenOff(t *testing.T) {
	c := synthetic(t, "synthetic-345-sym.csv", "lift_in_rounded_0.0005", Options{Valve: Intake, Resolution: measure.Thou / 2, Lash: mm(0.3)})
	top := c.Nose().MaxLift
	for _, k := range []struct {
		gross bool
		more  float64
	}{{true, 0}, {false, -0.3}} {
		got, err := CompareCard(&Measured{Curve: c}, nil, CardOptions{Intake: &CardValve{MaxLift: top + mm(0.3), MaxLiftAt: AtValve, Gross: k.gross}})
		require.NoError(t, err)
		l := line(t, got, Intake, "max lift")
		assert.InDelta(t, k.more, l.More.Millimetres(), 1e-6)
	}
}
