package timing

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// asked computes a request given as JSON.
func asked(text string) (Result, error) {
	var r Request
	if err := worksheet.Read(strings.NewReader(text), &r); err != nil {
		return Result{}, err
	}
	return Compute(r)
}

func curveJSON(t testing.TB, file, angle, lift, key string, scale float64) string {
	c := columns(t, file)
	var as, ls []string
	for i := range c[angle] {
		as = append(as, fmt.Sprint(c[angle][i]))
		ls = append(ls, fmt.Sprint(c[lift][i]*scale))
	}
	return fmt.Sprintf(`"angle_deg":[%s],"%s":[%s]`, strings.Join(as, ","), key, strings.Join(ls, ","))
}

// The octane-rating engine's intake through the whole request (figures as in
// TestOctaneRatingEngine), and the events that its test method asks for.
func TestComputeAWholeEngine(t *testing.T) {
	cfr := curveJSON(t, "cfr-intake-lift.csv", "angle_deg", "lift_mm", "lift_mm", 1)
	got, err := asked(`{"intake":{` + cfr + `,"method":"linear"},"checking_lifts_mm":[0.2032,1,1.27],
		"exhaust":{"opens":"40 BBDC","closes":15,"checking_lift_mm":0.2032,"measured_at":"valve"},
		"card":{"intake":{"opens":"10 ATDC","closes":34,"checked_at":"valve","checking_lift_mm":0.2032,"max_lift_mm":6.0452}},
		"derivatives":{}}`)
	require.NoError(t, err)
	require.Len(t, got.Intake.Passages, 3)
	p := got.Intake.Passages[0]
	assert.InDelta(t, 15.812, p.Opens.Angle.Degrees(), 0.002)
	assert.InDelta(t, 191.27, p.Span.Duration.Degrees(), 0.003)
	assert.Equal(t, "15.8 ATDC", p.Opens.Says)
	assert.Equal(t, "27.1 ABDC", p.Closes.Says)
	assert.InDelta(t, 235, got.Exhaust.Passages[0].Span.Duration.Degrees(), 1e-9)
	require.Len(t, got.Pairs, 1)
	assert.InDelta(t, 15-15.812, got.Pairs[0].Overlap.Degrees(), 0.002)
	require.NotNil(t, got.Card)
	assert.InDelta(t, 5.812, got.Card.Deviations[0].Later.Degrees(), 0.002)
	require.NotNil(t, got.IntakeDerivatives)
	assert.Greater(t, len(got.IntakeDerivatives.Points), 200)
	assert.NotEmpty(t, got.Assumes)
	assert.NotEmpty(t, got.Sources)
	_, err = json.Marshal(got)
	require.NoError(t, err)
}

func TestComputeInInches(t *testing.T) {
	sym := curveJSON(t, "synthetic-345-sym.csv", "crank_deg_ATDC", "lift_in_exact", "lift_in", 1)
	got, err := asked(`{"intake":{` + sym + `}}`)
	require.NoError(t, err)
	require.Len(t, got.Intake.Passages, 2, "0.050 in and 1 mm if nobody says otherwise")
	assert.InDelta(t, 20.382209, got.Intake.Passages[0].Opens.Angle.Degrees(), 0.002)
	assert.InDelta(t, 10.668, got.Intake.Nose.MaxLift.Millimetres(), 1e-5)
	assert.InDelta(t, 115, got.Intake.HalfLift.Span.Duration.Degrees(), 0.002)
	assert.InDelta(t, 0.002413892, got.Intake.LiftAtTDC.Inches(), 1e-6, "the table's own point at 0")
}

// What the encoder shows at top dead centre goes into the events.
func TestTopDeadCentreSetsTheCurves(t *testing.T) {
	shifted := curveJSON(t, "synthetic-345-sym.csv", "crank_deg_ATDC", "lift_in_exact", "lift_in", 1)
	got, err := asked(`{"tdc":{"positive_stop":{"first_deg":[33],"second_deg":[329],"angle_step_deg":0.15}},"intake":{` + shifted + `}}`)
	require.NoError(t, err)
	assert.Equal(t, deg(1), got.TDC.TDC)
	p := got.Intake.Passages[0]
	assert.InDelta(t, 19.382209, p.Opens.Angle.Degrees(), 0.002)
	assert.InDelta(t, got.TDC.U.Degrees(), p.Opens.U.Degrees(), 0.001, "there is hardly anything besides")
	assert.Less(t, p.Span.DurationU.Degrees(), 0.02, "and top dead centre is no part of a duration")
	got, err = asked(`{"tdc":{"piston":{"drops":[{"before_deg":-29,"after_deg":31,"drop_mm":7.386405}],"drop_u_mm":0.02}},"crank":{"stroke_mm":86,"rod_mm":143},"piston_at_deg":[30],"angle_at_travel_mm":[86,0]}`)
	require.NoError(t, err)
	assert.Equal(t, deg(1), got.TDC.TDC)
	assert.Empty(t, got.TDC.Warnings)
	require.Len(t, got.Piston, 3)
	assert.InDelta(t, 7.386405, got.Piston[0].Travel.Millimetres(), 1e-6)
	assert.Equal(t, deg(150), got.Piston[0].AngleFromBottom)
	assert.Equal(t, deg(180), got.Piston[1].Angle)
	assert.Equal(t, deg(0), got.Piston[2].Angle)
}

func TestComputeRatioAndValves(t *testing.T) {
	lobe := curveJSON(t, "synthetic-345-sym.csv", "crank_deg_ATDC", "lift_in_exact", "lift_in", 1)
	valve := curveJSON(t, "synthetic-345-sym.csv", "crank_deg_ATDC", "lift_in_exact", "lift_in", 1.5)
	got, err := asked(`{"ratio":{"lobe":{` + lobe + `,"measured_at":"lobe"},"valve":{` + valve + `},"before":{` + lobe + `},"nominal":1.5},
		"valves":[{"name":"1","valve":"intake","max_lift_mm":10},{"name":"2","valve":"intake","max_lift_mm":10.01},{"name":"3","valve":"intake","max_lift_mm":9.5},{"name":"4","valve":"intake","max_lift_mm":10}]}`)
	require.NoError(t, err)
	assert.InDelta(t, 1.5, got.Ratio.AtNose, 1e-6)
	for _, s := range got.Ratio.Stations {
		assert.InDelta(t, 1.5, s.Ratio, 1e-3)
	}
	assert.InDelta(t, 0.210, got.Gain.MaxLift.Inches(), 1e-4)
	assert.InDelta(t, 0.5, got.Gain.AreaShare, 1e-4)
	assert.True(t, got.Valves.Groups[0].Members[2].Outlier)
	assert.Contains(t, fmt.Sprint(got.Valves.Says), "worn lobe")
}

func TestRequestNamesTheField(t *testing.T) {
	pts := `"angle_deg":[0,10,20,30,40,50,60,70,80],"lift_mm":[0,0,1,3,5,3,1,0,0]`
	for text, says := range map[string]string{
		``:                                     "empty",
		`{}`:                                   "nothing is asked",
		`[]`:                                   "object",
		`{"intake":`:                           "breaks off",
		`{"intake":{"opens":NaN}}`:             "intake.opens: NaN is not a number",
		`{"intake":{}}`:                        "intake: is empty",
		`{"intake":null}`:                      "intake: is null",
		`{"intake":{"opens":12}}`:              "intake.closes: is missing",
		`{"intake":{"closes":12}}`:             "intake.opens: is missing",
		`{"intake":{"opens":"x","closes":1}}`:  "intake.opens",
		`{"intake":{"opens":true,"closes":1}}`: "intake.opens: true will not do",
		`{"intake":{"opens":-300,"closes":1}}`: "intake.closes: 1 deg comes before it opens",
		`{"intake":{"opens":9e9,"closes":1}}`:  "intake.opens",
		`{"intake":{"opens":"12 BBDC","closes":1}}`:                                                          "top dead centre",
		`{"intake":{"opens":1,"closes":1,"u_deg":-1}}`:                                                       "intake.u_deg",
		`{"intake":{"opens":1,"closes":1,"checking_lift_mm":-1}}`:                                            "intake.checking_lift_mm",
		`{"intake":{"angle_deg":[1,2],"lift_mm":[1]}}`:                                                       "intake.lift_mm: holds 1 lifts for 2 angles",
		`{"intake":{"angle_deg":[1,2],"lift_mm":[1,2]}}`:                                                     "intake.lift_mm: 2 points are too few",
		`{"intake":{"angle_deg":[1],"lift_mm":[1],"lift_in":[1]}}`:                                           "intake.lift_in",
		`{"intake":{"angle_deg":[1e30],"lift_mm":[1]}}`:                                                      "intake.angle_deg[0]",
		`{"intake":{"angle_deg":[0,1,2,3,4,5,6,7],"lift_in":[0,0,0,9,0,0,0,0]}}`:                             "intake.lift_in[3]",
		`{"intake":{"angle_deg":[0,1,2,3,4,5,6,7],"lift_mm":[0,0,0,900,0,0,0,0]}}`:                           "intake.lift_mm[3]",
		`{"intake":{"angle_deg":[1,1,1,1,1,1,1,1],"lift_mm":[1,1,1,1,1,1,1,1]}}`:                             "intake.angle_deg: only 1 different",
		`{"intake":{` + pts + `,"opens":1}}`:                                                                 "intake.opens: is given beside points",
		`{"intake":{` + pts + `,"lash_mm":-1}}`:                                                              "intake.lash_mm",
		`{"intake":{` + pts + `,"lash":1}}`:                                                                  "intake.lash: is not a field here: did you mean lash_mm?",
		`{"intake":{` + pts + `,"rocker_ratio":-1.5}}`:                                                       "intake.rocker_ratio",
		`{"intake":{` + pts + `,"rocker_ratio":"1.5"}}`:                                                      "intake.rocker_ratio",
		`{"intake":{` + pts + `,"method":"magic"}}`:                                                          "intake.method",
		`{"intake":{` + pts + `,"measured_at":"head"}}`:                                                      "intake.measured_at",
		`{"intake":{` + pts + `},"checking_lifts_mm":[-1]}`:                                                  "checking_lifts_mm[0]",
		`{"intake":{` + pts + `},"checking_lifts_mm":[1,29]}`:                                                "intake: checking_lifts_mm[1]: checking lift 29 mm",
		`{"intake":{` + pts + `},"checked_at":"head"}`:                                                       "checked_at",
		`{"intake":{` + pts + `,"tdc_deg":5},"tdc":{"positive_stop":{"first_deg":[33],"second_deg":[329]}}}`: "intake.tdc_deg",
		`{"intake":{` + pts + `},"derivatives":{"order":99}}`:                                                "derivatives.order",
		`{"intake":{` + pts + `},"derivatives":{"half_window_deg":1000}}`:                                    "derivatives.half_window_deg",
		`{"tdc":{}}`: "tdc: give either",
		`{"tdc":{"positive_stop":{"first_deg":[33]}}}`:                                         "tdc.positive_stop",
		`{"tdc":{"positive_stop":{"first_deg":[1e15],"second_deg":[1]}}}`:                      "tdc.positive_stop.first_deg[0]",
		`{"tdc":{"piston":{"drops":[{"before_deg":-20,"after_deg":20,"drop_mm":-1}]}}}`:        "tdc.piston.drops[0].drop_mm",
		`{"tdc":{"piston":{"drops":[]}}}`:                                                      "tdc.piston.drops",
		`{"card":{"intake":{"opens":1}}}`:                                                      "card: is given without",
		`{"intake":{"opens":1,"closes":1},"card":{}}`:                                          "card: nothing on it",
		`{"intake":{"opens":1,"closes":1},"card":{"intake":{"opens":"?"}}}`:                    "card.intake.opens",
		`{"intake":{"opens":1,"closes":1},"card":{"intake":{"opens":1,"checking_lift_mm":1}}}`: "card.intake: the card counts at 1 mm",
		`{"ratio":{}}`: "ratio.lobe: is missing",
		`{"ratio":{"lobe":{"opens":1,"closes":1},"valve":{}}}`:              "ratio.lobe.lift_mm: is missing",
		`{"valves":[{"name":"a","max_lift_mm":-1}]}`:                        "valves[0].max_lift_mm",
		`{"valves":[{"name":"a"}]}`:                                         "valves: no max lift",
		`{"piston_at_deg":[1]}`:                                             "crank: is missing",
		`{"crank":{"stroke_mm":86,"rod_mm":40},"piston_at_deg":[1]}`:        "crank.rod_mm",
		`{"crank":{"stroke_mm":86,"rod_mm":140},"angle_at_travel_mm":[90]}`: "angle_at_travel_mm[0]",
		`{"crank":{"stroke_mm":86,"rod_mm":140}}`:                           "nothing is asked",
	} {
		_, err := asked(text)
		if assert.Error(t, err, text) {
			assert.Contains(t, err.Error(), says, text)
		}
	}
}

func TestReadPoints(t *testing.T) {
	f, err := os.Open(filepath.Join(data, "cfr-intake-lift.csv"))
	require.NoError(t, err)
	defer f.Close()
	pts, err := ReadPoints(f)
	require.NoError(t, err)
	require.Len(t, pts, 248)
	assert.Equal(t, Point{deg(-345), measure.FromMillimetres(0.17453)}, pts[15])
	pts, err = ReadPoints(strings.NewReader("# from the wheel\nwho, lift_in, angle_deg\nme, 0.0500, 12.5\n"))
	require.NoError(t, err)
	assert.Equal(t, []Point{{deg(12.5), 50 * measure.Thou}}, pts)
	for text, says := range map[string]string{
		"":                                "header row",
		"angle_deg,height\n1,2\n":         "lacks a column",
		"angle_deg,lift_mm,lift_in\n":     "two columns",
		"angle_deg,lift_mm\n1,x\n":        "line 2, lift_mm",
		"angle_deg,lift_mm\n1,1\nNaN,1\n": "line 3, angle_deg",
		"angle_deg,lift_mm\n1,1,1\n":      "wrong number of fields",
		"angle_deg,lift_mm\n1,1e999\n":    "line 2, lift_mm",
		"angle_deg,lift_mm\n1,1e300\n":    "line 2, lift_mm",
	} {
		_, err := ReadPoints(strings.NewReader(text))
		assert.ErrorContains(t, err, says, text)
	}
}

// Whatever is asked, the answer is an answer that can be written down, or an
// error in words.
func FuzzRequest(f *testing.F) {
	pts := `"angle_deg":[0,10,20,30,40,50,60,70,80],"lift_mm":[0,0,1,3,5,3,1,0,0]`
	seeds := []string{
		`{"intake":{"opens":12,"closes":44},"exhaust":{"opens":"50 BBDC","closes":6},"card":{"intake":{"opens":10,"closes":46}}}`,
		`{"intake":{` + pts + `,"resolution_mm":0.01},"derivatives":{},"card":{"intake":{"duration_deg":30,"centreline_deg":40,"max_lift_mm":5}},"checking_lifts_mm":[1]}`,
		`{"tdc":{"positive_stop":{"first_deg":[33,33.1],"second_deg":[329]}},"exhaust":{` + pts + `,"method":"regression","on_cam":true,"counts_down":true}}`,
		`{"tdc":{"piston":{"drops":[{"before_deg":-29,"after_deg":31,"drop_mm":7.38},{"before_deg":-19,"after_deg":21,"drop_mm":3.3}]}},"crank":{"stroke_mm":86,"rod_mm":143},"piston_at_deg":[1]}`,
		`{"ratio":{"lobe":{` + pts + `},"valve":{` + pts + `},"before":{` + pts + `},"lash_mm":0.1,"degree":4}}`,
		`{"valves":[{"name":"a","valve":"intake","max_lift_mm":10,"duration_deg":1},{"name":"b","max_lift_mm":9}]}`,
		`{"intake":{"lift_mm":[NaN]}}`, `{"intake":{"angle_deg":[-1e300]}}`, `null`,
	}
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		got, err := asked(text)
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" || strings.Contains(err.Error(), "%!") {
				t.Fatalf("an error that says nothing: %q for %q", err, text)
			}
			return
		}
		if _, err := json.Marshal(got); err != nil {
			t.Fatalf("the answer cannot be written: %v for %q", err, text)
		}
	})
}

func TestProblemsAreProblems(t *testing.T) {
	// What was put wrongly is told apart from what has no answer.
	_, err := asked(`{"intake":{"opens":1,"closes":1,"u_deg":-1}}`)
	var p *worksheet.Problem
	require.True(t, errors.As(err, &p))
	assert.Equal(t, "intake.u_deg", p.Field)
}

func FuzzReadPoints(f *testing.F) {
	for _, s := range []string{"angle_deg,lift_mm\n0,0\n1,0.5\n", "lift_in,angle_deg\n.42,106\n", "# a\nangle_deg, lift_mm,x\n1,2,\"3\n", "angle_deg,lift_mm\n1e9,1e-400\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		pts, err := ReadPoints(strings.NewReader(text))
		if err != nil {
			return
		}
		// What was read is either a curve or refused in words.
		if c, err := FromPoints(pts, Options{}); err == nil {
			if n := c.Nose(); n.MaxLift <= 0 {
				t.Fatalf("a curve without lift from %q", text)
			}
		}
	})
}
