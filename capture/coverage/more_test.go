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

// once draws a case the first time that a figure asks for it, and hands the same to
// every figure.
type once[T any] struct {
	mu    sync.Mutex
	r     *rand.Rand
	drawn []T
}

func (o *once[T]) at(i int, draw func(r *rand.Rand) T) T {
	o.mu.Lock()
	defer o.mu.Unlock()
	for len(o.drawn) <= i {
		o.drawn = append(o.drawn, draw(o.r))
	}
	return o.drawn[i]
}

// each makes a row of every figure of a case, all of which see the same draws.
func each[T any](seed uint64, case_ string, draw func(t *testing.T, r *rand.Rand) T, figures []figure[T]) []row {
	o := &once[T]{r: rand.New(rand.NewPCG(seed, 20))}
	var rows []row
	for _, f := range figures {
		next := 0
		rows = append(rows, row{f.field, case_, func(t *testing.T, _ *rand.Rand) (off, u float64) {
			v := o.at(next, func(r *rand.Rand) T { return draw(t, r) })
			next++
			return f.of(t, v)
		}, f.wide})
	}
	return rows
}

type figure[T any] struct {
	field string
	of    func(t *testing.T, v T) (off, u float64)
	wide  string
}

// rate is a slope and a bend taken by small steps.
func rate(f func(x float64) float64, x float64) (v, a, j float64) {
	const h = 0.25
	l2, l, m, r, r2 := f(x-2*h), f(x-h), f(x), f(x+h), f(x+2*h)
	return (l2 - 8*l + 8*r - r2) / (12 * h), (l - 2*m + r) / (h * h), (r2 - 2*r + 2*l - l2) / (2 * h * h * h)
}

// moreRows hold what follows from a curve beyond its timing.
func moreRows() []row {
	type seen struct {
		through
		a *timing.ValveTiming
		x float64 // some angle of the opening
		// late is by how much the person's angles are too small.
		late float64
		in   timing.MoreInput
		// what the port and the cylinder really are
		head, seat, throat, stem    float64
		stroke, rod, bore, squeezed float64
		opens, closes               float64 // of the valve at the checking lift
		thenOpens, thenCloses       float64
	}
	const check, step = 1.27, 0.0508
	var rows []row
	alikeAnywhere := "one number for the ratio is off by as much anywhere on the curve, for all that was told; where speed peaks, at about half lift, a rocker set square is off by the least"
	for i, c := range []struct {
		name string
		both bool
	}{{"by one number", false}, {"by the measured ratio", true}} {
		draw := func(t *testing.T, r *rand.Rand) seen {
			s := seen{through: rockerOverLobe(t, r, about(r, 0, 10*degree), 0.5)}
			s.x = s.intake.Centre + s.intake.Half*between(r, -0.6, 0.6)
			s.late = s.wrong
			s.head, s.seat, s.throat, s.stem = between(r, 36, 52), between(r, 1, 2.2), 0, between(r, 7, 9)
			s.throat = s.head * between(r, 0.82, 0.9)
			s.stroke, s.rod, s.bore, s.squeezed = between(r, 75, 100), 0, between(r, 80, 105), between(r, 8, 12)
			s.rod = s.stroke * between(r, 1.5, 1.9)
			near := func(v, u float64) measure.Length { return mm(about(r, v, u)) }
			s.in = timing.MoreInput{Lobe: true, LashStep: mm(step),
				Port:     &timing.PortInput{Head: near(s.head, 0.1), SeatWidth: near(s.seat, 0.1), Throat: near(s.throat, 0.1), Stem: near(s.stem, 0.1)},
				Cylinder: &timing.CylinderInput{Compression: about(r, s.squeezed, 0.1), Bore: near(s.bore, 0.1)}}
			trace := s.atValve(r)
			in := &timing.ValveInput{Trace: &trace, TDC: deg(s.tdc + s.wrong), TDCU: deg(s.tdcU), Lash: mm(max(0, about(r, s.lash, 0.02))), More: &s.in,
				Ratio: about(r, s.rocker.ratio, 0.03*s.rocker.ratio)}
			if c.both {
				lobe := s.traceOf(r, s.intake, s.intake.Above)
				in.Other = &timing.OtherEnd{Trace: &lobe, TDC: in.TDC, TDCU: in.TDCU}
			}
			a, err := timing.Compute(timing.Request{Intake: in, CheckingLifts: []measure.Length{mm(check)}, Crank: &timing.Crank{Stroke: near(s.stroke, 0.2), Rod: near(s.rod, 0.2)}})
			require.NoError(t, err)
			s.a = a.Intake
			require.NotNil(t, s.a.More.Lobe, "%v", s.a.More.Says)
			s.opens, s.closes = s.valvePasses(check)
			s.thenOpens, s.thenCloses = s.valvePasses(check + step)
			return s
		}
		at := func(s seen) timing.LobePoint {
			best := s.a.More.Lobe.Points[0]
			for _, p := range s.a.More.Lobe.Points {
				if math.Abs(p.Angle.Degrees()-s.x) < math.Abs(best.Angle.Degrees()-s.x) {
					best = p
				}
			}
			return best
		}
		effect := func(t *testing.T, s seen) timing.LashEffect {
			require.Len(t, s.a.More.Lash, 1, "%v", s.a.More.Says)
			return s.a.More.Lash[0]
		}
		if c.both {
			alikeAnywhere = ""
		}
		figures := []figure[seen]{
			{"timing.lobe_u_mm", func(_ *testing.T, s seen) (off, u float64) {
				p := at(s)
				return p.Lift.Millimetres() - s.intake.Above(p.Angle.Degrees()+s.late), p.LiftU.Millimetres()
			}, "where the two ends of the rocker were measured against one top dead centre, what it is off by is in both"},
			{"timing.max_lobe_u_mm", func(_ *testing.T, s seen) (off, u float64) {
				return s.a.More.Lobe.MaxLift.Millimetres() - s.intake.Height, s.a.More.Lobe.MaxLiftU.Millimetres()
			}, ""},
			{"timing.lobe_mm_per_deg_u", func(_ *testing.T, s seen) (off, u float64) {
				p := at(s)
				v, _, _ := rate(s.intake.Above, p.Angle.Degrees()+s.late)
				return p.Velocity - v, p.VelocityU
			}, ""},
			{"timing.lobe_mm_per_deg2_u", func(_ *testing.T, s seen) (off, u float64) {
				p := at(s)
				_, a, _ := rate(s.intake.Above, p.Angle.Degrees()+s.late)
				return p.Acceleration - a, p.AccelerationU
			}, ""},
			{"timing.peak_u", func(_ *testing.T, s seen) (off, u float64) {
				p := s.a.More.Lobe.Peaks[0]
				most := 0.0
				for x := s.intake.Centre - s.intake.Half; x < s.intake.Centre+s.intake.Half; x += 0.25 {
					v, _, _ := rate(s.intake.Above, x)
					most = max(most, v)
				}
				return p.Value - most, p.U
			}, alikeAnywhere},
		}
		if !c.both { // the rest does not hang on the ratio
			figures = append(figures,
				figure[seen]{"timing.opens_later_u_deg", func(t *testing.T, s seen) (off, u float64) {
					e := effect(t, s)
					return e.OpensLater.Degrees() - (s.thenOpens - s.opens), e.OpensLaterU.Degrees()
				}, ""},
				figure[seen]{"timing.closes_earlier_u_deg", func(t *testing.T, s seen) (off, u float64) {
					e := effect(t, s)
					return e.ClosesEarlier.Degrees() - (s.closes - s.thenCloses), e.ClosesEarlierU.Degrees()
				}, ""},
				figure[seen]{"timing.duration_less_u_deg", func(t *testing.T, s seen) (off, u float64) {
					e := effect(t, s)
					return e.DurationLess.Degrees() - (s.closes - s.opens - s.thenCloses + s.thenOpens), e.DurationLessU.Degrees()
				}, ""},
				figure[seen]{"timing.throat_u_mm2", func(_ *testing.T, s seen) (off, u float64) {
					return s.a.More.Port.Throat - math.Pi/4*(s.throat*s.throat-s.stem*s.stem), s.a.More.Port.ThroatU
				}, ""},
				figure[seen]{"timing.curtain_u_mm2", func(_ *testing.T, s seen) (off, u float64) {
					return s.a.More.Port.Curtain - curtain(s.head, s.seat, s.moved(s.intake.Height)-s.lash), s.a.More.Port.CurtainU
				}, ""},
				figure[seen]{"timing.curtain_u_mm2_deg", func(_ *testing.T, s seen) (off, u float64) {
					sum, _ := s.areas()
					return s.a.More.Port.Sum - sum(s.head, s.seat, 0, 0), s.a.More.Port.SumU
				}, ""},
				figure[seen]{"timing.least_u_mm2_deg", func(_ *testing.T, s seen) (off, u float64) {
					_, least := s.areas()
					return s.a.More.Port.SumLeast - least(s.head, s.seat, s.throat, s.stem), s.a.More.Port.SumLeastU
				}, ""},
				figure[seen]{"timing.swept_left_u", func(_ *testing.T, s seen) (off, u float64) {
					p := s.a.More.Trapped[0]
					return p.Share - model.Piston(s.stroke, s.rod, s.closes)/s.stroke, p.ShareU
				}, ""},
				figure[seen]{"timing.swept_left_u_cm3", func(_ *testing.T, s seen) (off, u float64) {
					p := s.a.More.Trapped[0]
					return *p.Volume - math.Pi/4*s.bore*s.bore*model.Piston(s.stroke, s.rod, s.closes)/1000, *p.VolumeU
				}, ""},
				figure[seen]{"timing.effective_compression_u", func(_ *testing.T, s seen) (off, u float64) {
					p := s.a.More.Trapped[0]
					// Volumes, not the formula: what is left over what is squeezed into.
					swept := math.Pi / 4 * s.bore * s.bore * s.stroke
					chamber := swept / (s.squeezed - 1)
					left := math.Pi / 4 * s.bore * s.bore * model.Piston(s.stroke, s.rod, s.closes)
					return p.Ratio - (left+chamber)/chamber, p.RatioU
				}, ""})
		}
		rows = append(rows, each(uint64(100+i), c.name+few, draw, figures)...)
	}
	return append(append(rows, bandRows()...), wheelRows()...)
}

// valvePasses are where the valve rises and falls through a lift, by halving.
func (v through) valvePasses(lift float64) (opens, closes float64) {
	at := func(x float64) float64 { return v.moved(v.intake.Above(x)) - v.lash }
	find := func(low, high float64) float64 {
		for range 60 {
			if mid := (low + high) / 2; (at(mid) < lift) == (at(low) < lift) {
				low = mid
			} else {
				high = mid
			}
		}
		return (low + high) / 2
	}
	nose := v.intake.Nose()
	return find(v.intake.Centre-v.intake.Half, nose), find(nose, v.intake.Centre+v.intake.Half)
}

// areas are the sums of the curtain and of the narrower of curtain and throat over an
// opening.
func (v through) areas() (sum, least func(head, seat, throat, stem float64) float64) {
	over := func(head, seat, most float64) float64 {
		total := 0.0
		for x := v.intake.Centre - v.intake.Half; x < v.intake.Centre+v.intake.Half; x++ {
			if lift := v.moved(v.intake.Above(x)) - v.lash; lift > 0 {
				total += min(curtain(head, seat, lift), most)
			}
		}
		return total
	}
	return func(head, seat, _, _ float64) float64 { return over(head, seat, math.Inf(1)) },
		func(head, seat, throat, stem float64) float64 {
			return over(head, seat, math.Pi/4*(throat*throat-stem*stem))
		}
}

// curtain is the least frustum that spans two seats of 45 degrees, sought over pairs
// of points on them: one seat is the other, moved down by the lift.
func curtain(head, seat, lift float64) float64 {
	w := seat / math.Sqrt2
	inner := head/2 - w
	best := math.Inf(1)
	// The valve's end of the least frustum is its inner edge while the seats face each
	// other, so that only the other end is sought; beyond, it runs to the middle of
	// the seat's own edge.
	const steps = 40
	for i := range steps + 1 {
		r := inner + w*float64(i)/steps
		z := -w * float64(i) / steps
		across, along := r-inner, z+lift
		area := math.Pi * (r + inner) * math.Hypot(across, along)
		best = min(best, area)
	}
	return best
}

// bandRows hold the bands of the derivatives, of noise and of what a window flattens.
func bandRows() []row {
	type seen struct {
		turned
		a timing.Result
		x float64
	}
	at := func(s seen) timing.Derivative {
		best := s.a.IntakeDerivatives.Points[0]
		for _, p := range s.a.IntakeDerivatives.Points {
			if math.Abs(p.Angle.Degrees()-s.x) < math.Abs(best.Angle.Degrees()-s.x) {
				best = p
			}
		}
		return best
	}
	var rows []row
	for i, noise := range []float64{0, 0.5} {
		rows = append(rows, each(uint64(120+i), []string{"no noise", "half a count of noise"}[i]+few, func(t *testing.T, r *rand.Rand) seen {
			s := seen{turned: cylinderAsFound(r, noise, 0)}
			s.x = s.intake.Centre + s.intake.Half*between(r, -0.75, 0.75)
			trace := s.trace(r, s.intake)
			var err error
			s.a, err = timing.Compute(timing.Request{Intake: &timing.ValveInput{Trace: &trace, TDC: deg(s.tdc), TDCU: deg(0.01)}, Derivatives: &timing.DeriveInput{}})
			require.NoError(t, err)
			return s
		}, []figure[seen]{
			{"timing.mm_per_deg_u", func(_ *testing.T, s seen) (off, u float64) {
				p := at(s)
				v, _, _ := rate(s.intake.Above, p.Angle.Degrees())
				return p.Velocity - v, p.VelocityU
			}, ""},
			{"timing.mm_per_deg2_u", func(_ *testing.T, s seen) (off, u float64) {
				p := at(s)
				_, a, _ := rate(s.intake.Above, p.Angle.Degrees())
				return p.Acceleration - a, p.AccelerationU
			}, ""},
			{"timing.mm_per_deg3_u", func(_ *testing.T, s seen) (off, u float64) {
				p := at(s)
				_, _, j := rate(s.intake.Above, p.Angle.Degrees())
				return p.Jerk - j, p.JerkU
			}, ""},
		})...)
	}
	return rows
}

// wheelRows hang a degree wheel off its centre and give the encoder a loose drive. The
// wheel is a circle looked at from beside its own: an angle is sought, not written
// down as a sine.
func wheelRows() []row {
	type seen struct {
		slack, turn, part float64
		a                 *timing.WheelCheck
	}
	draw := func(t *testing.T, r *rand.Rand) seen {
		s := seen{slack: between(r, 0, 1.5), turn: 360 * (1 + 0.01*r.NormFloat64()*between(r, 0, 1))}
		radius := between(r, 80, 160)
		off, way := between(r, 0, 3), between(r, 0, 2*math.Pi)
		shows := func(crank float64) float64 { // the mark beside the wheel, seen from the wheel's own centre
			a := crank * math.Pi / 180
			// The wheel's centre goes round the crank's; the pointer stands still.
			cx, cy := off*math.Cos(way+a), off*math.Sin(way+a)
			return crank - math.Atan2(-cy, radius-cx)*180/math.Pi
		}
		for crank := 0.0; crank < 360; crank++ {
			s.part = max(s.part, math.Abs(shows(crank)-crank))
		}
		q := &timing.WheelInput{}
		start, zero := between(r, 0, 360), between(r, 0, 360)
		read := func(crank float64, back bool) {
			encoder := (crank+zero)*s.turn/360 + map[bool]float64{true: s.slack}[back]
			q.Readings = append(q.Readings, timing.WheelReading{Encoder: deg(encoder), Wheel: deg(math.Round(math.Mod(about(r, shows(crank), 0.5)+720, 360)*4) / 4), Back: back})
		}
		for k := range 16 {
			read(start+float64(k)*48+between(r, -10, 10), false)
		}
		for k := range 6 {
			read(start+700-float64(k)*110, true)
		}
		a, err := timing.Compute(timing.Request{Wheel: q})
		require.NoError(t, err)
		s.a = a.Wheel
		return s
	}
	return each(140, "a wheel off its centre, a loose drive", draw, []figure[seen]{
		{"timing.turn_u_deg", func(_ *testing.T, s seen) (off, u float64) { return s.a.Turn.Degrees() - s.turn, s.a.TurnU.Degrees() }, ""},
		{"timing.slack_u_deg", func(_ *testing.T, s seen) (off, u float64) {
			return s.a.Slack.Degrees() - s.slack, s.a.SlackU.Degrees()
		}, ""},
		{"timing.once_a_turn_u_deg", func(_ *testing.T, s seen) (off, u float64) {
			return s.a.Eccentric.Degrees() - s.part, s.a.EccentricU.Degrees()
		}, ""},
	})
}
