package clearance_test

import (
	"bytes"
	"encoding/json"
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

func mm(v float64) measure.Length { return measure.FromMillimetres(v) }
func in(v float64) measure.Length { return measure.FromInches(v) }

// psi in megapascals: 1 lbf/in2 of the exact pound-force and inch.
const psi = 4.4482216152605 / (25.4 * 25.4)

// Shigley, Mechanical Engineering Design, example 10-1, from memory: no. 16
// music wire of 0.037 in, 7/16 in outside, squared ends, 12.5 coils, G 11.85e6
// psi: k 4.13 lbf/in, C 10.8, KB 1.124, solid 0.500 in, y = 6.46 lbf/k = 1.56
// in, free 2.06 in. All parts agree on recomputing; the book rounds D to 0.400
// in, hence 0.5 %.
func TestTextbookSpring(t *testing.T) {
	a, err := clearance.SolveSpring(clearance.SpringQuestion{
		Wire: in(0.037), OuterDiameter: in(7.0 / 16), TotalCoils: 12.5, Ends: clearance.Closed, Modulus: 11.85e6 * psi,
		Installed: in(2.06), Lift: in(1), Free: in(2.06),
	})
	require.NoError(t, err)
	assert.InEpsilon(t, 4.13, a.Rate.PoundsAnInch(), 0.005)
	assert.InDelta(t, 4.1156, a.Rate.PoundsAnInch(), 5e-5, "with D 0.4005 in")
	assert.InEpsilon(t, 10.8, *a.Index, 0.005)
	assert.InDelta(t, 1.124, *a.KB, 0.001)
	assert.InDelta(t, 0.4995, a.Solid.Inches(), 1e-6)
	assert.Equal(t, 10.5, *a.ActiveCoils)
	// 6.46 lbf press it from 2.06 in to solid.
	assert.InEpsilon(t, 6.46/(2.06-0.5), a.Rate.PoundsAnInch(), 0.01)

	b, err := clearance.SolveSpring(clearance.SpringQuestion{Wire: in(0.037), MeanDiameter: in(0.400), ActiveCoils: 10.5, Modulus: 11.85e6 * psi})
	require.NoError(t, err)
	assert.InDelta(t, 4.1311, b.Rate.PoundsAnInch(), 5e-5)
}

// A valve spring's size: d 0.200, D 1.050 in, Na 5.5, G 11.5e6 psi: 361.2412
// lbf/in; solid squared and ground d(Na+2) = 1.500, squared only d(Na+3) =
// 1.700 in. Source: derived apart from this code; solid-height rules Shigley,
// Table 10-1, from memory. Metric: d 5, D 35, Na 8, G 79300 MPa: 18.062136
// N/mm, derived apart from this code.
func TestValveSpring(t *testing.T) {
	q := clearance.SpringQuestion{Wire: in(0.2), MeanDiameter: in(1.05), ActiveCoils: 5.5, Modulus: 11.5e6 * psi}
	for ends, solid := range map[string]float64{"": 1.5, clearance.ClosedGround: 1.5, clearance.Closed: 1.7} {
		q.Ends = ends
		a, err := clearance.SolveSpring(q)
		require.NoError(t, err)
		assert.InDelta(t, 361.2412, a.Rate.PoundsAnInch(), 1e-4)
		assert.InDelta(t, solid, a.Solid.Inches(), 1e-7)
	}
	a, err := clearance.SolveSpring(clearance.SpringQuestion{Wire: mm(5), MeanDiameter: mm(35), ActiveCoils: 8})
	require.NoError(t, err)
	assert.InDelta(t, 18.062136, float64(a.Rate), 1e-6)
}

// Coils and solid height of all four ends. Shigley, Table 10-1, from memory:
// plain Na = Nt, d(Nt+1); plain and ground Nt-1, d Nt; squared Nt-2, d(Nt+1);
// squared and ground Nt-2, d Nt.
func TestEnds(t *testing.T) {
	for _, c := range []struct {
		ends          string
		active, solid float64
	}{{clearance.Plain, 8, 36}, {clearance.PlainGround, 7, 32}, {clearance.Closed, 6, 36}, {clearance.ClosedGround, 6, 32}} {
		a, err := clearance.SolveSpring(clearance.SpringQuestion{Wire: mm(4), MeanDiameter: mm(28), TotalCoils: 8, Ends: c.ends})
		require.NoError(t, err)
		assert.Equal(t, c.active, *a.ActiveCoils, c.ends)
		assert.Equal(t, mm(c.solid), *a.Solid, c.ends)
	}
}

func TestLoadsFromDimensions(t *testing.T) {
	a, err := clearance.SolveSpring(clearance.SpringQuestion{
		Wire: mm(5), MeanDiameter: mm(35), ActiveCoils: 8, Free: mm(70), Installed: mm(60), Lift: mm(8), Limit: new(mm(1.5)),
	})
	require.NoError(t, err)
	assert.InDelta(t, 180.62136, float64(*a.SeatLoad), 1e-4)
	assert.InDelta(t, 18*18.062136, float64(*a.OpenLoad), 1e-4)
	assert.InDelta(t, 18*18.062136/4.4482216152605, a.OpenLoad.Pounds(), 1e-4)
	assert.Equal(t, mm(60-8-50), a.CoilBind.Left)
	// 2 mm left of 1.5, but ten coils counted to a quarter of one of 5 mm are not known to
	// half a millimetre: sqrt(0.2^2 + (10 0.02)^2 + 2 (5/4)^2 + 0.05^2) = 1.791.
	assert.InDelta(t, 1.791, a.CoilBind.LeftU.Millimetres(), 1e-3)
	assert.Equal(t, verdict.CannotTell, a.CoilBind.Verdict.Kind)
	// 8 F D KB / (pi d^3), C = 7: KB = 30/25.
	assert.InDelta(t, 8*18*18.062136*35*1.2/(math.Pi*125), *a.OpenStress, 1e-3)
	assert.Greater(t, *a.OpenLoadU, *a.SeatLoadU)
}

// Loads that lie on a line give that line back, whatever dimensions say.
func TestLoadsFromATester(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.Float64Range(5, 100).Draw(t, "rate")
		free := rapid.Float64Range(45, 80).Draw(t, "free")
		q := clearance.SpringQuestion{Installed: mm(free - 8), Lift: mm(10)}
		for i := range rapid.IntRange(2, 6).Draw(t, "loads") {
			h := free - 3 - 4*float64(i)
			q.Loads = append(q.Loads, clearance.Load{Height: mm(h), Load: clearance.Force(rate * (free - h))})
		}
		a, err := clearance.SolveSpring(q)
		require.NoError(t, err)
		assert.InEpsilon(t, rate, float64(a.Rate), 1e-5)
		assert.Equal(t, "loads", a.From)
		assert.InDelta(t, free, a.Free.Millimetres(), 1e-4)
		assert.InEpsilon(t, 8*rate, float64(*a.SeatLoad), 1e-4)
		assert.InEpsilon(t, 18*rate, float64(*a.OpenLoad), 1e-4)
		assert.Positive(t, a.RateU)
	})
	// Far from what the dimensions make of it, it says so.
	a, err := clearance.SolveSpring(clearance.SpringQuestion{
		Wire: mm(5), MeanDiameter: mm(35), ActiveCoils: 8,
		Loads: []clearance.Load{{Height: mm(60), Load: 300}, {Height: mm(50), Load: 600}},
	})
	require.NoError(t, err)
	assert.Contains(t, strings.Join(worksheet.In(a.Says, measure.InMillimetres), "\n"), "count the coils again")
	assert.InDelta(t, 18.062136, float64(*a.DimensionsRate), 1e-6)
}

func TestSeatLoadAndRate(t *testing.T) {
	a, err := clearance.SolveSpring(clearance.SpringQuestion{Wire: mm(5), MeanDiameter: mm(35), ActiveCoils: 8, SeatLoad: 400, Lift: mm(10)})
	require.NoError(t, err)
	assert.InDelta(t, 580.62136, float64(*a.OpenLoad), 1e-4)
	// Coils that touch before full lift have no load there.
	a, err = clearance.SolveSpring(clearance.SpringQuestion{Wire: mm(5), MeanDiameter: mm(35), ActiveCoils: 8, Free: mm(70), Installed: mm(60), Lift: mm(12)})
	require.NoError(t, err)
	assert.Equal(t, verdict.Fails, a.CoilBind.Verdict.Kind)
	assert.Nil(t, a.OpenLoad)
	assert.Contains(t, strings.Join(worksheet.In(a.Says, measure.InMillimetres), "\n"), "touch before full lift")
}

// Rate goes with the size of the drawing, loads with its square.
func TestSpringScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.Float64Range(0.5, 2).Draw(t, "scale")
		of := func(k float64) clearance.SpringAnswer {
			a, err := clearance.SolveSpring(clearance.SpringQuestion{
				Wire: mm(4 * k), MeanDiameter: mm(30 * k), ActiveCoils: 6, Free: mm(60 * k), Installed: mm(50 * k), Lift: mm(9 * k)})
			require.NoError(t, err)
			return a
		}
		one, big := of(1), of(k)
		assert.InEpsilon(t, k*float64(one.Rate), float64(big.Rate), 1e-5)
		assert.InEpsilon(t, k*k*float64(*one.OpenLoad), float64(*big.OpenLoad), 1e-5)
		assert.InEpsilon(t, *one.OpenStress, *big.OpenStress, 1e-5)
	})
}

func TestSpringsThatCannotBe(t *testing.T) {
	for text, field := range map[string]string{
		`{}`: "wire_mm",
		`{"loads":[{"height_mm":40,"load_n":300}]}`:                                                        "wire_mm",
		`{"wire_mm":-4,"mean_diameter_mm":28,"active_coils":6}`:                                            "wire_mm",
		`{"wire_mm":4,"active_coils":6}`:                                                                   "mean_diameter_mm",
		`{"wire_mm":4,"mean_diameter_mm":28,"outer_diameter_mm":32,"active_coils":6}`:                      "mean_diameter_mm",
		`{"wire_mm":4,"mean_diameter_mm":5,"active_coils":6}`:                                              "mean_diameter_mm",
		`{"wire_mm":4,"mean_diameter_mm":28}`:                                                              "active_coils",
		`{"wire_mm":4,"mean_diameter_mm":28,"total_coils":2}`:                                              "active_coils",
		`{"wire_mm":4,"mean_diameter_mm":28,"active_coils":6,"ends":"open"}`:                               "ends",
		`{"wire_mm":4,"mean_diameter_mm":28,"active_coils":6,"shear_modulus_mpa":1}`:                       "shear_modulus_mpa",
		`{"loads":[{"height_mm":40,"load_n":300},{"height_mm":30,"load_n":-1}]}`:                           "loads[1].load_n",
		`{"loads":[{"height_mm":40,"load_n":300},{"load_n":500}]}`:                                         "loads[1].height_mm",
		`{"wire_mm":4,"mean_diameter_mm":28,"active_coils":6,"seat_load_n":-5}`:                            "seat_load_n",
		`{"wire_mm":4,"mean_diameter_mm":28,"active_coil":6}`:                                              "active_coil",
		`{"wire_mm":4,"mean_diameter_mm":28,"active_coils":6,"installed_height_mm":40000}`:                 "installed_height_mm",
		`{"wire_mm":4,"mean_diameter_mm":28,"active_coils":6,"coil_bind_limit_mm":-1,"free_length_mm":50}`: "coil_bind_limit_mm",
		`{"loads":[{"height_mm":40,"load_n":300},{"height_mm":40.1,"load_n":290}]}`:                        "loads",
		`{"loads":[{"height_mm":40,"load_n":300},{"height_mm":30,"load_n":200}]}`:                          "loads",
		`{"wire_mm":5,"mean_diameter_mm":30,"active_coils":8,"installed_height_mm":40,"lift_mm":5}`:        "installed_height_mm",
		// Lengths that do not go together, which gave 19 kN and a gap of -263 mm.
		`{"wire_mm":4,"mean_diameter_mm":28,"active_coils":6,"free_length_mm":50,"installed_height_mm":42,"lift_mm":43}`: "lift_mm",
		`{"wire_mm":4,"mean_diameter_mm":28,"active_coils":6,"free_length_mm":50,"installed_height_mm":51}`:              "installed_height_mm",
		`{"wire_mm":4,"mean_diameter_mm":28,"active_coils":6,"free_length_mm":31}`:                                       "free_length_mm",
		`{"loads":[{"height_mm":40,"load_n":300},{"height_mm":30,"load_n":500}],"free_length_mm":38}`:                    "loads[0].height_mm",
		`{"loads":[{"height_mm":40,"load_n":300},{"height_mm":30,"load_n":500}],"solid_height_mm":31}`:                   "loads[1].height_mm",
		// The loads make a free length of 55 mm.
		`{"loads":[{"height_mm":40,"load_n":300},{"height_mm":30,"load_n":500}],"installed_height_mm":56,"lift_mm":11}`:  "installed_height_mm",
		`{"wire_mm":6,"mean_diameter_mm":24,"active_coils":6,"free_length_mm":90,"installed_height_mm":60,"lift_mm":10}`: "wire_mm",
	} {
		var q clearance.SpringQuestion
		err := worksheet.Read(strings.NewReader(text), &q)
		if err == nil {
			_, err = clearance.SolveSpring(q)
		}
		var p *worksheet.Problem
		if assert.ErrorAs(t, err, &p, "%s", text) {
			assert.Equal(t, field, p.Field, "%s: %v", text, err)
		}
	}
}

func FuzzSolveSpring(f *testing.F) {
	for _, s := range []string{
		`{"wire_mm":5,"mean_diameter_mm":35,"active_coils":8,"free_length_mm":70,"installed_height_mm":60,"lift_mm":8,"coil_bind_limit_mm":1.5}`,
		`{"loads":[{"height_mm":40,"load_n":300},{"height_mm":30,"load_n":500}],"installed_height_mm":42,"lift_mm":11,"solid_height_mm":26}`,
		`{"wire_mm":0.1,"outer_diameter_mm":0.4,"total_coils":400,"ends":"plain"}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var q clearance.SpringQuestion
		if worksheet.Read(bytes.NewReader(b), &q) != nil {
			return
		}
		a, err := clearance.SolveSpring(q)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		_, err = json.Marshal(a)
		require.NoError(t, err)
		require.Positive(t, a.Rate)
	})
}
