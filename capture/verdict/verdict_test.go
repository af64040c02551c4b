package verdict_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/capture/verdict"
	"lobescribe/device/measure"
)

// The examples of JCGM 106:2012, from memory: 7.3.3 (the breakdown voltage of a
// Zener diode against an upper limit; the bursting strength of a container
// against a lower one) and 8.3.3 (a speeding ticket: guarded rejection).
func TestWorkedExamplesOfJCGM106(t *testing.T) {
	t.Run("Zener diode, upper limit -5.40 V", func(t *testing.T) {
		v := verdict.Judge(verdict.Figure[float64]{Value: -5.47, U: 2 * 0.05}, verdict.Limits[float64]{Most: new(-5.40)})
		assert.InDelta(t, 0.92, *v.Probability, 0.005, "printed to two figures")
		assert.Equal(t, verdict.CannotTell, v.Kind, "0.07 V inside, U is 0.10 V")
	})
	t.Run("bursting strength, lower limit 490 kPa", func(t *testing.T) {
		v := verdict.Judge(verdict.Figure[float64]{Value: 509.7, U: 2 * 8.6}, verdict.AtLeast(490.0))
		assert.InDelta(t, 0.99, *v.Probability, 0.005, "printed to two figures")
		assert.Equal(t, verdict.Meets, v.Kind, "19.7 kPa inside, U is 17.2 kPa")
	})
	t.Run("speeding ticket beyond 107 km/h, limit 100 km/h, u 2 %", func(t *testing.T) {
		v := verdict.Judge(verdict.Figure[float64]{Value: 107, U: 2 * 0.02 * 107}, verdict.Limits[float64]{Most: new(100.0)})
		assert.LessOrEqual(t, *v.Probability, 0.001, "99.9 % sure that the speed was above")
		assert.Equal(t, verdict.Fails, v.Kind)
	})
}

// JCGM 106:2012, table 1 (from memory; the figures are those of the normal
// distribution, as in any handbook): probability of conformity at z standard
// uncertainties from a single limit.
func TestProbabilityAtASingleLimit(t *testing.T) {
	for _, c := range []struct{ z, p float64 }{{0.84, 0.80}, {1.28, 0.90}, {1.64, 0.95}, {2.33, 0.99}, {3.09, 0.999}} {
		v := verdict.Judge(verdict.Figure[float64]{Value: 10 + c.z, U: 2}, verdict.AtLeast(10.0))
		assert.InDelta(t, c.p, *v.Probability, 0.0006, "z = %v", c.z)
	}
	// One U from the limit: 97.7 %, the text of 8.3.2 (from memory).
	v := verdict.Judge(verdict.Figure[float64]{Value: 12, U: 2}, verdict.AtLeast(10.0))
	assert.InDelta(t, 0.977, *v.Probability, 0.0005)
	assert.Equal(t, verdict.Meets, v.Kind)
}

// ISO 14253-1's zones, walked over a tolerance of 10 +- 1 mm with U = 0.2 mm,
// to the nanometre: limits count as inside their zone.
func TestZonesToTheNanometre(t *testing.T) {
	const nm, mm = measure.Nanometre, measure.Millimetre
	l := verdict.Within(10*mm, 1*mm)
	for _, c := range []struct {
		at   measure.Length
		want verdict.Kind
	}{
		{8_800_000*nm - 1, verdict.Fails},
		{8_800_000 * nm, verdict.CannotTell},
		{9_000_000 * nm, verdict.CannotTell},
		{9_200_000*nm - 1, verdict.CannotTell},
		{9_200_000 * nm, verdict.Meets},
		{10 * mm, verdict.Meets},
		{10_800_000 * nm, verdict.Meets},
		{10_800_000*nm + 1, verdict.CannotTell},
		{11_200_000 * nm, verdict.CannotTell},
		{11_200_000*nm + 1, verdict.Fails},
	} {
		v := verdict.Judge(verdict.Figure[measure.Length]{Value: c.at, U: 200 * measure.Micrometre}, l)
		assert.Equal(t, c.want, v.Kind, "at %v", c.at)
	}
	// A tolerance narrower than 2 U can never be met, whatever is measured.
	for at := 8 * mm; at <= 12*mm; at += 10 * measure.Micrometre {
		v := verdict.Judge(verdict.Figure[measure.Length]{Value: at, U: 1_000_001 * nm}, l)
		assert.NotEqual(t, verdict.Meets, v.Kind, "at %v", at)
	}
}

func TestNotJudged(t *testing.T) {
	sound := verdict.Figure[float64]{Value: 1, U: 0.1}
	least := verdict.AtLeast(0.5)
	for name, c := range map[string]struct {
		f    verdict.Figure[float64]
		l    verdict.Limits[float64]
		says string
	}{
		"no limit":    {sound, verdict.Limits[float64]{}, "not to be judged: no limit was given"},
		"no U":        {verdict.Figure[float64]{Value: 1}, least, "not to be judged: its uncertainty is not known"},
		"U below 0":   {verdict.Figure[float64]{Value: 1, U: -1}, least, "not to be judged: its uncertainty is not known"},
		"NaN":         {verdict.Figure[float64]{Value: math.NaN(), U: 1}, least, "not to be judged: the figure is not known"},
		"U NaN":       {verdict.Figure[float64]{Value: 1, U: math.NaN()}, least, "not to be judged: its uncertainty is not known"},
		"U infinite":  {verdict.Figure[float64]{Value: 1, U: math.Inf(1)}, least, "not to be judged: its uncertainty is not known"},
		"limit NaN":   {sound, verdict.Limits[float64]{Most: new(math.NaN())}, "not to be judged: its limit is no number"},
		"no room":     {sound, verdict.Within(1.0, -0.5), "not to be judged: its limits leave no room between them"},
		"a doubt too": {verdict.Figure[float64]{Value: 1, U: 0.1, Doubts: []verdict.Doubt{{verdict.Simulated, "the readings were simulated"}}}, least, "not to be judged: the readings were simulated"},
	} {
		t.Run(name, func(t *testing.T) {
			v := verdict.Judge(c.f, c.l)
			assert.Equal(t, verdict.NotJudged, v.Kind)
			assert.Equal(t, c.says, v.String())
			assert.Nil(t, v.Probability)
			assert.False(t, v.Good())
		})
	}
}

// A wider U never turns a verdict into its opposite, a doubt always ends it, and
// whatever meets is inside wherever within U its true value is.
func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := func(name string, low, high int64) measure.Length {
			return measure.Length(rapid.Int64Range(low, high).Draw(t, name))
		}
		f := verdict.Figure[measure.Length]{Value: length("value", -50, 50), U: length("U", 1, 30)}
		var l verdict.Limits[measure.Length]
		if rapid.Bool().Draw(t, "has least") {
			l.Least = new(length("least", -50, 50))
		}
		if l.Least == nil || rapid.Bool().Draw(t, "has most") {
			l.Most = new(length("most", -50, 50))
		}
		v := verdict.Judge(f, l)
		inside, outside := true, true
		for d := -f.U; d <= f.U; d++ {
			in := (l.Least == nil || f.Value+d >= *l.Least) && (l.Most == nil || f.Value+d <= *l.Most)
			inside, outside = inside && in, outside && !in
		}
		switch v.Kind {
		case verdict.Meets:
			assert.True(t, inside)
			assert.GreaterOrEqual(t, *v.Probability, 0.954, "k = 2 with two limits")
		case verdict.Fails:
			assert.True(t, outside)
			assert.LessOrEqual(t, *v.Probability, 0.0228)
		case verdict.CannotTell:
			assert.False(t, inside)
		default:
			require.True(t, l.Least != nil && l.Most != nil && *l.Least > *l.Most)
			return
		}
		if l.Least == nil || l.Most == nil {
			assert.Equal(t, inside, v.Kind == verdict.Meets)
			assert.Equal(t, outside, v.Kind == verdict.Fails)
		}
		wider := verdict.Judge(verdict.Figure[measure.Length]{Value: f.Value, U: f.U + length("more U", 0, 30)}, l)
		assert.True(t, wider.Kind == v.Kind || wider.Kind == verdict.CannotTell, "%s became %s", v.Kind, wider.Kind)
	})
}

func TestLimits(t *testing.T) {
	own, users := verdict.AtLeast(2.0), verdict.Limits[float64]{Least: new(1.0), Most: new(9.0)}
	both := own.Stricter(users)
	assert.Equal(t, []float64{2, 9}, []float64{*both.Least, *both.Most})
	assert.Equal(t, both, users.Stricter(own), "in either order")

	spare, ok := both.Spare(3)
	assert.True(t, ok)
	assert.Equal(t, 1.0, spare)
	spare, _ = both.Spare(9.5)
	assert.Equal(t, -0.5, spare)
	_, ok = verdict.Limits[float64]{}.Spare(3)
	assert.False(t, ok)
}

func TestJSON(t *testing.T) {
	b, err := json.Marshal(verdict.Judge(verdict.Figure[float64]{Value: 1, U: 0.1}, verdict.Limits[float64]{}))
	require.NoError(t, err)
	assert.JSONEq(t, `{"is":"not-judged","doubts":[{"cause":"missing","says":"no limit was given"}]}`, string(b))
	var v verdict.Verdict
	require.NoError(t, json.Unmarshal(b, &v))
	assert.Equal(t, verdict.NotJudged, v.Kind)
	assert.ErrorContains(t, json.Unmarshal([]byte(`{"is":"ok"}`), &v), "expected meets, fails")
}
