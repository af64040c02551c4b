package clearance_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/capture/clearance"
	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Piston position. Source: Heywood, Internal Combustion Engine Fundamentals,
// eqs 2.4-2.6 (from memory; numbers of the equations unchecked); the form with
// the root is seen in public derivations; both forms agree to 1e-6. Stroke 3.48
// and rod 5.70 in; stroke 86 and rod 143 mm.
func TestPistonBelowTDC(t *testing.T) {
	for _, c := range []struct{ deg, inches, metric float64 }{
		{0, 0, 0},
		{5, 0.008639, 0.212746},
		{10, 0.034448, 0.848344},
		{710, 0.034448, 0.848344},
		{15, 0.077107, 1.898922},
		{30, 0.299902, 7.386405},
		{45, 0.644008, 15.864311},
		{60, 1.072792, 26.433893},
		{90, 2.012072, 49.618183},
		{120, 2.812792, 69.433893},
		{150, 3.313670, 81.864590},
		{180, 3.480000, 86.000000},
	} {
		at := measure.FromDegrees(c.deg)
		assert.InDelta(t, c.inches, clearance.PistonBelowTDC(in(3.48), in(5.70), at).Inches(), 1e-6, "%v", c.deg)
		assert.InDelta(t, c.metric, clearance.PistonBelowTDC(mm(86), mm(143), at).Millimetres(), 1e-6, "%v", c.deg)
		assert.Equal(t, clearance.PistonBelowTDC(mm(86), mm(143), at), clearance.PistonBelowTDC(mm(86), mm(143), -at))
	}
}

// lobe is a smooth opening of sin^2 form, in mm; opens and closes in degrees
// after top dead centre.
type lobe struct{ opens, closes, lift float64 }

func (l lobe) at(deg float64) float64 {
	if deg <= l.opens || deg >= l.closes {
		return 0
	}
	s := math.Sin(math.Pi * (deg - l.opens) / (l.closes - l.opens))
	return l.lift * s * s
}

func (l lobe) curve(step, tdc float64) []clearance.CurvePoint {
	var c []clearance.CurvePoint
	for deg := -120.0; deg <= 300; deg += step {
		c = append(c, clearance.CurvePoint{Angle: measure.FromDegrees(deg + tdc), Lift: mm(l.at(deg))})
	}
	return c
}

func intake(step, tdc float64) clearance.PistonQuestion {
	return clearance.PistonQuestion{
		Stroke: mm(86), Rod: mm(143), Curve: lobe{-30, 230, 10}.curve(step, tdc), TDC: measure.FromDegrees(tdc),
		MeasuredAt: new(measure.FromDegrees(10 + tdc)), Measured: new(mm(3)),
	}
}

// Against the plain way: the textbook's form of the piston, the lobe's own
// formula, and every hundredth of a degree.
func TestLeastAgainstEveryAngle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := lobe{rapid.Float64Range(-60, 0).Draw(t, "opens"), rapid.Float64Range(200, 260).Draw(t, "closes"), rapid.Float64Range(6, 14).Draw(t, "lift")}
		stroke, rod := rapid.Float64Range(50, 110).Draw(t, "stroke"), rapid.Float64Range(110, 200).Draw(t, "rod")
		lean := rapid.Float64Range(0, 25).Draw(t, "lean") * math.Pi / 180
		at, measured := rapid.Float64Range(-20, 30).Draw(t, "at"), rapid.Float64Range(0, 6).Draw(t, "measured")
		crown := rapid.SampledFrom([]string{"", clearance.PocketParallel, clearance.CrownFlat}).Draw(t, "crown")
		cam, wider := rapid.IntRange(-8, 8).Draw(t, "cam"), rapid.Float64Range(-0.1, 0.3).Draw(t, "wider")
		tdc := rapid.SampledFrom([]float64{0, 360, -3.5}).Draw(t, "tdc")
		q := clearance.PistonQuestion{
			Stroke: mm(stroke), Rod: mm(rod), Curve: l.curve(1, tdc), TDC: measure.FromDegrees(tdc),
			MeasuredAt: new(measure.FromDegrees(at + tdc)), Measured: new(mm(measured)),
			ValveLean: measure.FromDegrees(lean * 180 / math.Pi), Crown: crown,
			CurveLash: mm(0.2), Lashes: []measure.Length{mm(0.2 + wider)}, Cam: []measure.Angle{measure.Angle(cam) * measure.Degree},
		}
		a, err := clearance.Solve(clearance.Question{Piston: &q})
		require.NoError(t, err)

		r := stroke / 2
		down := func(deg float64) float64 {
			sin, cos := math.Sincos(deg * math.Pi / 180)
			return rod + r - (r*cos + math.Sqrt(rod*rod-r*r*sin*sin))
		}
		factor := math.Cos(lean)
		if crown == clearance.CrownFlat {
			factor = 1 / factor
		}
		every := func(cam, wider float64) (least, where float64) {
			least = math.Inf(1)
			for deg := -100.0; deg < 280; deg += 0.01 {
				c := measured + factor*(down(deg)-down(at)) + l.at(at) - max(0, l.at(deg+cam)-wider)
				if c < least {
					least, where = c, deg
				}
			}
			return least, where
		}
		// One point a degree of a lobe of 14 mm: what interpolation leaves is
		// under 0.002 mm at the nearest.
		const near = 0.002
		least, where := every(0, 0)
		assert.InDelta(t, least, a.Piston.Least.Left.Millimetres(), near)
		assert.InDelta(t, where, a.Piston.At.Degrees(), 1.5)
		least, _ = every(float64(cam), wider)
		require.Len(t, a.Piston.Cases, 1)
		assert.InDelta(t, least, a.Piston.Cases[0].Least.Millimetres(), near)
	})
}

// A valve that stays shut is nearest at top dead centre, by what the piston has
// gone less: 3 mm at 30 deg with stroke 86, rod 143 leaves 3 - 7.386405 mm.
// Source of the piston's 7.386405 mm: as above.
func TestShutValve(t *testing.T) {
	q := intake(5, 0)
	for i := range q.Curve {
		q.Curve[i].Lift = 0
	}
	q.MeasuredAt, q.Measured = new(30*measure.Degree), new(mm(10))
	a, err := clearance.Solve(clearance.Question{Piston: &q})
	require.NoError(t, err)
	assert.InDelta(t, 10-7.386405, a.Piston.Least.Left.Millimetres(), 1e-6)
	assert.InDelta(t, 0, a.Piston.At.Degrees(), 1e-3)
	assert.Equal(t, a.Piston.Least.Left, a.Piston.Drop)
}

// An intake comes nearer when advanced, an exhaust when retarded; wider lash
// takes either away; and the table holds the curve itself at 0.
func TestCamAndLash(t *testing.T) {
	q := intake(2, 360)
	q.Lashes = []measure.Length{0, mm(0.2)}
	q.Limit = new(mm(2))
	a, err := clearance.Solve(clearance.Question{Piston: &q})
	require.NoError(t, err)
	p := a.Piston
	require.Len(t, p.Cases, 18)
	for i := range 8 {
		assert.Greater(t, p.Cases[i].Least, p.Cases[i+1].Least, "advance brings the intake nearer")
		assert.Greater(t, p.Cases[9+i].Least, p.Cases[i].Least, "lash takes it away")
	}
	assert.Equal(t, measure.Angle(0), p.Cases[4].Cam)
	assert.Equal(t, p.Least.Left, p.Cases[4].Least)
	assert.Equal(t, p.At, p.Cases[4].At)
	assert.Equal(t, p.Cases[0].Verdict.Kind == verdict.Meets, p.Cases[0].Least-p.Least.LeftU >= mm(2), "its U counted")
	assert.Contains(t, p.Where, "ATDC")
	assert.Len(t, p.Curve, 121)

	// The same seen in a mirror is an exhaust, closing after top dead centre.
	exhaust := q
	exhaust.Curve = nil
	for i := len(q.Curve) - 1; i >= 0; i-- {
		exhaust.Curve = append(exhaust.Curve, clearance.CurvePoint{Angle: -q.Curve[i].Angle, Lift: q.Curve[i].Lift})
	}
	exhaust.TDC, exhaust.MeasuredAt, exhaust.Valve = -q.TDC, new(-*q.MeasuredAt), "exhaust"
	b, err := clearance.Solve(clearance.Question{Piston: &exhaust})
	require.NoError(t, err)
	for i := range 9 {
		assert.InDelta(t, float64(p.Cases[i].Least), float64(b.Piston.Cases[8-i].Least), 20)
	}
	assert.Contains(t, b.Piston.Where, "BTDC")
	assert.Equal(t, 100*measure.Thou, b.Piston.Least.Usual)
}

// Twice the engine, twice the clearance at the same angle.
func TestPistonScale(t *testing.T) {
	one := intake(1, 0)
	two := one
	two.Stroke, two.Rod, two.Measured = 2*one.Stroke, 2*one.Rod, new(2**one.Measured)
	two.Curve = nil
	for _, c := range one.Curve {
		two.Curve = append(two.Curve, clearance.CurvePoint{Angle: c.Angle, Lift: 2 * c.Lift})
	}
	a, err := clearance.Solve(clearance.Question{Piston: &one})
	require.NoError(t, err)
	b, err := clearance.Solve(clearance.Question{Piston: &two})
	require.NoError(t, err)
	assert.InDelta(t, 2*float64(a.Piston.Least.Left), float64(b.Piston.Least.Left), 20)
	assert.InDelta(t, a.Piston.At.Degrees(), b.Piston.At.Degrees(), 1e-3)
}

// The uncertainty covers what top dead centre out by half a degree and a
// clearance misread by 0.1 mm do.
func TestPistonUncertainty(t *testing.T) {
	q := intake(1, 0)
	a, err := clearance.Solve(clearance.Question{Piston: &q})
	require.NoError(t, err)
	u := a.Piston.Least.LeftU
	for _, off := range []measure.Angle{-measure.Degree / 2, measure.Degree / 2} {
		bad := q
		bad.TDC += off
		b, err := clearance.Solve(clearance.Question{Piston: &bad})
		require.NoError(t, err)
		assert.LessOrEqual(t, (b.Piston.Least.Left - a.Piston.Least.Left).Abs(), u)
	}
	assert.Greater(t, u, mm(0.1))
	assert.Less(t, u, mm(0.4))
}

// A curve cut off where the valve is still opening towards the piston is said
// to be, and a touch is called one.
func TestPistonSays(t *testing.T) {
	q := intake(1, 0)
	q.Curve = q.Curve[:123] // to 2 ATDC
	q.MeasuredAt = new(measure.Angle(0))
	a, err := clearance.Solve(clearance.Question{Piston: &q})
	require.NoError(t, err)
	assert.Contains(t, strings.Join(worksheet.In(a.Piston.Says, measure.InMillimetres), "\n"), "take more of the curve")

	q = intake(1, 0)
	q.Measured = new(mm(0.4))
	a, err = clearance.Solve(clearance.Question{Piston: &q})
	require.NoError(t, err)
	assert.Contains(t, strings.Join(worksheet.In(a.Piston.Says, measure.InMillimetres), "\n"), "valve and piston touch")
}

// No answer calls anything safe: it meets a limit of the user's or does not,
// and defers to the maker.
func TestVerdicts(t *testing.T) {
	for _, c := range []struct {
		closed, limit float64
		is            verdict.Kind
		says          string
	}{
		{13, 1, verdict.Meets, "meets the limit of 1 mm given, with 2 mm to spare"},
		{10.9, 1, verdict.CannotTell, "cannot tell: 0.1 mm too little for the limit of 1 mm given, but the uncertainty, 0.112 mm, is larger"},
		{11.05, 1, verdict.CannotTell, "cannot tell: 0.05 mm to spare of the limit of 1 mm given, but the uncertainty"},
		{10.2, 1, verdict.Fails, "does not meet the limit of 1 mm given: 0.8 mm too little"},
	} {
		a, err := clearance.Solve(clearance.Question{Retainer: &clearance.RetainerQuestion{Closed: mm(c.closed), Lift: mm(10), Limit: new(mm(c.limit))}})
		require.NoError(t, err)
		assert.Equal(t, c.is, a.Retainer.Verdict.Kind)
		assert.Contains(t, a.Retainer.Says.String(), c.says)
		assert.Contains(t, a.Retainer.Says.String(), "the maker's figures go before this")
		all, err := json.Marshal(a)
		require.NoError(t, err)
		assert.NotContains(t, strings.ToLower(string(all)), "safe")
	}
	a, err := clearance.Solve(clearance.Question{Retainer: &clearance.RetainerQuestion{Closed: mm(9), Lift: mm(10)}})
	require.NoError(t, err)
	assert.Contains(t, a.Retainer.Says.String(), "they touch, by 1 mm")
	assert.Equal(t, verdict.Fails, a.Retainer.Verdict.Kind, "parts that touch fail without a limit too")
	a, err = clearance.Solve(clearance.Question{Retainer: &clearance.RetainerQuestion{Closed: mm(13), Lift: mm(10)}})
	require.NoError(t, err)
	assert.Equal(t, verdict.NotJudged, a.Retainer.Verdict.Kind)
	assert.Contains(t, a.Retainer.Says.In(measure.InInches), "0.1181 in left; no limit was given, usual is 0.0600 in")
}

// What is not believed is not judged, and says why.
func TestADoubtEndsAVerdict(t *testing.T) {
	q := clearance.PistonQuestion{Stroke: mm(88), Rod: mm(150), MeasuredAt: new(10 * measure.Degree), Measured: new(mm(5)), Limit: new(mm(1)),
		Doubts: []verdict.Doubt{{Cause: verdict.Doubtful, Says: "no intake cam has its nose there"}}}
	for a := -60; a <= 60; a++ {
		lift := 3 * (1 + math.Sin(float64(a)*math.Pi/180))
		q.Curve = append(q.Curve, clearance.CurvePoint{Angle: measure.Angle(a) * measure.Degree, Lift: mm(lift)})
	}
	a, err := clearance.Solve(clearance.Question{Piston: &q})
	require.NoError(t, err)
	assert.Equal(t, verdict.NotJudged, a.Piston.Least.Verdict.Kind)
	assert.Contains(t, a.Piston.Least.Says.String(), "no intake cam has its nose there")
	for _, c := range a.Piston.Cases {
		assert.Equal(t, verdict.NotJudged, c.Verdict.Kind)
	}
}

func TestCoilBind(t *testing.T) {
	// 1.800 in installed, 0.500 in of lift, 1.240 in solid leave 0.060 in.
	a, err := clearance.Solve(clearance.Question{CoilBind: &clearance.CoilBindQuestion{Installed: in(1.8), Lift: in(0.5), Solid: in(1.24), Limit: new(in(0.06))}})
	require.NoError(t, err)
	assert.Equal(t, in(0.06), a.CoilBind.Left)
	assert.Equal(t, verdict.CannotTell, a.CoilBind.Verdict.Kind, "at the limit, and the heights are known to 0.2 mm")
	assert.Equal(t, 60*measure.Thou, a.CoilBind.Usual)
	_, err = clearance.Solve(clearance.Question{CoilBind: &clearance.CoilBindQuestion{Installed: in(1), Lift: in(0.5), Solid: in(1.24)}})
	assert.ErrorContains(t, err, "does not go into an installed height")
}

// Slot against stud. Upright there is half of slot less stud; at phi the stud
// stands y tan phi off and is d/cos phi wide in the plane of the slot: slot 16,
// stud 10, y 8, phi 10 deg: 8 - 1.410616 - 5.077133 = 1.512251 mm (two right
// triangles; worked out apart from this code).
func TestSlot(t *testing.T) {
	q := clearance.SlotQuestion{Slot: mm(16), Stud: mm(10), Height: mm(8), Closed: 0, Full: 10 * measure.Degree}
	a, err := clearance.Solve(clearance.Question{Slot: &q})
	require.NoError(t, err)
	assert.Equal(t, mm(3), a.Slot.Closed.Left)
	assert.InDelta(t, 1.512251, a.Slot.Full.Left.Millimetres(), 1e-6)
	q.Centred = 5 * measure.Degree
	b, err := clearance.Solve(clearance.Question{Slot: &q})
	require.NoError(t, err)
	assert.Equal(t, b.Slot.Closed.Left, b.Slot.Full.Left, "even about the middle")
	q.Stud = mm(16)
	_, err = clearance.Solve(clearance.Question{Slot: &q})
	assert.ErrorContains(t, err, "does not pass a slot")
}

func TestQuestionsThatCannotBe(t *testing.T) {
	curve := `[{"angle_deg":0,"lift_mm":0},{"angle_deg":10,"lift_mm":1},{"angle_deg":20,"lift_mm":2},{"angle_deg":30,"lift_mm":1}]`
	piston := func(s string) string { return fmt.Sprintf(`{"piston":{"stroke_mm":86,"rod_mm":143,%s}}`, s) }
	for text, field := range map[string]string{
		`{}`:                                 "",
		`{"piston":{"curve":` + curve + `}}`: "piston.stroke_mm",
		`{"piston":{"stroke_mm":86,"rod_mm":40,"curve":` + curve + `}}`: "piston.rod_mm",
		piston(`"curve":[]`): "piston.curve",
		piston(`"curve":[{"angle_deg":0,"lift_mm":0},{"angle_deg":0,"lift_mm":1},{"angle_deg":20,"lift_mm":2},{"angle_deg":30,"lift_mm":1}]`):  "piston.curve[1].angle_deg",
		piston(`"curve":[{"angle_deg":0,"lift_mm":0},{"angle_deg":1,"lift_mm":-9},{"angle_deg":20,"lift_mm":2},{"angle_deg":30,"lift_mm":1}]`): "piston.curve[1].lift_mm",
		piston(`"curve":[{"angle_deg":0,"lift_mm":0},{"angle_deg":1,"lift_mm":NaN}]`):                                                          "piston.curve[1].lift_mm",
		piston(`"curve":` + curve + `,"measured_at_deg":10`):                                                                                   "piston.measured_clearance_mm",
		piston(`"curve":` + curve + `,"measured_clearance_mm":2`):                                                                              "piston.measured_at_deg",
		piston(`"curve":` + curve + `,"measured_clearance_mm":2,"measured_at_deg":99`):                                                         "piston.measured_at_deg",
		piston(`"curve":` + curve + `,"measured_clearance_mm":-2,"measured_at_deg":10`):                                                        "piston.measured_clearance_mm",
		piston(`"curve":` + curve + `,"measured_clearance_mm":2,"measured_at_deg":10,"valve":"inlet"`):                                         "piston.valve",
		piston(`"curve":` + curve + `,"measured_clearance_mm":2,"measured_at_deg":10,"crown":"dome"`):                                          "piston.crown",
		piston(`"curve":` + curve + `,"measured_clearance_mm":2,"measured_at_deg":10,"cam_deg":[0,99]`):                                        "piston.cam_deg[1]",
		piston(`"curve":` + curve + `,"measured_clearance_mm":2,"measured_at_deg":10,"lashes_mm":[-1]`):                                        "piston.lashes_mm[0]",
		piston(`"curve":` + curve + `,"measured_clearance_mm":2,"measured_at_deg":10,"tdc_u_deg":-1`):                                          "piston.tdc_u_deg",
		`{"coil_bind":{"lift_mm":10,"solid_height_mm":20}}`:                                                                                    "coil_bind.installed_height_mm",
		`{"coil_bind":{"installed_height_mm":40,"lift_mm":10,"solid_heigth_mm":20}}`:                                                           "coil_bind.solid_heigth_mm",
		`{"retainer":{"closed_gap_mm":-1,"lift_mm":10}}`:                                                                                       "retainer.closed_gap_mm",
		`{"retainer":{"closed_gap_mm":12}}`:                                                                                                    "retainer.lift_mm",
		`{"slot":{"slot_length_mm":16,"stud_diameter_mm":10,"closed_deg":5,"full_deg":-5}}`:                                                    "slot.full_deg",
		`{"slot":{"slot_length_mm":16,"stud_diameter_mm":10,"closed_deg":-80,"full_deg":5}}`:                                                   "slot.closed_deg",
	} {
		var q clearance.Question
		err := worksheet.Read(strings.NewReader(text), &q)
		if err == nil {
			_, err = clearance.Solve(q)
		}
		var p *worksheet.Problem
		if assert.ErrorAs(t, err, &p, "%s", text) {
			assert.Equal(t, field, p.Field, "%s: %v", text, err)
		}
	}
}

func FuzzSolve(f *testing.F) {
	q := intake(20, 0)
	b, err := json.Marshal(clearance.Question{Piston: &q})
	require.NoError(f, err)
	f.Add(b)
	f.Add([]byte(`{"coil_bind":{"installed_height_mm":45,"lift_mm":11,"solid_height_mm":30},"retainer":{"closed_gap_mm":14,"lift_mm":11,"limit_mm":1.5},"slot":{"slot_length_mm":16,"stud_diameter_mm":10,"height_mm":6,"closed_deg":-10,"full_deg":10}}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		var q clearance.Question
		if worksheet.Read(bytes.NewReader(b), &q) != nil {
			return
		}
		a, err := clearance.Solve(q)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		_, err = json.Marshal(a)
		require.NoError(t, err)
		if a.Piston != nil && len(q.Piston.Cam) == 0 && len(q.Piston.Lashes) == 0 {
			require.Equal(t, a.Piston.Least.Left, a.Piston.Cases[4].Least)
		}
	})
}

func BenchmarkPiston(b *testing.B) {
	q := intake(1, 0)
	q.Lashes = []measure.Length{0, mm(0.15), mm(0.3)}
	for b.Loop() {
		if _, err := clearance.Solve(clearance.Question{Piston: &q}); err != nil {
			b.Fatal(err)
		}
	}
}

// By a top dead centre that puts the nose where no cam has one nothing is judged,
// whatever is left over.
func TestNothingIsJudgedFromAnImpossibleTopDeadCentre(t *testing.T) {
	q := clearance.Question{Piston: &clearance.PistonQuestion{
		Stroke: 88 * measure.Millimetre, Rod: 145 * measure.Millimetre, Limit: new(measure.Millimetre),
		MeasuredAt: new(10 * measure.Degree), Measured: new(8 * measure.Millimetre),
	}}
	for deg := -40.0; deg <= 260; deg += 5 {
		lift := 10 * math.Max(0, 1-math.Pow((deg-110)/140, 2))
		q.Piston.Curve = append(q.Piston.Curve, clearance.CurvePoint{Angle: measure.FromDegrees(deg), Lift: measure.FromMillimetres(lift)})
	}
	a, err := clearance.Solve(q)
	require.NoError(t, err)
	require.NotEqual(t, verdict.NotJudged, a.Piston.Least.Verdict.Kind, "at 110 after it is judged")
	q.Piston.TDC = 100 * measure.Degree
	a, err = clearance.Solve(q)
	require.NoError(t, err)
	assert.Equal(t, verdict.NotJudged, a.Piston.Least.Verdict.Kind)
	assert.Equal(t, verdict.NotJudged, a.Piston.Cases[0].Verdict.Kind)
	assert.Contains(t, a.Piston.Least.Says.String(), "not to be judged")
}
