package rocker

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

func mm(v float64) measure.Length { return measure.FromMillimetres(v) }

// A straight rocker of ratio 1.4 whose adjuster end is 3.5 mm low wants the
// stand raised by 3.5/(1 + 1/1.4), exactly, whatever its arms are, as long as
// its lift stays: the rest is the change of lift with the pivot's height.
func TestRaiseOfAStraightRocker(t *testing.T) {
	a, err := Solve(Question{RockerRatio: 1.4, Lift: mm(10), AdjusterBelowValve: new(mm(3.5))})
	require.NoError(t, err)
	simple := 3.5 / (1 + 1/1.4)
	change := (a.Now.Lift - a.Square.Lift).Millimetres() / 2
	assert.InDelta(t, simple+change, a.Raise.Millimetres(), 2e-6)
	assert.InDelta(t, 0, change, 0.02, "and that is little")
	assert.Zero(t, a.SquareBelow)
	assert.Zero(t, a.Square.Half.Angle)
	assert.Equal(t, -a.Square.Closed.Angle, a.Square.Full.Angle)
	assert.Equal(t, a.LeastSweep, a.Square.Sweep)
	assert.Greater(t, a.Now.Sweep, a.Square.Sweep)
	// The pushrod grows about as the ball rises: p(1 + 1/R) = 3.5 mm.
	assert.InDelta(t, 3.5, a.PushrodLonger.Millimetres(), 0.1)
	assert.Contains(t, strings.Join(worksheet.In(a.Assumes, measure.InMillimetres), "\n"), "neither arm was measured")
	assert.Len(t, a.Now.Curve, 25)
	assert.Equal(t, "away", a.Now.Closed.Thrust)
	assert.Equal(t, "towards", a.Square.Full.Thrust)
	assert.Equal(t, "none", a.Square.Half.Thrust)
}

// A drawing can be made of a pose: all its members have their lengths, at
// every lift, before and after.
func TestPoseIsTrueToScale(t *testing.T) {
	q := Question{
		ValveArm: mm(40), AdjusterArm: mm(28), Bend: new(measure.FromDegrees(8)), Tip: Roller, TipRadius: mm(12),
		LobeLift: mm(7), Lash: mm(0.15), AdjusterBelowValve: new(mm(2)), Pushrod: mm(230),
		PushrodLean: new(measure.FromDegrees(4)), LifterLean: new(measure.FromDegrees(1)),
		StandLean: measure.FromDegrees(3), PivotToStem: mm(39.5), AtLift: []measure.Length{mm(1), mm(99)},
	}
	a, err := Solve(q)
	require.NoError(t, err)
	apart := func(p, q Point) float64 {
		return math.Hypot((p.X - q.X).Millimetres(), (p.Z - q.Z).Millimetres())
	}
	const nm = 3e-6
	for _, s := range []Setting{a.Now, a.Square} {
		require.Len(t, s.At, 2)
		assert.Equal(t, s.Lift, s.At[1].Lift, "beyond full lift there is full lift")
		for _, p := range append(s.At, s.Heel, s.Closed, s.Half, s.Full) {
			assert.InDelta(t, 40, apart(p.Pivot, p.Tip), nm)
			assert.InDelta(t, 28, apart(p.Pivot, p.Adjuster), nm)
			assert.InDelta(t, s.Pushrod.Millimetres(), apart(p.Adjuster, p.Lifter), nm)
			assert.InDelta(t, 12, apart(p.Tip, p.Touch), nm)
			if p.Lift >= 0 {
				assert.InDelta(t, 0, (p.Stem.Z - p.Touch.Z).Millimetres(), nm, "the tip rests on the stem")
			} else {
				assert.InDelta(t, 0.15, (p.Touch.Z - p.Stem.Z).Millimetres(), nm, "the lash stands open")
			}
			assert.InDelta(t, p.Contact.Millimetres(), (p.Touch.X - p.Stem.X).Millimetres(), nm)
		}
		assert.InDelta(t, 7, s.Full.LobeLift.Millimetres(), nm)
		assert.InDelta(t, 0, s.Heel.LobeLift.Millimetres(), nm)
	}
	assert.InDelta(t, 2, (a.Now.Half.Tip.Z - a.Now.Half.Adjuster.Z).Millimetres(), nm)
	assert.InDelta(t, a.SquareBelow.Millimetres(), (a.Square.Half.Tip.Z - a.Square.Half.Adjuster.Z).Millimetres(), nm)
	assert.InDelta(t, 4, a.Now.Half.PushrodLean.Degrees(), 1e-4)
}

// A drawing of twice the size has lengths of twice the size and the same
// angles and ratios.
func TestScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawBench(t)
		k := rapid.Float64Range(0.5, 2).Draw(t, "scale")
		big := b
		for _, l := range []*float64{&big.a, &big.b, &big.below, &big.lift, &big.lash, &big.rod} {
			*l *= k
		}
		small, err := solve(b)
		require.NoError(t, err)
		large, err := solve(big)
		require.NoError(t, err)
		assert.InDelta(t, k*small.raise, large.raise, 1e-9)
		assert.InDelta(t, k*small.rodLonger, large.rodLonger, 1e-9)
		assert.InDelta(t, k*small.lobe, large.lobe, 1e-9)
		assert.InDelta(t, k*small.squareSweep, large.squareSweep, 1e-9)
	})
}

// Fitting what the answer says and measuring again finds nothing left to do.
func TestFittingTheAnswerEndsTheJob(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := Question{
			ValveArm:           mm(rapid.Float64Range(25, 60).Draw(t, "arm")),
			RockerRatio:        rapid.Float64Range(1, 2).Draw(t, "ratio"),
			Bend:               new(measure.FromDegrees(rapid.Float64Range(-15, 15).Draw(t, "bend"))),
			LobeLift:           mm(rapid.Float64Range(4, 8).Draw(t, "lobe")),
			Lash:               mm(rapid.Float64Range(0, 0.5).Draw(t, "lash")),
			AdjusterBelowValve: new(mm(rapid.Float64Range(-4, 4).Draw(t, "below"))),
			Pushrod:            mm(rapid.Float64Range(150, 300).Draw(t, "rod")),
			PushrodLean:        new(measure.FromDegrees(rapid.Float64Range(-8, 8).Draw(t, "lean"))),
			LifterLean:         new(measure.FromDegrees(2)),
		}
		a, err := Solve(q)
		require.NoError(t, err)
		next := q
		next.AdjusterBelowValve = &a.SquareBelow
		next.Pushrod = a.Square.Pushrod
		next.PushrodLean = &a.Square.Half.PushrodLean
		b, err := Solve(next)
		require.NoError(t, err)
		const nm = 1e-4 // the lean is rounded to a microdegree over 300 mm of rod
		assert.InDelta(t, 0, b.Raise.Millimetres(), nm)
		assert.InDelta(t, 0, b.PushrodLonger.Millimetres(), nm)
		assert.InDelta(t, a.Square.Lift.Millimetres(), b.Now.Lift.Millimetres(), nm)
		assert.InDelta(t, b.LeastSweep.Millimetres(), b.Now.Sweep.Millimetres(), nm)
	})
}

// The uncertainty of the raise covers what moving the inputs within theirs
// does, in 95 of 100 draws, and is no wider than that takes. The draws are
// normal with half the expanded uncertainty, as k = 2 says (JCGM 100:2008,
// 6.2.1 and G.1.3).
func TestRaiseUCovers(t *testing.T) {
	q := Question{ValveArm: mm(38), AdjusterArm: mm(27), Lift: mm(10), AdjusterBelowValve: new(mm(3.5)), Pushrod: mm(220)}
	a, err := Solve(q)
	require.NoError(t, err)
	var basis worksheet.Basis
	b, inputs := q.bench(&basis)
	const draws = 2000
	within := 0
	random := rand.New(rand.NewPCG(1, 2))
	for range draws {
		drawn := b
		for _, in := range inputs {
			in.move(&drawn, random.NormFloat64()*in.u/2)
		}
		s, err := solve(drawn)
		require.NoError(t, err)
		if math.Abs(s.raise-a.Raise.Millimetres()) <= a.RaiseU.Millimetres() {
			within++
		}
	}
	share := float64(within) / draws
	assert.InDelta(t, 0.954, share, 0.02, "k = 2 of a normal distribution is 95.4 of 100")
}

// A bend that nobody told is in the ±, drowns all else there, and the answer
// says how to find it; told, it leaves the rest.
func TestABendNotToldIsInTheUncertainty(t *testing.T) {
	q := Question{RockerRatio: 1.4, Lift: mm(10), AdjusterBelowValve: new(mm(0.1))}
	bend := func(a Answer) Dependence {
		for _, d := range a.Depends {
			if d.Field == "bend_deg" {
				return d
			}
		}
		t.Fatal("bend_deg is not listed")
		return Dependence{}
	}
	a, err := Solve(q)
	require.NoError(t, err)
	assert.True(t, bend(a).Assumed)
	assert.GreaterOrEqual(t, a.RaiseU, bend(a).RaiseU)
	assert.Equal(t, verdict.CannotTell, a.Verdict.Kind)
	assert.Contains(t, strings.Join(worksheet.In(a.Says, measure.InMillimetres), "\n"), "straight edge")
	q.Bend, q.BendU = new(measure.Angle(0)), new(measure.Degree/4)
	q.CentresU, q.BelowU = new(mm(0.1)), new(mm(0.1))
	b, err := Solve(q)
	require.NoError(t, err)
	assert.Less(t, b.RaiseU, a.RaiseU/5)
	assert.Equal(t, a.Raise, b.Raise)
	assert.Equal(t, verdict.Meets, b.Verdict.Kind)
	q.Tolerance = new(mm(0.05))
	c, err := Solve(q)
	require.NoError(t, err)
	assert.False(t, c.Verdict.Good(), "the builder's own tolerance is heard")
	q.AdjusterBelowValve = nil
	d, err := Solve(q)
	require.NoError(t, err)
	assert.Equal(t, verdict.NotJudged, d.Verdict.Kind, "nothing was measured that could be square")
}

// A pose asked for at a lobe lift is at that lobe lift; within the lash the
// valve stays shut and the gap is what is left of it.
func TestPoseAtLobeLift(t *testing.T) {
	q := Question{ValveArm: mm(38), RockerRatio: 1.4, LobeLift: mm(7), Lash: mm(0.28), AdjusterBelowValve: new(mm(3)),
		AtLobeLift: []measure.Length{0, mm(0.1), mm(3.5), mm(7), mm(8)}}
	a, err := Solve(q)
	require.NoError(t, err)
	require.Len(t, a.Now.At, 5)
	for i, lobe := range []float64{0, 0.1, 3.5, 7, 7} {
		assert.InDelta(t, lobe, a.Now.At[i].LobeLift.Millimetres(), 2e-6)
	}
	assert.InDelta(t, -0.28, a.Now.At[0].Lift.Millimetres(), 2e-6)
	assert.InDelta(t, -0.28+0.1*1.4, a.Now.At[1].Lift.Millimetres(), 0.01)
	assert.Equal(t, a.Now.Full.Lift, a.Now.At[3].Lift)
	assert.Equal(t, a.Now.Full, a.Now.At[4])
}

func TestQuestionsThatCannotBe(t *testing.T) {
	good := func() Question {
		return Question{ValveArm: mm(38), RockerRatio: 1.4, Lift: mm(10), AdjusterBelowValve: new(mm(3.5))}
	}
	for _, c := range []struct {
		field string
		spoil func(q *Question)
	}{
		{"rocker_ratio", func(q *Question) { q.RockerRatio = 0 }},
		{"rocker_ratio", func(q *Question) { q.RockerRatio = math.NaN() }},
		{"rocker_ratio", func(q *Question) { q.RockerRatio = -1.4 }},
		{"rocker_ratio", func(q *Question) { q.RockerRatio = 40 }},
		{"rocker_ratio", func(q *Question) { q.AdjusterArm = mm(38) }},
		{"valve_arm_mm", func(q *Question) { q.ValveArm = mm(-38) }},
		{"valve_arm_mm", func(q *Question) { q.ValveArm = mm(9000) }},
		{"valve_arm_mm", func(q *Question) { q.RockerRatio, q.ValveArm, q.AdjusterArm = 0, mm(99), mm(9) }},
		{"lift_mm", func(q *Question) { q.Lift = 0 }},
		{"lift_mm", func(q *Question) { q.LobeLift = mm(7) }},
		{"lift_mm", func(q *Question) { q.Lift = mm(-10) }},
		{"lift_mm", func(q *Question) { q.Lift = mm(39) }},
		// Inches taken for millimetres, of all lengths or of some; heights that no arms have.
		{"lift_mm", func(q *Question) { q.Lift = mm(0.435) }},
		{"valve_arm_mm", func(q *Question) { q.ValveArm = mm(1.5) }},
		{"adjuster_below_valve_mm", func(q *Question) { q.AdjusterBelowValve = new(mm(64)) }},
		{"adjuster_below_valve_mm", func(q *Question) { q.AdjusterBelowValve = new(mm(-64)) }},
		{"adjuster_below_valve_mm", func(q *Question) { q.AdjusterBelowValve = new(mm(50)) }},
		{"lash_mm", func(q *Question) { q.Lash = mm(-1) }},
		{"tip_radius_mm", func(q *Question) { q.Tip = Pad }},
		{"tip_radius_mm", func(q *Question) { q.Tip, q.TipRadius = Pad, mm(37) }},
		{"tip_radius_u_mm", func(q *Question) { q.TipRadiusU = new(mm(-1)) }},
		{"centres_u_mm", func(q *Question) { q.CentresU = new(mm(-1)) }},
		{"bend_u_deg", func(q *Question) { q.BendU = new(-measure.Degree) }},
		{"tolerance_mm", func(q *Question) { q.Tolerance = new(mm(0)) }},
		{"tip", func(q *Question) { q.Tip = "ball" }},
		{"bend_deg", func(q *Question) { q.Bend = new(measure.FromDegrees(80)) }},
		{"pushrod_lean_deg", func(q *Question) { q.PushrodLean = new(measure.FromDegrees(-80)) }},
		{"adjuster_below_valve_mm", func(q *Question) { q.AdjusterBelowValve = new(mm(1e6)) }},
		{"arms_u_mm", func(q *Question) { q.ArmsU = new(mm(-1)) }},
		{"at_lift_mm", func(q *Question) { q.AtLift = []measure.Length{mm(-1)} }},
		{"at_lobe_lift_mm", func(q *Question) { q.AtLobeLift = []measure.Length{mm(-1)} }},
		{"points", func(q *Question) { q.Points = 1 }},
		{"points", func(q *Question) { q.Points = 1e9 }},
	} {
		q := good()
		c.spoil(&q)
		_, err := Solve(q)
		var p *worksheet.Problem
		if assert.ErrorAs(t, err, &p, "%s", c.field) {
			assert.Equal(t, c.field, p.Field, "%v", err)
		}
	}
	_, err := Solve(good())
	require.NoError(t, err)
}

// A question that is well put and has no answer is no Problem of a field.
func TestPartsThatDoNotGoTogether(t *testing.T) {
	for _, spoil := range []func(q *Question){
		func(q *Question) { q.Bend, q.PushrodLean = new(45*measure.Degree), new(45*measure.Degree) },
		func(q *Question) {
			q.Lash, q.Lift, q.ValveArm, q.AdjusterBelowValve = mm(3), mm(19), mm(20), new(mm(19))
		},
	} {
		q := Question{ValveArm: mm(38), RockerRatio: 1.4, Lift: mm(10)}
		spoil(&q)
		_, err := Solve(q)
		require.Error(t, err)
		var p *worksheet.Problem
		assert.False(t, errors.As(err, &p), "%v", err)
	}
}

func FuzzSolve(f *testing.F) {
	for _, s := range []string{
		`{"rocker_ratio":1.4,"lift_mm":10,"adjuster_below_valve_mm":3.5}`,
		`{"valve_arm_mm":38,"adjuster_arm_mm":27,"bend_deg":10,"lobe_lift_mm":7,"lash_mm":0.15,"pushrod_mm":220,"pushrod_lean_deg":-8,"lifter_lean_deg":2,"stand_lean_deg":3,"pivot_to_stem_mm":38,"at_lift_mm":[1,2]}`,
		`{"valve_arm_mm":1,"adjuster_arm_mm":1,"lift_mm":1.9,"pushrod_mm":0.000001}`,
		`{"rocker_ratio":5,"lift_mm":10000}`, `{"rocker_ratio":NaN}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var q Question
		if worksheet.Read(bytes.NewReader(b), &q) != nil {
			return
		}
		a, err := Solve(q)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		_, err = json.Marshal(a) // NaN does not pass
		require.NoError(t, err)
		require.GreaterOrEqual(t, a.RaiseU, measure.Length(0))
		require.LessOrEqual(t, a.LeastSweep, a.Square.Sweep+1)
	})
}

// A pad of radius 12 on an arm of 36.055513 (to its centre of curvature) touches
// sqrt(36.055513^2 + 12^2) = 38 from the pivot when square: Pythagoras. Taken for
// the arm, 38 makes a ratio of 1.581 of what is 1.5.
func TestThePadsTouchingPointIsTakenToItsCentre(t *testing.T) {
	arm := math.Sqrt(38*38 - 12*12)
	q := Question{ValveArm: mm(38), AdjusterArm: mm(arm / 1.5), Bend: new(measure.Angle(0)), Tip: Pad, TipRadius: mm(12),
		Lift: mm(10), AdjusterBelowValve: new(mm(-12)), Pushrod: mm(220), PushrodLean: new(measure.Angle(0))}
	a, err := Solve(q)
	require.NoError(t, err)
	assert.InDelta(t, 1.5, a.RockerRatio, 1e-6)
	assert.InDelta(t, 0, a.Raise.Millimetres(), 1e-5, "centre and ball are level: square")

	// Off square by 4 deg at half lift: what a caliper and a height gauge would
	// show there, by plain trigonometry.
	theta := 4 * math.Pi / 180
	x, z := arm*math.Cos(theta), -arm*math.Sin(theta)-12 // the touching point from the pivot
	q.ValveArm = mm(math.Hypot(x, z))
	q.AdjusterBelowValve = new(mm(z - arm/1.5*math.Sin(theta)))
	a, err = Solve(q)
	require.NoError(t, err)
	assert.InDelta(t, 1.5, a.RockerRatio, 1e-6)
	assert.InDelta(t, -arm*math.Sin(theta), a.Raise.Millimetres(), 1e-3, "and the half lift moves a little with it")
	assert.InDelta(t, 4, a.Now.Half.Angle.Degrees(), 1e-3)
}
