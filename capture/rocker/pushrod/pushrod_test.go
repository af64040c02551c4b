package pushrod_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/capture/rocker/pushrod"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

func mm(v float64) measure.Length { return measure.FromMillimetres(v) }
func in(v float64) measure.Length { return measure.FromInches(v) }

// Pushrod change for a shim, upright: p(1 + 1/R). Source: derived apart from
// this code.
func TestLongerByTheShim(t *testing.T) {
	for _, c := range []struct{ ratio, shim, longer float64 }{
		{1.5, 0.015, 0.025000}, {1.6, 0.015, 0.024375}, {1.65, 0.015, 0.024091},
		{1.5, 0.030, 0.050000}, {1.6, 0.030, 0.048750}, {1.65, 0.030, 0.048182},
		{1.5, 0.060, 0.100000}, {1.6, 0.060, 0.097500}, {1.65, 0.060, 0.096364},
	} {
		a, err := pushrod.Solve(pushrod.Question{Checking: in(8), StackChange: in(c.shim), RockerRatio: c.ratio})
		require.NoError(t, err)
		assert.InDelta(t, c.longer, a.Longer.Inches(), 1e-6)
	}
}

// Leaning, an 8.0 in rod, 0.1625 in of rise (0.100 in of shim at R 1.6): the
// exact root form. Source: derived apart from this code; the plain cosine gives
// 0.161882 and 0.160031.
func TestLongerLeaning(t *testing.T) {
	for lean, want := range map[float64]float64{0: 0.162500, 5: 0.161894, 10: 0.160080} {
		a, err := pushrod.Solve(pushrod.Question{Checking: in(8), StackChange: in(0.1), RockerRatio: 1.6, PushrodLean: measure.FromDegrees(lean)})
		require.NoError(t, err)
		assert.InDelta(t, want, a.Longer.Inches(), 1e-6)
	}
}

// The tip of a 5/16 in ball stands 0.0165573 in through a ring of 0.140 in:
// 0.15625 - sqrt(0.15625^2 - 0.07^2). Right triangle, worked out apart from this
// code.
func TestOneRodInThreeMeasures(t *testing.T) {
	ends := []pushrod.End{{Length: in(0.75), PressDepth: in(0.5), BallDiameter: in(0.3125)}}
	q := pushrod.Question{Checking: in(8), Ends: ends, GaugeDiameter: in(0.140), Step: measure.Nanometre}
	overall, err := pushrod.Solve(q)
	require.NoError(t, err)
	c := overall.Cuts[0]
	assert.Equal(t, in(8), c.Overall)
	assert.Equal(t, in(8-0.3125), *c.Centres)
	assert.InDelta(t, 8-2*0.0165573, c.Gauge.Inches(), 1e-6)
	assert.Equal(t, in(7.5), *c.Tube)

	// The other two measures of the same rod lead to the same rod.
	for measured, checking := range map[string]measure.Length{pushrod.Centres: *c.Centres, pushrod.Gauge: *c.Gauge} {
		q.Measured, q.Checking = measured, checking
		a, err := pushrod.Solve(q)
		require.NoError(t, err)
		assert.Equal(t, overall.Cuts, a.Cuts, measured)
	}
}

func TestCutListAndTally(t *testing.T) {
	var q pushrod.Question
	require.NoError(t, worksheet.Read(strings.NewReader(`{
		"rods":[{"valve":"1 intake","checking_rod_mm":221.23},{"valve":"1 exhaust","checking_rod_mm":221.52},
			{"valve":"2 intake","checking_rod_mm":221.24},{"valve":"2 exhaust","checking_rod_mm":221.48}],
		"ends":[{"length_mm":25,"press_depth_mm":14},{"length_mm":20,"press_depth_mm":12}],
		"step_mm":0.1,"preload_mm":0}`), &q))
	a, err := pushrod.Solve(q)
	require.NoError(t, err)
	require.Len(t, a.Cuts, 4)
	assert.Equal(t, mm(221.2-19), *a.Cuts[0].Tube)
	assert.Equal(t, mm(221.2), a.Cuts[0].Overall)
	assert.Equal(t, []pushrod.Tally{
		{Length: mm(202.5), Count: 2, Valves: []string{"1 exhaust", "2 exhaust"}},
		{Length: mm(202.2), Count: 2, Valves: []string{"1 intake", "2 intake"}},
	}, a.Tally)
	// 0.05 rod, 0.03 an end, half a step rectangular at k = 2 (0.1/sqrt 3).
	assert.InDelta(t, math.Sqrt(0.0025+2*0.0009+0.01/3), a.Cuts[0].LengthU.Millimetres(), 1e-6)
}

// Rounding moves no length by more than half a step, and nothing is lost: what
// is cut and pressed together is the overall length that is told.
func TestCutsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ends := []pushrod.End{
			{Length: mm(rapid.Float64Range(10, 30).Draw(t, "end")), PressDepth: mm(8)},
			{Length: mm(rapid.Float64Range(10, 30).Draw(t, "end")), PressDepth: mm(9)},
		}
		q := pushrod.Question{
			Checking: mm(rapid.Float64Range(150, 300).Draw(t, "rod")), Ends: ends,
			StackChange: mm(rapid.Float64Range(-2, 2).Draw(t, "stack")), RockerRatio: rapid.Float64Range(1, 2).Draw(t, "ratio"),
			AdjusterDown: mm(rapid.Float64Range(-3, 3).Draw(t, "down")), Preload: mm(rapid.Float64Range(0, 1).Draw(t, "preload")),
			Step: mm(rapid.Float64Range(0.001, 0.5).Draw(t, "step")),
		}
		a, err := pushrod.Solve(q)
		require.NoError(t, err)
		c := a.Cuts[0]
		assert.Zero(t, *c.Tube%q.Step)
		assert.Equal(t, c.Overall, *c.Tube+ends[0].Length+ends[1].Length-17*measure.Millimetre)
		assert.LessOrEqual(t, (c.Overall - q.Checking - a.Longer).Abs(), q.Step/2+1)
		rise := q.StackChange.Millimetres()*(1+1/q.RockerRatio) - q.AdjusterDown.Millimetres()
		assert.InDelta(t, rise+q.Preload.Millimetres(), a.Longer.Millimetres(), 3e-6)
	})
}

func TestThread(t *testing.T) {
	q := pushrod.Question{Checking: mm(220), AdjusterDown: mm(2), ThreadLeft: new(mm(3))}
	a, err := pushrod.Solve(q)
	require.NoError(t, err)
	assert.Equal(t, mm(1), *a.ThreadLeft)
	assert.Equal(t, mm(-2), a.Longer)
	q.ThreadLeft = new(mm(1.5))
	_, err = pushrod.Solve(q)
	require.ErrorContains(t, err, "cut a longer pushrod")
	var p *worksheet.Problem
	assert.False(t, errors.As(err, &p))
}

// Growth of 8.000 in over 70 K, and of the lash against an iron stack of the
// same 8 in. Source of the coefficients: Callister, Appendix B Table B.6 (text
// seen), of 4130 a supplier's data page (seen); the products are exact
// arithmetic, derived apart from this code. Handbooks differ by 3 %.
func TestGrowth(t *testing.T) {
	for _, c := range []struct {
		material string
		grows    float64
	}{
		{"aluminium 6061", 0.013216}, {"aluminium 2024", 0.012824}, {"steel 4130", 0.006832},
		{"magnesium AZ91D", 0.014560}, {"grey iron", 0.006384},
	} {
		a, err := pushrod.Solve(pushrod.Question{
			Checking: in(8), RockerRatio: 1.4, Step: measure.Nanometre,
			Lash: &pushrod.LashQuestion{
				Rod:   []pushrod.Piece{{Material: c.material}},
				Stack: []pushrod.Piece{{Material: "iron", Length: in(8)}},
			},
		})
		require.NoError(t, err)
		assert.InDelta(t, c.grows, a.Lash.RodGrows.Inches(), 1e-6, c.material)
		assert.InDelta(t, 0.006384-c.grows, a.Lash.Opens.Inches(), 1e-6, c.material)
		assert.InDelta(t, 1.4*(0.006384-c.grows), a.Lash.OpensAtValve.Inches(), 1e-6, c.material)
	}
	// A 4130 rod of 8.0 in in a stack of 9.0 in: iron +0.00035 in, aluminium
	// (6061) +0.008036 in.
	for material, opens := range map[string]float64{"grey iron": 0.00035, "aluminium 6061": 0.008036} {
		a, err := pushrod.Solve(pushrod.Question{
			Checking: in(8), RockerRatio: 1.4, Step: measure.Nanometre,
			Lash: &pushrod.LashQuestion{Rod: []pushrod.Piece{{Material: "chromoly"}}, Stack: []pushrod.Piece{{Material: material, Length: in(9)}}},
		})
		require.NoError(t, err)
		assert.InDelta(t, opens, a.Lash.Opens.Inches(), 2e-6, material)
		require.NotNil(t, a.Lash.TradeRule)
		assert.Zero(t, *a.Lash.TradeRule)
	}
}

// The custom of 0.006 in for aluminium rods (common practice, no source) agrees
// with the arithmetic at the pushrod on an iron stack, and on no aluminium one.
func TestTheCustomFitsIronOnly(t *testing.T) {
	ask := func(stack string) pushrod.LashAnswer {
		a, err := pushrod.Solve(pushrod.Question{
			Checking: in(8), RockerRatio: 1, Step: measure.Nanometre,
			Lash: &pushrod.LashQuestion{Rod: []pushrod.Piece{{Material: "aluminium"}}, Stack: []pushrod.Piece{{Material: stack, Length: in(8)}}, WarmerU: new(5.0)},
		})
		require.NoError(t, err)
		require.NotNil(t, a.Lash.TradeRule)
		assert.Equal(t, 6*measure.Thou, *a.Lash.TradeRule)
		assert.Contains(t, a.Lash.Rule, "common practice, no source")
		return *a.Lash
	}
	iron := ask("iron")
	assert.InDelta(t, 0.006, iron.ColdLash.Inches(), 0.001)
	assert.NotContains(t, strings.Join(worksheet.In(iron.Says, measure.InMillimetres), "\n"), "does not fit")
	magnesium := ask("magnesium")
	assert.Zero(t, magnesium.ColdLash)
	assert.Contains(t, strings.Join(worksheet.In(magnesium.Says, measure.InMillimetres), "\n"), "the custom does not fit this engine")
}

func TestEveryMaterialHasItsSource(t *testing.T) {
	for _, m := range pushrod.Materials() {
		assert.NotEmpty(t, m.Source)
		for _, name := range append(m.Also, m.Name, strings.ToUpper(m.Name)) {
			a, err := pushrod.Solve(pushrod.Question{Checking: mm(200), RockerRatio: 1.4, Lash: &pushrod.LashQuestion{
				Rod: []pushrod.Piece{{Material: name}}, Stack: []pushrod.Piece{{Alpha: new(0.0), Length: mm(200)}},
			}})
			require.NoError(t, err)
			assert.InDelta(t, m.Alpha*200*70e-6, a.Lash.RodGrows.Millimetres(), 2e-6, name)
			assert.Contains(t, strings.Join(a.Sources, "\n"), m.Source)
		}
	}
}

func TestQuestionsThatCannotBe(t *testing.T) {
	for text, field := range map[string]string{
		`{}`: "checking_rod_mm",
		`{"checking_rod_mm":200,"rods":[{"valve":"1","checking_rod_mm":200}]}`: "checking_rod_mm",
		`{"checking_rod_mm":-200}`: "checking_rod_mm",
		`{"rods":[{"valve":"1 intake","checking_rod_mm":200},{"valve":"2","checking_rod_mm":0}]}`:                                                       "rods[1].checking_rod_mm",
		`{"rods":[{"checking_rod_mm":200}]}`:                                                                                                            "rods[0].valve",
		`{"checking_rod_mm":200,"measured":"length"}`:                                                                                                   "measured",
		`{"checking_rod_mm":200,"measured":"gauge"}`:                                                                                                    "gauge_diameter_mm",
		`{"checking_rod_mm":200,"measured":"centres"}`:                                                                                                  "ends",
		`{"checking_rod_mm":200,"ends":[{"length_mm":10,"press_depth_mm":12}]}`:                                                                         "ends[0].press_depth_mm",
		`{"checking_rod_mm":200,"ends":[{"length_mm":10,"press_depth_mm":5,"ball_diameter_mm":8}],"gauge_diameter_mm":9}`:                               "gauge_diameter_mm",
		`{"checking_rod_mm":200,"ends":[{},{},{}]}`:                                                                                                     "ends",
		`{"checking_rod_mm":200,"stack_change_mm":1}`:                                                                                                   "rocker_ratio",
		`{"checking_rod_mm":200,"rocker_ratio":99}`:                                                                                                     "rocker_ratio",
		`{"checking_rod_mm":200,"rocker_ratio":1.4,"lash":{"rod":[{"material":"brass"}],"stack":[{"material":"iron","length_mm":1}]}}`:                  "lash.rod[0].material",
		`{"checking_rod_mm":200,"rocker_ratio":1.4,"lash":{"rod":[{"material":"iron"}],"stack":[{"material":"iron"}]}}`:                                 "lash.stack[0].length_mm",
		`{"checking_rod_mm":200,"rocker_ratio":1.4,"lash":{"rod":[{"material":"iron"}]}}`:                                                               "lash.stack",
		`{"checking_rod_mm":200,"lash":{"rod":[{"material":"iron"}],"stack":[{"material":"iron","length_mm":1}]}}`:                                      "rocker_ratio",
		`{"checking_rod_mm":200,"rocker_ratio":1.4,"lash":{"rod":[{"material":"iron"}],"stack":[{"material":"iron","length_mm":1}],"warmer_k":9000}}`:   "lash.warmer_k",
		`{"checking_rod_mm":200,"rocker_ratio":1.4,"lash":{"rod":[{"material":"iron"}],"stack":[{"materail":"iron","length_mm":1}],"warmer_u_k":1e99}}`: "lash.stack[0].materail",
	} {
		var q pushrod.Question
		err := worksheet.Read(strings.NewReader(text), &q)
		if err == nil {
			_, err = pushrod.Solve(q)
		}
		var p *worksheet.Problem
		if assert.ErrorAs(t, err, &p, "%s", text) {
			assert.Equal(t, field, p.Field, "%s: %v", text, err)
		}
	}
	// Well put, but there is no such rod.
	for _, q := range []pushrod.Question{
		{Checking: mm(26), AdjusterDown: mm(30)},
		{Checking: mm(26), Ends: []pushrod.End{{Length: mm(30), PressDepth: mm(10)}}},
		{Checking: mm(50), Ends: []pushrod.End{{Length: mm(30), PressDepth: mm(20)}}},
	} {
		_, err := pushrod.Solve(q)
		require.Error(t, err)
		var p *worksheet.Problem
		assert.False(t, errors.As(err, &p), "%v", err)
	}
}

func FuzzSolve(f *testing.F) {
	for _, s := range []string{
		`{"checking_rod_mm":221.2,"ends":[{"length_mm":25,"press_depth_mm":14,"ball_diameter_mm":8}],"gauge_diameter_mm":3.5,"measured":"gauge","stack_change_mm":0.4,"rocker_ratio":1.4,"pushrod_lean_deg":8}`,
		`{"rods":[{"valve":"1 intake","checking_rod_mm":221.2}],"rocker_ratio":1.4,"lash":{"rod":[{"material":"aluminium"}],"stack":[{"material":"iron","length_mm":130},{"expansion_ppm_per_k":21,"length_mm":80}],"warmer_k":70,"rod_warmer_k":50}}`,
		`{"checking_rod_mm":1e-6,"adjuster_down_mm":-1e4,"preload_mm":1e4}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var q pushrod.Question
		if worksheet.Read(bytes.NewReader(b), &q) != nil {
			return
		}
		a, err := pushrod.Solve(q)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		_, err = json.Marshal(a)
		require.NoError(t, err)
		n := 0
		for _, tally := range a.Tally {
			n += tally.Count
		}
		require.Len(t, a.Cuts, n)
	})
}

// A cup of 6 mm for a ball of 8 mm: the ball's middle stands 6 - 4 = 2 mm inside of
// the rim, not 4 as a ball's own would (elementary, derived here).
func TestACupEndHoldsItsBallInside(t *testing.T) {
	q := pushrod.Question{Checking: 200 * measure.Millimetre, Step: measure.Micrometre, Ends: []pushrod.End{
		{Length: 10 * measure.Millimetre, BallDiameter: 8 * measure.Millimetre},
		{Length: 10 * measure.Millimetre, BallDiameter: 8 * measure.Millimetre, CupDepth: 6 * measure.Millimetre}}}
	a, err := pushrod.Solve(q)
	require.NoError(t, err)
	require.NotNil(t, a.Cuts[0].Centres)
	assert.Equal(t, 194*measure.Millimetre, *a.Cuts[0].Centres)
	q.Ends[1].BallDiameter = 0
	_, err = pushrod.Solve(q)
	assert.ErrorContains(t, err, "of a cup, that of the ball it takes")
	q.Ends[1].BallDiameter = 8 * measure.Millimetre
	q.Measured, q.GaugeDiameter = pushrod.Gauge, 6*measure.Millimetre
	_, err = pushrod.Solve(q)
	assert.ErrorContains(t, err, "does not sit on a cup")
}
