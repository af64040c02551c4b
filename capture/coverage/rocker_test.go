package coverage

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/capture/coverage/model"
	"lobescribe/capture/rocker"
	"lobescribe/capture/rocker/shims"
	"lobescribe/device/measure"
)

// found is a rocker on a stand as it comes: whoever works there knows some of it.
type found struct {
	model.Parts
	arm, ratio, bend float64
	bench            model.Bench
	wanted           float64   // to add under the stand
	offTip, offBall  model.Vec // heights are taken so far off the centres, on the beam
}

// rockerAsFound draws one. Arms, bend and leans are drawn as wide as the
// calculations say that they assume.
func rockerAsFound(t *testing.T, r *rand.Rand) found {
	for range 100 {
		f := found{arm: about(r, 38, 8), ratio: between(r, 1.3, 1.8), bend: about(r, 0, 10*degree),
			offTip: model.Vec{X: about(r, 0, 0.35), Y: about(r, 0, 0.35)}, offBall: model.Vec{X: about(r, 0, 0.35), Y: about(r, 0, 0.35)}}
		f.Parts = model.Parts{
			Rocker: model.Bent(f.arm, f.arm/f.ratio, f.bend, between(r, 4, 8)),
			Lift:   between(r, 8, 15), Lash: between(r, 0, 0.4), Rod: about(r, 220, 60), Short: between(r, -1, 2.5),
			RodLean: about(r, 0, 5*degree), StandLean: about(r, 0, 3*degree),
		}
		f.BoreLean = f.RodLean + about(r, 0, 2*degree)
		var err error
		if f.bench, err = model.Assemble(f.Parts); err != nil {
			continue
		}
		if f.wanted, err = f.bench.Wanted(); err != nil {
			continue
		}
		return f
	}
	t.Fatal("no rocker in a hundred goes together")
	return found{}
}

// below is what a person measures at half lift.
func (f found) below(t *testing.T, r *rand.Rand, b model.Bench, u float64) measure.Length {
	below, err := b.BelowAt(f.offTip, f.offBall)
	require.NoError(t, err)
	return mm(about(r, below, u))
}

func rockerRows() []row {
	type person struct {
		name string
		asks func(r *rand.Rand, f found, q *rocker.Question)
	}
	people := []person{
		{"tells the ratio only", func(r *rand.Rand, f found, q *rocker.Question) {
			q.RockerRatio = about(r, f.ratio, 0.03*f.ratio)
		}},
		{"measured the arms", func(r *rand.Rand, f found, q *rocker.Question) {
			q.ValveArm, q.AdjusterArm = mm(about(r, f.arm, 0.5)), mm(about(r, f.arm/f.ratio, 0.5))
		}},
		{"measured everything", func(r *rand.Rand, f found, q *rocker.Question) {
			q.ValveArm, q.AdjusterArm = mm(about(r, f.arm, 0.5)), mm(about(r, f.arm/f.ratio, 0.5))
			q.Bend = new(deg(about(r, f.bend, 2*degree) / degree))
			q.Pushrod, q.PushrodLean = mm(f.Rod), new(deg(about(r, f.RodLean, 2*degree)/degree))
		}},
	}
	var rows []row
	for _, p := range people {
		ask := func(t *testing.T, r *rand.Rand) (found, rocker.Answer) {
			f := rockerAsFound(t, r)
			q := rocker.Question{Lift: mm(f.Lift), Lash: mm(f.Lash), AdjusterBelowValve: new(f.below(t, r, f.bench, 0.2))}
			p.asks(r, f, &q)
			a, err := rocker.Solve(q)
			require.NoError(t, err)
			return f, a
		}
		rows = append(rows,
			row{"rocker.raise_u_mm", p.name, func(t *testing.T, r *rand.Rand) (off, u float64) {
				f, a := ask(t, r)
				return a.Raise.Millimetres() - f.wanted, a.RaiseU.Millimetres()
			}, ""},
			row{"rocker.pushrod_longer_u_mm", p.name, func(t *testing.T, r *rand.Rand) (off, u float64) {
				f, a := ask(t, r)
				square, err := f.bench.Raised(f.wanted)
				require.NoError(t, err)
				return a.PushrodLonger.Millimetres() - (square.Rod - f.bench.Rod), a.PushrodLongerU.Millimetres()
			}, ""},
			row{"rocker.sweep_u_mm", p.name, func(t *testing.T, r *rand.Rand) (off, u float64) {
				f, a := ask(t, r)
				width, _, err := f.bench.Stem()
				require.NoError(t, err)
				return a.Now.Sweep.Millimetres() - width, a.SweepU.Millimetres()
			}, ""})
	}
	return append(rows, row{"rocker.true_u_mm", "lean by eye", func(t *testing.T, r *rand.Rand) (off, u float64) {
		lean, lift := about(r, 4, 2), between(r, 8, 14)
		reading := lift / math.Cos(lean*degree) // on a flat that slides past: Pythagoras
		a, err := rocker.Lean(rocker.LeanQuestion{Lean: 4 * measure.Degree, Reading: mm(reading), Tip: rocker.OnFlat})
		require.NoError(t, err)
		return a.Fixtures[0].True.Millimetres() - lift, a.Fixtures[0].TrueU.Millimetres()
	}, ""})
}

func (f found) raised(t *testing.T, by float64) model.Bench {
	b, err := f.bench.Raised(by)
	require.NoError(t, err)
	return b
}

// trials sets the stacks up one after the other and measures at half lift.
func (f found) trials(t *testing.T, r *rand.Rand, stacks []float64, noiseU, markU float64) []shims.Trial {
	var trials []shims.Trial
	for _, stack := range stacks {
		b, err := f.bench.Raised(stack)
		require.NoError(t, err)
		trial := shims.Trial{Stack: shims.Stack{mm(stack)}, AdjusterBelowValve: new(f.below(t, r, b, noiseU))}
		if markU > 0 {
			width, nearer, err := b.Stem()
			require.NoError(t, err)
			trial.Mark = new(mm(max(0.01, about(r, width+max(0, about(r, 0.2, 0.3)), markU))))
			trial.OpenVsClosed = new(mm(about(r, nearer, markU)))
		}
		trials = append(trials, trial)
	}
	return trials
}

// tellsAll is a person who measured arms and bend and says how well heights are
// measured.
func tellsAll(r *rand.Rand, f found, q *shims.Question) {
	q.ValveArm, q.AdjusterArm = mm(about(r, f.arm, 0.5)), mm(about(r, f.arm/f.ratio, 0.5))
	q.BallAboveLine = new(mm(about(r, f.BallAboveLine(), 0.3)))
	q.BelowU = mm(0.2)
}

func shimRows() []row {
	type person struct {
		name   string
		stacks []float64
		markU  float64
		asks   func(r *rand.Rand, f found, q *shims.Question)
	}
	ratioOnly := func(r *rand.Rand, f found, q *shims.Question) { q.RockerRatio = about(r, f.ratio, 0.03*f.ratio) }
	people := []person{
		{"one trial, ratio only", []float64{0.5}, 0, ratioOnly},
		{"two trials, ratio only", []float64{0, 0.762}, 0, ratioOnly},
		{"three trials, ratio only", []float64{0, 0.381, 1.143}, 0, ratioOnly},
		{"one trial, all told", []float64{0.5}, 0, tellsAll},
		{"two trials, all told", []float64{0, 0.762}, 0, tellsAll},
		{"three trials, all told", []float64{0, 0.381, 1.143}, 0, tellsAll},
		{"two trials with marks, bend not told", []float64{0, 0.762}, 0.1, func(r *rand.Rand, f found, q *shims.Question) {
			q.ValveArm, q.AdjusterArm = mm(about(r, f.arm, 0.5)), mm(about(r, f.arm/f.ratio, 0.5))
			q.Lift, q.BelowU = mm(f.Lift), mm(0.2)
		}},
	}
	var rows []row
	for _, p := range people {
		ask := func(t *testing.T, r *rand.Rand) (found, shims.Answer) {
			f := rockerAsFound(t, r)
			q := shims.Question{Trials: f.trials(t, r, p.stacks, 0.2, p.markU)}
			p.asks(r, f, &q)
			a, err := shims.Next(q)
			require.NoError(t, err)
			return f, a
		}
		rows = append(rows,
			row{"shims.wanted_u_mm", p.name, func(t *testing.T, r *rand.Rand) (off, u float64) {
				f, a := ask(t, r)
				return a.Wanted.Millimetres() - f.wanted, a.WantedU.Millimetres()
			}, ""},
			row{"shims.left_over_u_mm", p.name, func(t *testing.T, r *rand.Rand) (off, u float64) {
				f, a := ask(t, r)
				below, err := f.raised(t, a.Total.Millimetres()).Below()
				require.NoError(t, err)
				level, err := f.raised(t, f.wanted).Below()
				require.NoError(t, err)
				return a.LeftOver.Millimetres() - (below - level), a.LeftOverU.Millimetres()
			}, ""},
			row{"shims.pushrod_longer_u_mm", p.name, func(t *testing.T, r *rand.Rand) (off, u float64) {
				f, a := ask(t, r)
				now, then := f.raised(t, p.stacks[len(p.stacks)-1]), f.raised(t, a.Total.Millimetres())
				return a.PushrodLonger.Millimetres() - (then.Rod - now.Rod), a.PushrodLongerU.Millimetres()
			}, ""},
			row{"shims.slope_u", p.name, func(t *testing.T, r *rand.Rand) (off, u float64) {
				f, a := ask(t, r)
				last := p.stacks[len(p.stacks)-1]
				low, err := f.raised(t, last-0.5).Below()
				require.NoError(t, err)
				high, err := f.raised(t, last+0.5).Below()
				require.NoError(t, err)
				return a.Slope - (high - low), a.SlopeU
			}, ""})
	}
	return rows
}
