package coverage

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/coverage/model"
	"lobescribe/capture/rocker/photo"
	"lobescribe/device/measure"
)

// photographer is how somebody takes photographs and marks them.
type photographer struct {
	name    string
	lifts   []float64 // shares of full lift at which they are taken; half if 0.5
	scatter float64   // of a finger, pixels, one standard deviation
	marks   int       // of each place
	off     float64   // degrees that the camera is off either way, both axes
	armPx   float64
	all     bool // tip and ball in the picture, which has the middle between them
	rims    bool
	asks    func(r *rand.Rand, f found, q *photo.Question)
}

// taken draws a rocker, photographs it and asks.
func (p photographer) taken(t *testing.T, r *rand.Rand) (found, photo.Answer) {
	f := rockerAsFound(t, r)
	full, err := f.bench.Full()
	require.NoError(t, err)
	q := photo.Question{Lift: mm(about(r, full.Lift, 0.02))}
	half, err := f.bench.Half()
	require.NoError(t, err)
	axis := f.bench.TipAt(half).X + about(r, 0, 1) // where the stem stands below the tip
	// The faces that are marked stay where they are from one photograph to the next.
	pivotNear, ballNear, near := between(r, -2.5, 2.5), between(r, -2.5, 2.5), between(r, -10, 10)
	for _, share := range p.lifts {
		held := about(r, share*full.Lift, 0.15)
		pose, err := f.bench.AtLift(held)
		require.NoError(t, err)
		tip := f.bench.TipAt(pose)
		c := model.Camera{
			Aim: model.Vec{X: tip.X + between(r, -0.15, 0.15)*f.arm, Y: tip.Y + between(r, -0.3, 0)*f.arm}, Distance: between(r, 250, 500),
			Up: between(r, -p.off, p.off) * degree, Aside: between(r, -p.off, p.off) * degree, Roll: between(r, -8, 8) * degree,
			Width: 1600, Height: 1600, Bulge: between(r, -0.01, 0.01),
		}
		if p.all {
			c.Aim.X -= 0.6 * f.arm
		}
		c.Focal = p.armPx / f.arm * c.Distance
		at := func(v model.Vec, near float64) []photo.Point {
			var list []photo.Point
			for range p.marks {
				x, y := c.Finger(r, v, near, p.scatter)
				list = append(list, photo.Point{X: x, Y: y})
			}
			return list
		}
		one := photo.Photograph{Width: 1600, Height: 1600, AtLift: new(mm(about(r, held, 0.05)))}
		if share == 0.5 {
			one.AtLift = nil // called as half lift; nobody looked what it was
		}
		one.StemA = at(f.bench.StemAt(pose, axis, 0.02*f.arm), 0)
		one.StemB = at(f.bench.StemAt(pose, axis, f.arm), 0)
		if p.rims {
			for k := range 5 {
				s, cos := math.Sincos(2*math.Pi*float64(k)/5 + r.Float64())
				x, y := c.Finger(r, model.Vec{X: tip.X + f.Radius*cos, Y: tip.Y + f.Radius*s}, 0, p.scatter)
				one.TipRim = append(one.TipRim, photo.Point{X: x, Y: y})
				x, y = c.Finger(r, model.Vec{X: f.bench.Pivot.X + 9*cos, Y: f.bench.Pivot.Y + 9*s}, pivotNear, p.scatter)
				one.PivotRim = append(one.PivotRim, photo.Point{X: x, Y: y})
			}
		} else {
			one.Tip, one.Pivot = at(tip, 0), at(f.bench.Pivot, pivotNear)
		}
		one.Ball = at(f.bench.BallAt(pose), ballNear)
		one.KnownA = at(model.Vec{X: axis - 12, Y: tip.Y - 12}, near)
		one.KnownB = at(model.Vec{X: axis + 12, Y: tip.Y - 12}, near)
		one.Known = mm(24)
		q.Photographs = append(q.Photographs, one)
	}
	p.asks(r, f, &q)
	a, err := photo.Solve(q)
	require.NoError(t, err)
	return f, a
}

func bare(q *photo.Question) {
	for i := range q.Photographs {
		p := &q.Photographs[i]
		p.Known, p.KnownA, p.KnownB, p.Ball = 0, nil, nil, nil
	}
}

var photographers = []photographer{
	{"tells nothing", []float64{0.5}, 1.5, 1, 5, 600, false, false, func(r *rand.Rand, f found, q *photo.Question) { bare(q) }},
	{"measured the arm", []float64{0.5}, 1, 1, 5, 600, false, false, func(r *rand.Rand, f found, q *photo.Question) {
		bare(q)
		q.ValveArm, q.MarkU = mm(about(r, f.arm, 0.5)), new(2.0)
	}},
	{"everything in the picture", []float64{0.45}, 1.5, 1, 5, 500, true, false, func(r *rand.Rand, f found, q *photo.Question) {}},
	{"rims", []float64{0.5}, 1.5, 2, 5, 500, true, true, func(r *rand.Rand, f found, q *photo.Question) {}},
	{"three marks each, an unsteady finger", []float64{0.5}, 3, 3, 5, 500, true, false, func(r *rand.Rand, f found, q *photo.Question) {}},
	{"four photographs", []float64{0.05, 0.35, 0.65, 1}, 3, 1, 5, 500, true, false, func(r *rand.Rand, f found, q *photo.Question) { q.MarkU = new(6.0) }},
	{"far off and told so", []float64{0.5}, 1.5, 1, 10, 500, true, false, func(r *rand.Rand, f found, q *photo.Question) {
		q.CameraWithin = new(10 * measure.Degree)
	}},
}

func photoRows() []row {
	var rows []row
	for _, p := range photographers {
		held := func(field string, off func(t *testing.T, f found, a photo.Answer) (off, u float64)) {
			rows = append(rows, row{"photo." + field, p.name, func(t *testing.T, r *rand.Rand) (float64, float64) {
				f, a := p.taken(t, r)
				return off(t, f, a)
			}, ""})
		}
		half := func(t *testing.T, f found) (turn, lift float64) {
			pose, err := f.bench.Half()
			require.NoError(t, err)
			return -pose.Turn, pose.Lift
		}
		held("raise_u_mm", func(t *testing.T, f found, a photo.Answer) (off, u float64) {
			return a.Raise.Millimetres() - f.wanted, a.RaiseU.Millimetres()
		})
		held("square_at_lift_u_mm", func(t *testing.T, f found, a photo.Answer) (off, u float64) {
			_, lift := half(t, f)
			return a.SquareAt.Millimetres() - (lift + f.Short), a.SquareAtU.Millimetres()
		})
		held("half_angle_u_deg", func(t *testing.T, f found, a photo.Answer) (off, u float64) {
			turn, _ := half(t, f)
			return a.HalfAngle.Degrees() - turn/degree, a.HalfAngleU.Degrees()
		})
		held("valve_arm_u_mm", func(t *testing.T, f found, a photo.Answer) (off, u float64) {
			return a.ValveArm.Millimetres() - f.arm, a.ValveArmU.Millimetres()
		})
		if slices.Contains([]string{"tells nothing", "measured the arm"}, p.name) {
			continue
		}
		held("adjuster_arm_u_mm", func(t *testing.T, f found, a photo.Answer) (off, u float64) {
			return a.Adjuster.Arm.Millimetres() - f.arm/f.ratio, a.Adjuster.ArmU.Millimetres()
		})
		held("rocker_ratio_u", func(t *testing.T, f found, a photo.Answer) (off, u float64) {
			return a.Adjuster.RockerRatio - f.ratio, a.Adjuster.RockerRatioU
		})
		held("bend_u_deg", func(t *testing.T, f found, a photo.Answer) (off, u float64) {
			return a.Adjuster.Bend.Degrees() - f.bend/degree, a.Adjuster.BendU.Degrees()
		})
		held("ball_above_line_u_mm", func(t *testing.T, f found, a photo.Answer) (off, u float64) {
			return a.Adjuster.BallAboveLine.Millimetres() - f.BallAboveLine(), a.Adjuster.BallAboveLineU.Millimetres()
		})
		held("adjuster_below_valve_u_mm", func(t *testing.T, f found, a photo.Answer) (off, u float64) {
			below, err := f.bench.Below()
			require.NoError(t, err)
			return a.Adjuster.Below.Millimetres() - below, a.Adjuster.BelowU.Millimetres()
		})
	}
	// The angle in one picture, at whatever lift it was held.
	rows = append(rows, row{"photo.angle_u_deg", "at some lift", func(t *testing.T, r *rand.Rand) (off, u float64) {
		f := rockerAsFound(t, r)
		turn := between(r, -12, 12) * degree
		tip := f.Rocker.Tip.Times(1)
		c := model.Camera{Aim: model.Vec{X: tip.X, Y: between(r, -5, 5)}, Distance: 300, Focal: 600 / f.arm * 300, Width: 1600, Height: 1600,
			Up: between(r, -5, 5) * degree, Aside: between(r, -5, 5) * degree, Bulge: between(r, -0.01, 0.01)}
		at := func(v model.Vec, near float64) []photo.Point {
			x, y := c.Finger(r, v, near, 1.5)
			return []photo.Point{{X: x, Y: y}}
		}
		s, k := math.Sincos(-turn)
		tip = model.Vec{X: f.arm * k, Y: f.arm * s}
		one := photo.Photograph{Width: 1600, Height: 1600, Marks: photo.Marks{
			StemA: at(model.Vec{X: tip.X, Y: tip.Y - 0.2*f.arm}, 0), StemB: at(model.Vec{X: tip.X, Y: tip.Y - 0.85*f.arm}, 0),
			Tip: at(tip, 0), Pivot: at(model.Vec{}, between(r, -2.5, 2.5)),
		}}
		a, err := photo.Solve(photo.Question{Lift: mm(12), Photographs: []photo.Photograph{one}})
		require.NoError(t, err)
		return a.Photographs[0].Angle.Degrees() - turn/degree, a.Photographs[0].AngleU.Degrees()
	}, ""})
	return rows
}

// The raise is good to 0.35 mm (k = 2) with a finger that marks to a pixel, an arm
// of 600 pixels and a camera within 5 degrees; a finger that marks to three needs
// more marks or more photographs, and gets better with them.
func TestRaiseByPhotograph(t *testing.T) {
	const photographs = 300
	within := func(p photographer) (error95, u float64) {
		r := rand.New(rand.NewPCG(19, 65))
		var offs, us []float64
		covered := 0
		for range photographs {
			f, a := p.taken(t, r)
			off := math.Abs(a.Raise.Millimetres() - f.wanted)
			offs, us = append(offs, off), append(us, a.RaiseU.Millimetres())
			if off <= a.RaiseU.Millimetres() {
				covered++
			}
		}
		slices.Sort(offs)
		slices.Sort(us)
		error95, u = offs[photographs*95/100], us[photographs/2]
		t.Logf("%-40s 95 of 100 within %.3f mm, U %.3f mm in the middle, %.1f of 100 covered", p.name, error95, u, 100*float64(covered)/photographs)
		assert.InDelta(t, 95, 100*float64(covered)/photographs, 3+1.3, p.name) // and what 300 draws leave
		return error95, u
	}
	told := func(markU float64) func(r *rand.Rand, f found, q *photo.Question) {
		return func(r *rand.Rand, f found, q *photo.Question) {
			bare(q)
			q.ValveArm, q.MarkU = mm(about(r, f.arm, 0.5)), new(markU)
		}
	}
	// Within 5 degrees all told is 3.5 up or down and 3.5 sideways.
	const axis = 3.5
	good, goodU := within(photographer{"1 pixel", []float64{0.45}, 1, 1, axis, 600, false, false, func(r *rand.Rand, f found, q *photo.Question) {
		told(2)(r, f, q)
		q.CameraWithin = new(deg(axis))
	}})
	assert.LessOrEqual(t, good, 0.35)
	assert.LessOrEqual(t, goodU, 0.35)
	poor, _ := within(photographer{"3 pixels", []float64{0.45}, 3, 1, 5, 600, false, false, told(6)})
	often, _ := within(photographer{"3 pixels, each marked five times", []float64{0.45}, 3, 5, 5, 600, false, false, told(6)})
	many, _ := within(photographer{"3 pixels, six photographs", []float64{0.1, 0.25, 0.4, 0.6, 0.8, 1}, 3, 1, 5, 600, false, false, told(6)})
	assert.Greater(t, poor, 0.5)
	assert.Less(t, often, 0.75*poor)
	assert.Less(t, many, 0.75*poor)
}
