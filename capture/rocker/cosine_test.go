package rocker

import (
	"bytes"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Both fixtures. Source: derived apart from this code from the right triangle
// and verified numerically, tolerance 1e-6; reading 0.5000 in.
func TestLean(t *testing.T) {
	for _, c := range []struct{ lean, flatHigh, flatTrue, pointHigh, pointTrue float64 }{
		{5, 0.3820, 0.498097, -0.3805, 0.501910},
		{10, 1.5427, 0.492404, -1.5192, 0.507713},
		{15, 3.5276, 0.482963, -3.4074, 0.517638},
		{20, 6.4178, 0.469846, -6.0307, 0.532089},
	} {
		for _, side := range []float64{1, -1} {
			a, err := Lean(LeanQuestion{Lean: measure.FromDegrees(side * c.lean), LeanU: new(measure.Angle(0)), Reading: measure.FromInches(0.5)})
			require.NoError(t, err)
			require.Len(t, a.Fixtures, 2)
			flat, point := a.Fixtures[0], a.Fixtures[1]
			assert.Equal(t, OnFlat, flat.Tip)
			assert.InDelta(t, c.flatTrue, flat.True.Inches(), 1e-6)
			assert.InDelta(t, c.flatHigh, flat.ReadsHighPercent, 6e-5)
			assert.Equal(t, OnPoint, point.Tip)
			assert.InDelta(t, c.pointTrue, point.True.Inches(), 1e-6)
			assert.InDelta(t, c.pointHigh, point.ReadsHighPercent, 6e-5)
			assert.Zero(t, flat.TrueU)
			assert.InDelta(t, c.pointTrue-0.5, a.Hidden.Inches(), 1e-6)
		}
	}
}

// Upright by eye, 2 deg either way, hides 0.06 %: 1 - cos 2 deg = 0.000609.
func TestLeanByEye(t *testing.T) {
	a, err := Lean(LeanQuestion{Reading: measure.FromMillimetres(10), Tip: OnFlat})
	require.NoError(t, err)
	require.Len(t, a.Fixtures, 1)
	assert.Equal(t, measure.FromMillimetres(10), a.Fixtures[0].True)
	assert.InDelta(t, 0.00609, a.Hidden.Millimetres(), 1e-5)
	assert.Equal(t, a.Hidden, a.Fixtures[0].TrueU)
}

func TestLeanRefuses(t *testing.T) {
	for field, q := range map[string]LeanQuestion{
		"reading_mm": {Lean: measure.Degree},
		"lean_deg":   {Lean: 89 * measure.Degree, Reading: measure.Millimetre},
		"lean_u_deg": {LeanU: new(-measure.Degree), Reading: measure.Millimetre},
		"tip":        {Tip: "side", Reading: measure.Millimetre},
	} {
		_, err := Lean(q)
		var p *worksheet.Problem
		require.ErrorAs(t, err, &p)
		assert.Equal(t, field, p.Field)
	}
}

func FuzzLean(f *testing.F) {
	for _, s := range []string{`{"lean_deg":10,"reading_mm":12.7}`, `{"lean_deg":-60,"lean_u_deg":20,"reading_mm":-1,"tip":"point"}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var q LeanQuestion
		if worksheet.Read(bytes.NewReader(b), &q) != nil {
			return
		}
		a, err := Lean(q)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		_, err = json.Marshal(a)
		require.NoError(t, err)
		require.GreaterOrEqual(t, a.Hidden, measure.Length(0))
	})
}
