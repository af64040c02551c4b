package photo

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// straight is a picture of a rocker straight on: an arm of 600 pixels, so many
// degrees below square, a stem turned with it by roll.
func straight(below, bend, roll float64) Photograph {
	at := func(x, y float64) []Point { // right and down of the tip, before the roll
		s, c := math.Sincos(roll * math.Pi / 180)
		return []Point{{800 + c*x - s*y, 800 + s*x + c*y}}
	}
	s, c := math.Sincos(below * math.Pi / 180)
	sb, cb := math.Sincos((below + bend) * math.Pi / 180)
	return Photograph{Width: 1600, Height: 1600, Marks: Marks{
		StemA: at(0, 20), StemB: at(0, 620), Tip: at(0, 0), Pivot: at(-600*c, -600*s),
		Ball: at(-600*c-100*cb, -600*s-100*sb),
	}}
}

// Right triangles: 600 pixels for 40 mm, 5 degrees below square, is 40 sin 5° =
// 3.4862 mm of lift beyond square.
func TestOnePhotographStraightOn(t *testing.T) {
	for _, roll := range []float64{0, 7, -20, 90, 180} {
		for _, mirrored := range []bool{false, true} {
			p := straight(5, 3, roll)
			if mirrored {
				for _, m := range p.places() {
					for i := range m.points {
						m.points[i].X = 1600 - m.points[i].X
					}
				}
			}
			p.StemA, p.StemB = p.StemB, p.StemA // whichever is marked first
			p.AtLift = new(6 * measure.Millimetre)
			a, err := Solve(Question{Lift: 12 * measure.Millimetre, ValveArm: 40 * measure.Millimetre, PushrodLean: new(-3 * measure.Degree), Photographs: []Photograph{p}})
			require.NoError(t, err)
			assert.InDelta(t, 5, a.HalfAngle.Degrees(), 1e-5)
			assert.InDelta(t, -40*math.Sin(5*math.Pi/180), a.Raise.Millimetres(), 1e-5)
			assert.InDelta(t, 3, a.Adjuster.Bend.Degrees(), 1e-5)
			assert.InDelta(t, 6, a.Adjuster.RockerRatio, 1e-6)
			assert.InDelta(t, 40.0/6*math.Sin(3*math.Pi/180), a.Adjuster.BallAboveLine.Millimetres(), 1e-5)
			assert.InDelta(t, -40*math.Sin(5*math.Pi/180)-40.0/6*math.Sin(8*math.Pi/180), a.Adjuster.Below.Millimetres(), 1e-5)
			assert.Contains(t, a.Says[0].String(), "lower the stand by 3.486 mm")
		}
	}
}

// Photographs at three lifts tell the arm: asin is not a line, but three points of
// it fix both unknowns.
func TestSeveralTellTheArm(t *testing.T) {
	const arm, square = 40.0, 4.5
	q := Question{Lift: 12 * measure.Millimetre, ValveArm: 36 * measure.Millimetre, ArmsU: new(20 * measure.Millimetre), MarkU: new(0.02),
		CameraWithin: new(measure.Angle(0)), DistortionWithin: new(0.0)}
	for _, lift := range []float64{0, 3, 6, 9, 12} {
		p := straight(math.Asin((lift-square)/arm)*180/math.Pi, 0, 1)
		p.AtLift, p.AtLiftU = new(measure.FromMillimetres(lift)), new(measure.Micrometre)
		q.Photographs = append(q.Photographs, p)
	}
	a, err := Solve(q)
	require.NoError(t, err)
	assert.InDelta(t, arm, a.ValveArm.Millimetres(), 0.01)
	assert.InDelta(t, square, a.SquareAt.Millimetres(), 0.005)
	assert.Less(t, a.ValveArmU, 50*measure.Micrometre)
	said := func(a Answer) string { return strings.Join(worksheet.In(a.Says, measure.InMillimetres), "\n") }
	assert.NotContains(t, said(a), "does not go")

	q.Photographs[2].AtLift = new(8 * measure.Millimetre)
	a, err = Solve(q)
	require.NoError(t, err)
	assert.Contains(t, said(a), "photograph 3 of 5 does not go with the others")
}

// The centre of a circle through three marks, and how much worse a short arc
// tells it: sigma^2 (J'J)^-1 by hand for three marks at 0, 120 and 240 degrees is
// 2/3 of a mark's variance each way.
func TestRim(t *testing.T) {
	around := func(degrees ...float64) []Point {
		var list []Point
		for _, d := range degrees {
			s, c := math.Sincos(d * math.Pi / 180)
			list = append(list, Point{500 + 90*c, 400 + 90*s})
		}
		return list
	}
	var s scatter
	m, err := rim(around(0, 120, 240), vec{400, 400}, &s)
	require.NoError(t, err)
	assert.InDelta(t, 100, m.at.x, 1e-9)
	assert.InDelta(t, 0, m.at.y, 1e-9)
	assert.InDelta(t, 2.0/3, m.spread[0].dot(m.spread[0]), 1e-9)
	assert.InDelta(t, math.Sqrt(2.0/3), m.spread[1].length(), 1e-9)
	assert.Zero(t, s.freedom)

	short, err := rim(around(0, 20, 40), vec{400, 400}, &s)
	require.NoError(t, err)
	assert.Greater(t, short.spread[0].length()+short.spread[1].length(), 10.0)
	_, err = rim([]Point{{1, 1}, {2, 2}, {3, 3}}, vec{}, &s)
	assert.ErrorIs(t, err, errRim)
	_, err = rim([]Point{{1, 1}, {1, 1}, {1, 1}}, vec{}, &s)
	assert.ErrorIs(t, err, errRim)
}

func TestWhatIsRefused(t *testing.T) {
	good := func() Question {
		return Question{Lift: 12 * measure.Millimetre, Photographs: []Photograph{straight(5, 0, 0)}}
	}
	_, err := Solve(good())
	require.NoError(t, err)
	for _, c := range []struct {
		name string
		do   func(q *Question, p *Photograph)
		says string
	}{
		{"none", func(q *Question, _ *Photograph) { q.Photographs = nil }, "photographs: is missing"},
		{"no lift", func(q *Question, _ *Photograph) { q.Lift = 0 }, "lift_mm: is missing"},
		{"no tip", func(_ *Question, p *Photograph) { p.Tip = nil }, "photographs[0].tip_px: is missing"},
		{"on top", func(_ *Question, p *Photograph) { p.Tip = p.Pivot }, "photographs[0].tip_px: lies on top of another mark"},
		{"stem on top", func(_ *Question, p *Photograph) { p.StemB = []Point{{801, 821}} }, "photographs[0].stem_b_px: lies on top of another mark"},
		{"along the stem", func(_ *Question, p *Photograph) { p.Pivot = []Point{{790, 200}} }, "runs along the stem"},
		{"outside", func(_ *Question, p *Photograph) { p.Tip[0].X = 1601 }, "photographs[0].tip_px[0]: is outside of the picture"},
		{"not a number", func(_ *Question, p *Photograph) { p.Tip[0].Y = math.NaN() }, "is outside of the picture"},
		{"no size", func(_ *Question, p *Photograph) { p.Width = 0 }, "expected the picture's size"},
		{"two rims", func(_ *Question, p *Photograph) { p.TipRim = []Point{{1, 1}, {2, 5}, {9, 9}} }, "as a centre and by its rim"},
		{"short rim", func(_ *Question, p *Photograph) { p.Tip, p.TipRim = nil, []Point{{1, 1}, {2, 5}} }, "a rim needs three"},
		{"rim in line", func(_ *Question, p *Photograph) {
			p.Tip, p.TipRim = nil, []Point{{800, 800}, {810, 810}, {820, 820}}
		}, "photographs[0].tip_rim_px: its marks lie on one line"},
		{"known without marks", func(_ *Question, p *Photograph) { p.Known = measure.Millimetre }, "belongs to two marks"},
		{"lift of another engine", func(_ *Question, p *Photograph) { p.AtLift = new(40 * measure.Millimetre) }, "expected the valve's lift at the picture"},
		{"ball beside the tip", func(_ *Question, p *Photograph) { p.Ball = []Point{{790, 790}} }, "make a bend of"},
	} {
		q := good()
		c.do(&q, &q.Photographs[min(0, len(q.Photographs)-1)])
		_, err := Solve(q)
		if assert.Error(t, err, c.name) {
			assert.Contains(t, err.Error(), c.says, c.name)
			assert.NotContains(t, err.Error(), "\n", c.name)
		}
	}
}

func TestPointsInJSON(t *testing.T) {
	var q Question
	require.NoError(t, worksheet.Read(strings.NewReader(`{"lift_mm":12,"photographs":[{"width_px":1600,"height_px":1200,"stem_a_px":[[1,2.5]],"stem_b_px":[[3,4]]}]}`), &q))
	assert.Equal(t, []Point{{1, 2.5}}, q.Photographs[0].StemA)
	b, err := json.Marshal(q.Photographs[0].StemA)
	require.NoError(t, err)
	assert.JSONEq(t, `[[1,2.5]]`, string(b))
	err = worksheet.Read(strings.NewReader(`{"photographs":[{"tip_px":[[1]]}]}`), &q)
	assert.ErrorContains(t, err, "photographs[0].tip_px[0]: [1] will not do: expected a mark as [x, y]")
}

// Whatever is marked, an answer has numbers and an uncertainty, or it is a
// sentence.
func FuzzSolve(f *testing.F) {
	f.Add(800.0, 820.0, 800.0, 1400.0, 200.0, 700.0, 800.0, 800.0, 100.0, 650.0)
	f.Fuzz(func(t *testing.T, ax, ay, bx, by, px, py, tx, ty, lx, ly float64) {
		one := func(x, y float64) []Point { return []Point{{x, y}} }
		a, err := Solve(Question{Lift: 12 * measure.Millimetre, Photographs: []Photograph{{Width: 1600, Height: 1600,
			Marks: Marks{StemA: one(ax, ay), StemB: one(bx, by), Pivot: one(px, py), Tip: one(tx, ty), Ball: one(lx, ly)}}}})
		if err != nil {
			require.NotContains(t, err.Error(), "NaN")
			return
		}
		require.Positive(t, a.RaiseU)
		_, err = json.Marshal(a)
		require.NoError(t, err)
	})
}

// What is told of one picture's camera goes before the five degrees; of several the
// widest counts.
func TestCameraAside(t *testing.T) {
	u := func(of ...*measure.Angle) measure.Length {
		q := Question{Lift: 12 * measure.Millimetre, ValveArm: 40 * measure.Millimetre}
		for _, within := range of {
			p := straight(5, 3, 0)
			p.AtLift, p.CameraWithin = new(6*measure.Millimetre), within
			q.Photographs = append(q.Photographs, p)
		}
		a, err := Solve(q)
		require.NoError(t, err)
		return a.RaiseU
	}
	assert.Less(t, u(new(measure.Degree)), u(nil))
	assert.Less(t, u(nil), u(new(12*measure.Degree)))
	assert.Equal(t, u(nil, nil), u(nil, new(measure.Degree)))
	p := straight(5, 3, 0)
	p.CameraWithin = new(60 * measure.Degree)
	_, err := Solve(Question{Lift: 12 * measure.Millimetre, Photographs: []Photograph{p}})
	assert.ErrorContains(t, err, "photographs[0].camera_within_deg")
}
