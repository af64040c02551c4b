package rocker

import (
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// How an indicator's tip meets what it measures; which of the two decides the
// sign of what a lean does to the reading.
const (
	// OnFlat: the tip rests on a flat face square to the motion (a retainer's
	// rim) and slides over it: it reads high, true = reading x cos.
	OnFlat = "flat"
	// OnPoint: the tip follows one point of the part (a centre punch, a stem's
	// end): it reads low, true = reading / cos.
	OnPoint = "point"
)

// LeanQuestion asks what an indicator's lean hides.
type LeanQuestion struct {
	// Lean is between the spindle and the valve axis; LeanU how well that is
	// known (k = 2). Default 2 deg, by eye.
	Lean  measure.Angle  `json:"lean_deg" bound:"far lean" flag:"lean" help:"angle between spindle and valve axis"`
	LeanU *measure.Angle `json:"lean_u_deg,omitempty" bound:"angle u" flag:"lean-u" help:"how well that is known (k = 2; default 2, by eye)"`
	// Reading is the lift that the indicator shows.
	Reading measure.Length `json:"reading_mm" bound:"reading" flag:"reading" help:"lift that the indicator shows"`
	// Tip is OnFlat or OnPoint; left out, both are told.
	Tip string `json:"tip,omitzero" flag:"tip" help:"flat or point (default: both are told)"`
}

// LeanAnswer is the true lift for each way the tip can rest.
type LeanAnswer struct {
	Fixtures []LeanFixture `json:"fixtures"`
	// Hidden is the most that the set-up may hide, either way: the largest
	// error over the fixtures at the steepest lean within LeanU.
	Hidden measure.Length `json:"hidden_mm"`
	worksheet.Basis
}

// LeanFixture is the true lift for one fixture.
type LeanFixture struct {
	Tip   string         `json:"tip"`
	True  measure.Length `json:"true_mm"`
	TrueU measure.Length `json:"true_u_mm"`
	// ReadsHigh is reading minus true; below zero when it reads low.
	ReadsHigh        measure.Length `json:"reads_high_mm"`
	ReadsHighPercent float64        `json:"reads_high_percent"`
}

// Lean answers what an indicator out of line hides (the cosine error). Derived
// here from the two right triangles.
func Lean(q LeanQuestion) (LeanAnswer, error) {
	var a LeanAnswer
	var c worksheet.Check
	if c.Bounds(q); c.Err() != nil {
		return a, c.Err()
	}
	c.Lean("lean_deg", q.Lean, 60*measure.Degree)
	c.Sane("reading_mm", q.Reading)
	c.That(q.Reading != 0, "reading_mm", "is missing (or 0): give the lift that the indicator shows")
	c.That(q.Tip == "" || q.Tip == OnFlat || q.Tip == OnPoint, "tip", "is %q: expected %q or %q", q.Tip, OnFlat, OnPoint)
	leanU := 2 * measure.Degree
	if q.LeanU != nil {
		leanU = *q.LeanU
		c.That(leanU >= 0 && leanU <= 20*measure.Degree, "lean_u_deg", "is %v: expected 0 to 20 deg", leanU)
	} else {
		a.Assume("the lean was judged by eye, to 2 deg")
	}
	if err := c.Err(); err != nil {
		return a, err
	}
	reading, lean, u := q.Reading.Millimetres(), math.Abs(radians(q.Lean)), radians(leanU)
	for _, f := range []struct {
		tip  string
		true func(lean float64) float64
		says string
	}{
		{OnFlat, func(lean float64) float64 { return reading * math.Cos(lean) },
			"flat: the tip rests on a flat face square to the motion and slides over it"},
		{OnPoint, func(lean float64) float64 { return reading / math.Cos(lean) },
			"point: the tip follows one point of the moving part"},
	} {
		if q.Tip != "" && q.Tip != f.tip {
			continue
		}
		truth := f.true(lean)
		steep, shallow := f.true(lean+u), f.true(max(0, lean-u))
		a.Fixtures = append(a.Fixtures, LeanFixture{
			Tip: f.tip, True: measure.FromMillimetres(truth),
			TrueU:            measure.FromMillimetres(max(math.Abs(steep-truth), math.Abs(shallow-truth))),
			ReadsHigh:        measure.FromMillimetres(reading - truth),
			ReadsHighPercent: 100 * (reading/truth - 1),
		})
		a.Hidden = max(a.Hidden, measure.FromMillimetres(math.Abs(steep-reading)))
		a.Assume("%s", f.says)
	}
	a.Cite("cosine error of an indicator: two right triangles, derived here")
	return a, nil
}
