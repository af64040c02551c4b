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

// through is a valve behind a rocker, turned over under an indicator at the valve
// and perhaps at the lobe.
type through struct {
	turned
	rocker found
	lash   float64
	valve  []float64 // its lift over the closed valve plus lash, at even shares of the lobe's
}

func rockerOverLobe(t *testing.T, r *rand.Rand, bend, noise float64) through {
	for {
		f := rockerAsFound(t, r)
		if bend != 0 {
			f.Parts.Rocker = model.Bent(f.arm, f.arm/f.ratio, bend, 6)
			var err error
			if f.bench, err = model.Assemble(f.Parts); err != nil {
				continue
			}
		}
		v := through{turned: cylinderAsFound(r, noise, 0), rocker: f, lash: f.bench.Lash}
		v.intake.Height = f.bench.LobeLift
		const n = 400
		for i := range n + 1 {
			p, err := f.bench.AtLobe(f.bench.LobeLift * float64(i) / n)
			require.NoError(t, err)
			v.valve = append(v.valve, p.Lift+v.lash)
		}
		return v
	}
}

// moved is what the rocker's tip has moved at a lobe lift.
func (v through) moved(lobe float64) float64 {
	at := max(0, lobe) / v.intake.Height * float64(len(v.valve)-1)
	i := min(int(at), len(v.valve)-2)
	return v.valve[i] + (at-float64(i))*(v.valve[i+1]-v.valve[i])
}

// atValve is a trace of the valve.
func (v through) atValve(r *rand.Rand) measure.Trace {
	return v.traceOf(r, v.intake, func(angle float64) float64 { return max(0, v.moved(v.intake.Above(angle))-v.lash) })
}

type ratioAnswer struct {
	valve  through
	answer timing.Result
}

// people who want to know what the lobe does, and measured it differently.
func ratioRows() []row {
	checks := []measure.Length{50 * measure.Thou}
	figures := []struct {
		field string
		of    func(v through, a timing.Result) (off, u float64)
		// needs the curve at the lobe
		lobe bool
	}{
		{"timing.duration_u_deg", func(v through, a timing.Result) (off, u float64) {
			opens, closes := v.intake.Passes(1.27)
			s := a.Intake.Passages[0].Span
			return s.Duration.Degrees() - (closes - opens), s.DurationU.Degrees()
		}, false},
		{"timing.opens.u_deg", func(v through, a timing.Result) (off, u float64) {
			opens, _ := v.intake.Passes(1.27)
			e := a.Intake.Passages[0].Opens
			return e.Angle.Degrees() - opens, e.U.Degrees()
		}, false},
		{"timing.level_u_mm", func(v through, a timing.Result) (off, u float64) {
			p := a.Intake.Passages[0]
			return p.Level.Millimetres() - (v.moved(1.27) - v.lash), p.LevelU.Millimetres()
		}, false},
		{"timing.ratio_u", func(v through, a timing.Result) (off, u float64) {
			s := a.IntakeRatio.Stations[1]
			l := s.Lobe.Millimetres()
			want := (v.moved(l+0.05) - v.moved(l-0.05)) / 0.1
			return s.Ratio - want, s.RatioU
		}, true},
		{"timing.valve_lift_u_mm", func(v through, a timing.Result) (off, u float64) {
			s := a.IntakeRatio.Stations[4]
			return s.Valve.Millimetres() - v.moved(s.Lobe.Millimetres()), s.ValveU.Millimetres()
		}, true},
		{"timing.ratio_at_nose_u", func(v through, a timing.Result) (off, u float64) {
			return a.IntakeRatio.AtNose - v.moved(v.intake.Height)/v.intake.Height, a.IntakeRatio.AtNoseU
		}, true},
		{"timing.lash_u_mm", func(v through, a timing.Result) (off, u float64) {
			return a.IntakeRatio.Lash.Millimetres() - v.lash, a.IntakeRatio.LashU.Millimetres()
		}, true},
		{"timing.apart_u_deg", func(v through, a timing.Result) (off, u float64) {
			return a.IntakeRatio.Apart.Degrees(), a.IntakeRatio.ApartU.Degrees()
		}, true},
	}
	constant := func(t *testing.T, r *rand.Rand, v through) timing.ValveInput {
		return timing.ValveInput{Ratio: about(r, v.rocker.ratio, 0.03*v.rocker.ratio), Lash: mm(max(0, about(r, v.lash, 0.02)))}
	}
	measured := func(t *testing.T, r *rand.Rand, v through) timing.ValveInput {
		lobe := v.trace(r, v.intake)
		return timing.ValveInput{Other: &timing.OtherEnd{Trace: &lobe}}
	}
	elsewhere := func(t *testing.T, r *rand.Rand, v through) timing.ValveInput {
		lobe, valve := v.trace(r, v.intake), v.atValve(r)
		got, err := timing.Compute(timing.Request{Ratio: &timing.RatioInput{
			Lobe: &timing.ValveInput{Trace: &lobe}, Valve: &timing.ValveInput{Trace: &valve}}})
		require.NoError(t, err)
		in := timing.ValveInput{Lash: mm(max(0, about(r, v.lash, 0.02)))}
		for _, s := range got.Ratio.Stations {
			in.RatioCurve = append(in.RatioCurve, timing.RatioPoint{Lobe: s.Lobe, Valve: s.Valve, ValveU: new(s.ValveU)})
		}
		return in
	}
	var rows []row
	for _, c := range []struct {
		name        string
		bend, noise float64
		asks        func(*testing.T, *rand.Rand, through) timing.ValveInput
		lobe        bool
		wide        string
	}{
		{"one ratio for all", 0, 0.5, constant, false, ""},
		{"one ratio, a bend of 15 degrees", 15 * degree, 0.5, constant, false, ""},
		{"measured at both ends, a bend of 15 degrees", 15 * degree, 0.5, measured, true, ""},
		{"a ratio curve from elsewhere, a bend of 15 degrees", 15 * degree, 0.5, elsewhere, false, ""},
	} {
		var mu sync.Mutex
		var drawn []ratioAnswer
		r := rand.New(rand.NewPCG(11, uint64(len(rows))))
		at := func(t *testing.T, i int) ratioAnswer {
			mu.Lock()
			defer mu.Unlock()
			for len(drawn) <= i {
				v := rockerOverLobe(t, r, c.bend, c.noise)
				in := c.asks(t, r, v)
				trace := v.atValve(r)
				in.Trace, in.TDC, in.TDCU = &trace, deg(v.tdc+v.wrong), deg(v.tdcU)
				a, err := timing.Compute(timing.Request{Intake: &in, CheckingLifts: checks, CheckedAt: timing.AtLobe})
				require.NoError(t, err)
				drawn = append(drawn, ratioAnswer{v, a})
			}
			return drawn[i]
		}
		for _, f := range figures {
			if f.lobe && !c.lobe {
				continue
			}
			next := 0
			rows = append(rows, row{f.field, c.name, func(t *testing.T, _ *rand.Rand) (off, u float64) {
				a := at(t, next)
				next++
				off, u = f.of(a.valve, a.answer)
				require.False(t, math.IsNaN(off))
				return off, u
			}, c.wide})
		}
	}
	return rows
}
