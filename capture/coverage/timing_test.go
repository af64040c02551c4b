package coverage

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/capture/coverage/model"
	"lobescribe/capture/timing"
	"lobescribe/device/measure"
)

// turned is a cylinder whose two valves somebody turned over under an indicator.
type turned struct {
	intake, exhaust model.Lobe
	tdc             float64 // what the encoder shows at top dead centre
	wrong           float64 // by how much the person's figure of it is too high
	tdcU            float64
	step            float64 // of the encoder
	count           float64 // of the indicator, mm
	noise           float64 // in counts
	runOut          float64
}

func lobeAsGround(r *rand.Rand, centre float64) model.Lobe {
	return model.Lobe{Height: between(r, 7, 14), Centre: centre, Half: between(r, 115, 150), Skew: between(r, -0.12, 0.12), Sharp: r.IntN(2) == 0}
}

func cylinderAsFound(r *rand.Rand, noise, runOut float64) turned {
	c := turned{
		intake: lobeAsGround(r, between(r, 100, 118)), exhaust: lobeAsGround(r, -between(r, 102, 120)),
		tdc: between(r, 0, 360), tdcU: 0.6, step: []float64{0.15, 0.25, 360. / 1024}[r.IntN(3)], count: []float64{0.01, 0.0127}[r.IntN(2)],
		noise: noise, runOut: runOut,
	}
	c.wrong = about(r, 0, c.tdcU)
	for _, l := range []*model.Lobe{&c.intake, &c.exhaust} {
		l.RunOut, l.RunAt = about(r, 0, 2*runOut/math.Sqrt2), between(r, 0, 720)
	}
	return c
}

// trace is two and a quarter cycles by hand: as fast as the hand will, read as
// often as the instrument does.
func (c turned) trace(r *rand.Rand, l model.Lobe) measure.Trace { return c.traceOf(r, l, l.Lift) }

// traceOf is that of whatever moves with the lobe.
func (c turned) traceOf(r *rand.Rand, l model.Lobe, lift func(angle float64) float64) measure.Trace {
	t := measure.Trace{Resolution: mm(c.count), AngleStep: deg(c.step)}
	start, pace := between(r, 180, 540)+l.Centre, between(r, 0.15, 0.5)
	zero := between(r, -3, 3) // what the indicator shows on the heel
	at := measure.Stamp(0)
	for turned, i := 0.0, 0; turned < 1620; i++ {
		if i%100 == 0 {
			pace = min(0.6, max(0.1, pace*math.Exp(0.4*r.NormFloat64())))
		}
		turned += pace * between(r, 0.6, 1.4)
		at += 10_000
		angle := start + turned
		shown := math.Round((zero+lift(angle))/c.count+c.noise*r.NormFloat64()) * c.count
		seen := math.Floor((angle+c.tdc)/c.step) * c.step
		t.Readings = append(t.Readings, measure.Reading{At: at, Lift: mm(shown), Angle: deg(seen), Has: measure.HasLift | measure.HasAngle})
	}
	return t
}

func (c turned) ask(t *testing.T, r *rand.Rand) timing.Result {
	told := deg(c.tdc + c.wrong)
	side := func(l model.Lobe) *timing.ValveInput {
		trace := c.trace(r, l)
		return &timing.ValveInput{Trace: &trace, TDC: told, TDCU: deg(c.tdcU)}
	}
	a, err := timing.Compute(timing.Request{Intake: side(c.intake), Exhaust: side(c.exhaust), CheckingLifts: []measure.Length{50 * measure.Thou}})
	require.NoError(t, err)
	return a
}

// cylinders are drawn as they are asked for, each once.
type cylinders struct {
	mu            sync.Mutex
	r             *rand.Rand
	noise, runOut float64
	found         []turned
	answers       []timing.Result
}

func (c *cylinders) at(t *testing.T, i int) (turned, timing.Result) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for len(c.found) <= i {
		found := cylinderAsFound(c.r, c.noise, c.runOut)
		c.found, c.answers = append(c.found, found), append(c.answers, found.ask(t, c.r))
	}
	return c.found[i], c.answers[i]
}

func timingRows() []row {
	lift := 1.27 // 0.050 in
	figures := []struct {
		field string
		of    func(c turned, a timing.Result) (off, u float64)
	}{
		{"timing.opens.u_deg", func(c turned, a timing.Result) (off, u float64) {
			opens, _ := c.intake.Passes(lift)
			e := a.Intake.Passages[0].Opens
			return e.Angle.Degrees() - opens, e.U.Degrees()
		}},
		{"timing.duration_u_deg", func(c turned, a timing.Result) (off, u float64) {
			opens, closes := c.intake.Passes(lift)
			s := a.Intake.Passages[0].Span
			return s.Duration.Degrees() - (closes - opens), s.DurationU.Degrees()
		}},
		{"timing.centreline_u_deg", func(c turned, a timing.Result) (off, u float64) {
			opens, closes := c.intake.Passes(lift)
			s := a.Intake.Passages[0].Span
			return s.Centreline.Degrees() - (closes+opens)/2, s.CentrelineU.Degrees()
		}},
		{"timing.asymmetry_u_deg", func(c turned, a timing.Result) (off, u float64) {
			opens, closes := c.intake.Passes(lift)
			s := a.Intake.Passages[0].Span
			return s.Asymmetry.Degrees() - ((closes+opens)/2 - c.intake.Nose()), s.AsymmetryU.Degrees()
		}},
		{"timing.nose.u_deg", func(c turned, a timing.Result) (off, u float64) {
			return a.Intake.Nose.Angle.Degrees() - c.intake.Nose(), a.Intake.Nose.U.Degrees()
		}},
		{"timing.equal_drop_u_deg", func(c turned, a timing.Result) (off, u float64) {
			opens, closes := c.intake.Passes(c.intake.Height - lift)
			return a.Intake.Nose.EqualDrop.Degrees() - (opens+closes)/2, a.Intake.Nose.EqualDropU.Degrees()
		}},
		{"timing.max_lift_u_mm", func(c turned, a timing.Result) (off, u float64) {
			return a.Intake.Nose.MaxLift.Millimetres() - c.intake.Height, a.Intake.Nose.MaxLiftU.Millimetres()
		}},
		{"timing.lift_at_tdc_u_mm", func(c turned, a timing.Result) (off, u float64) {
			return a.Intake.LiftAtTDC.Millimetres() - c.intake.Above(0), a.Intake.LiftAtTDCU.Millimetres()
		}},
		{"timing.area_u_mm_deg", func(c turned, a timing.Result) (off, u float64) {
			return a.Intake.Area - c.intake.Area(), a.Intake.AreaU
		}},
		{"timing.overlap_u_deg", func(c turned, a timing.Result) (off, u float64) {
			opens, _ := c.intake.Passes(lift)
			_, closes := c.exhaust.Passes(lift)
			return a.Pairs[0].Overlap.Degrees() - (closes - opens), a.Pairs[0].OverlapU.Degrees()
		}},
		{"timing.lobe_separation_u_cam_deg", func(c turned, a timing.Result) (off, u float64) {
			io, ic := c.intake.Passes(lift)
			eo, ec := c.exhaust.Passes(lift)
			return a.Pairs[0].Separation.Degrees() - (io+ic-eo-ec)/4, a.Pairs[0].SeparationU.Degrees()
		}},
		{"timing.nose_separation_u_cam_deg", func(c turned, a timing.Result) (off, u float64) {
			return a.Pairs[0].NoseSeparation.Degrees() - (c.intake.Nose()-c.exhaust.Nose())/2, a.Pairs[0].NoseSeparationU.Degrees()
		}},
		{"timing.advance_u_deg", func(c turned, a timing.Result) (off, u float64) {
			io, ic := c.intake.Passes(lift)
			eo, ec := c.exhaust.Passes(lift)
			return a.Pairs[0].Advance.Degrees() + (io+ic+eo+ec)/4, a.Pairs[0].AdvanceU.Degrees()
		}},
	}
	var rows []row
	for _, c := range []struct {
		name          string
		noise, runOut float64
	}{{"no noise", 0, 0}, {"half a count", 0.5, 0}, {"a count, run-out", 1, 0.01}} {
		// A cylinder that was turned over answers for every figure: its traces and
		// its curves are the work.
		drawn := &cylinders{r: rand.New(rand.NewPCG(7, uint64(len(rows)))), noise: c.noise, runOut: c.runOut}
		for _, f := range figures {
			next, wide := 0, ""
			if c.noise == 0 {
				wide = "an indicator without noise rounds alike each time; that error is uniform, and k = 2 holds all of it"
			}
			if f.field == "timing.area_u_mm_deg" {
				wide = "the heel's level carries the rounding of a count, which noise averages out by more than is counted on"
			}
			rows = append(rows, row{f.field, c.name, func(t *testing.T, _ *rand.Rand) (off, u float64) {
				found, answer := drawn.at(t, next)
				next++
				return f.of(found, answer)
			}, wide})
		}
	}
	return rows
}
