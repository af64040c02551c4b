package coverage

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/capture/clearance"
	"lobescribe/capture/coverage/model"
	"lobescribe/capture/lift"
	"lobescribe/capture/rocker/pushrod"
	"lobescribe/capture/rocker/shims"
	"lobescribe/capture/timing"
	"lobescribe/device/measure"
)

// restRows hold lengths of a rod, lash that warms up, gaps, the stop, and the part of
// a stack that no trial tells.
func restRows() []row {
	rows := []row{
		{"pushrod.length_u_mm", "a checking rod over its tips, cut to a step", func(t *testing.T, r *rand.Rand) (off, u float64) {
			// The rod that closes the valve's lash exactly, measured by a caliper; end
			// pieces whose lengths are known to some hundredths.
			long := between(r, 150, 280)
			end := between(r, 9, 14)
			added := between(r, -2, 2)
			q := pushrod.Question{Checking: mm(about(r, long, 0.05)), RockerRatio: between(r, 1.3, 1.8), StackChange: mm(added),
				Ends: []pushrod.End{{Length: mm(about(r, end+12, 0.03)), PressDepth: mm(12), BallDiameter: mm(8)}}}
			a, err := pushrod.Solve(q)
			require.NoError(t, err)
			want := long + added*(1+1/q.RockerRatio)
			// What the rod will be: the tube as it is cut, with pieces as long as they are.
			return a.Cuts[0].Tube.Millimetres() + 2*end - want, a.Cuts[0].LengthU.Millimetres()
		}, ""},
		{"shims.offset_u_mm", "heights to a micrometre, nothing told of the rocker", func(t *testing.T, r *rand.Rand) (off, u float64) {
			f := rockerAsFound(t, r)
			q := shims.Question{RockerRatio: f.ratio, ValveArm: mm(about(r, f.arm, 0.5)), BelowU: measure.Micrometre}
			// Trials up to where it is square: what is left of their error is in all of
			// them alike.
			for _, share := range []float64{0, 0.5, 1} {
				b, err := f.bench.Raised(f.wanted * share)
				require.NoError(t, err)
				q.Trials = append(q.Trials, shims.Trial{Stack: shims.Stack{mm(5 + f.wanted*share)}, AdjusterBelowValve: new(f.below(t, r, b, 0.001))})
			}
			a, err := shims.Next(q)
			require.NoError(t, err)
			return a.Wanted.Millimetres() - 5 - f.wanted, a.OffsetU.Millimetres()
		}, ""},
		{"clearance.left_u_mm", "coil bind", func(t *testing.T, r *rand.Rand) (off, u float64) {
			installed, solid, lift := between(r, 40, 48), between(r, 22, 27), between(r, 9, 13)
			a, err := clearance.Solve(clearance.Question{CoilBind: &clearance.CoilBindQuestion{Installed: mm(about(r, installed, 0.2)), Solid: mm(about(r, solid, 0.2)), Lift: mm(about(r, lift, 0.05))}})
			require.NoError(t, err)
			return a.CoilBind.Left.Millimetres() - (installed - solid - lift), a.CoilBind.LeftU.Millimetres()
		}, ""},
		{"clearance.left_u_mm", "retainer to seal", func(t *testing.T, r *rand.Rand) (off, u float64) {
			closed, lift := between(r, 12, 16), between(r, 9, 11.5)
			a, err := clearance.Solve(clearance.Question{Retainer: &clearance.RetainerQuestion{Closed: mm(about(r, closed, 0.1)), Lift: mm(about(r, lift, 0.05))}})
			require.NoError(t, err)
			return a.Retainer.Left.Millimetres() - (closed - lift), a.Retainer.LeftU.Millimetres()
		}, ""},
		{"spring.left_u_mm", "its coils at full lift", func(t *testing.T, r *rand.Rand) (off, u float64) {
			installed, solid, lift := between(r, 40, 48), between(r, 22, 27), between(r, 9, 13)
			a, err := clearance.SolveSpring(clearance.SpringQuestion{Installed: mm(about(r, installed, 0.2)), Solid: mm(about(r, solid, 0.2)), Lift: mm(about(r, lift, 0.05)),
				Loads: []clearance.Load{{Height: mm(installed), Load: 350}, {Height: mm(installed - lift), Load: 900}}})
			require.NoError(t, err)
			return a.CoilBind.Left.Millimetres() - (installed - solid - lift), a.CoilBind.LeftU.Millimetres()
		}, ""},
		{"spring.left_u_mm", "a spring that nobody pressed solid: wire and coils counted", func(t *testing.T, r *rand.Rand) (off, u float64) {
			// Coils on coils: as many wires as there are, less what was ground off the ends.
			wire, total, ground := between(r, 3.5, 4.8), between(r, 5.5, 7), about(r, 0, 0.25)
			solid := 0.0
			for range int(total) {
				solid += wire
			}
			solid += (total - math.Floor(total) - ground) * wire
			installed, lift := solid+between(r, 11, 16), between(r, 8, 10)
			a, err := clearance.SolveSpring(clearance.SpringQuestion{Installed: mm(about(r, installed, 0.2)), Lift: mm(about(r, lift, 0.05)), SeatLoad: 350,
				Wire: mm(about(r, wire, 0.02)), MeanDiameter: mm(30), TotalCoils: about(r, total, 0.25)})
			require.NoError(t, err)
			return a.CoilBind.Left.Millimetres() - (installed - solid - lift), a.CoilBind.LeftU.Millimetres()
		}, ""},
		{"timing.tdc_u_deg", "a stop touched twice a side, a pin off the axis", func(t *testing.T, r *rand.Rand) (off, u float64) {
			stroke, rod, pin := between(r, 75, 100), 0.0, about(r, 0, 0.5)
			rod = stroke * between(r, 1.5, 1.9)
			zero, half := between(r, 0, 360), between(r, 20, 60)
			// The piston with its pin beside the axis, sought by its rod; the stop stands
			// where it is touched half degrees before the top.
			height := func(angle float64) float64 {
				s, c := math.Sincos(angle * math.Pi / 180)
				across := stroke/2*s - pin
				return stroke/2*c + math.Sqrt(rod*rod-across*across)
			}
			stands := height(-half)
			other := half
			for low, high, i := 0.0, 120.0, 0; i < 60; i++ {
				if other = (low + high) / 2; height(other) > stands {
					low = other
				} else {
					high = other
				}
			}
			top := 0.0 // the highest place of the pin
			for low, high, i := -5.0, 5.0, 0; i < 80; i++ {
				a, b := low+(high-low)/3, high-(high-low)/3
				if height(a) < height(b) {
					low = a
				} else {
					high = b
				}
				top = (low + high) / 2
			}
			touch := func(at float64) measure.Angle {
				return deg(math.Floor((at+zero+0.3*(2*r.Float64()-1)+720)/0.15) * 0.15)
			}
			a, err := timing.Compute(timing.Request{Crank: &timing.Crank{Stroke: mm(stroke), Rod: mm(rod)}, TDC: &timing.TDCInput{Stop: &timing.StopInput{
				First: []measure.Angle{touch(-half), touch(-half)}, Second: []measure.Angle{touch(other), touch(other)},
				AngleStep: deg(0.15), Repeat: deg(0.3), PinOffset: mm(0.5)}}})
			require.NoError(t, err)
			return math.Remainder(a.TDC.TDC.Degrees()-(zero+top), 360), a.TDC.U.Degrees()
		}, ""},
	}
	rows = append(rows, warmRows()...)
	rows = append(rows, foundRows()...)
	return append(rows, packRows()...)
}

// warmRows put a rocker together cold, let every part of it grow, and look for the
// gap that comes of it. Nothing in it knows of a ratio: pivot, rod and stem are moved.
func warmRows() []row {
	type seen struct {
		gain, ratio float64
		a           *pushrod.LashAnswer
	}
	draw := func(t *testing.T, r *rand.Rand) seen {
		for {
			f := rockerAsFound(t, r)
			case_, head, stand, stem := between(r, 120, 200), between(r, 20, 50), between(r, 60, 110), between(r, 90, 120)
			alphas := map[string]float64{"aluminium 6061": 23.6, "grey iron": 11.4, "steel 4130": 12.2}
			grew := func(material string, l, warmer float64) float64 {
				return about(r, alphas[material], 0.03*alphas[material]) * 1e-6 * l * warmer
			}
			all := about(r, 70, 20)
			own := about(r, 120, 20) // the stem, hotter than the rest
			under := grew("aluminium 6061", case_, all) + grew("grey iron", head, all)
			above := grew("aluminium 6061", stand, all)
			rodGrew, stemGrew := grew("steel 4130", f.Rod, all), grew("steel 4130", stem, own)
			warm := f.bench
			warm.Pivot.Y += under + above
			warm.Closed += under + stemGrew
			warm.Rod += rodGrew
			gap := func(b model.Bench) float64 {
				p, err := b.AtLobe(0)
				if err != nil {
					return math.NaN()
				}
				return -p.Lift
			}
			gain := gap(warm) - gap(f.bench)
			if math.IsNaN(gain) {
				continue
			}
			a, err := pushrod.Solve(pushrod.Question{Checking: mm(f.Rod), RockerRatio: about(r, f.ratio, 0.03*f.ratio), Lash: &pushrod.LashQuestion{
				Rod:   []pushrod.Piece{{Material: "steel 4130"}},
				Stack: []pushrod.Piece{{Material: "aluminium 6061", Length: mm(case_)}, {Material: "grey iron", Length: mm(head)}},
				Above: []pushrod.Piece{{Material: "aluminium 6061", Length: mm(stand)}},
				Stem:  []pushrod.Piece{{Material: "steel 4130", Length: mm(stem), Warmer: new(120.0)}},
			}})
			require.NoError(t, err)
			return seen{gain, f.ratio, a.Lash}
		}
	}
	return each(160, "case, head, stand, rod and a hot stem", draw, []figure[seen]{
		{"pushrod.opens_at_valve_u_mm", func(_ *testing.T, s seen) (off, u float64) {
			return s.a.OpensAtValve.Millimetres() - s.gain, s.a.OpensAtValveU.Millimetres()
		}, ""},
		{"pushrod.opens_u_mm", func(_ *testing.T, s seen) (off, u float64) {
			return s.a.Opens.Millimetres() - s.gain/s.ratio, s.a.OpensU.Millimetres()
		}, ""},
	})
}

// foundRows are the findings of a trace that was turned by hand, and what a card and a
// change make of two of them.
func foundRows() []row {
	type seen struct {
		turned
		f       lift.Findings
		a       timing.Result
		changed model.Lobe
	}
	draw := func(t *testing.T, r *rand.Rand) seen {
		s := seen{turned: cylinderAsFound(r, 0.5, 0)}
		trace := s.trace(r, s.intake)
		var err error
		s.f, err = lift.Analyse(trace, lift.Options{})
		require.NoError(t, err)
		s.changed = s.intake
		s.changed.Height *= between(r, 1.02, 1.1)
		s.changed.Half += between(r, -6, 6)
		after := s.trace(r, s.changed)
		in := func(t *measure.Trace) *timing.ValveInput {
			return &timing.ValveInput{Trace: t, TDC: deg(s.tdc + s.wrong), TDCU: deg(s.tdcU)}
		}
		opens, closes := s.intake.Passes(1.27)
		s.a, err = timing.Compute(timing.Request{
			Intake: in(&trace), CheckingLifts: []measure.Length{mm(1.27)},
			Card:  &timing.CardInput{Intake: &timing.CardValveInput{CheckedAt: timing.AtValve, Opens: event(0, opens), Closes: event(1, closes), MaxLift: mm(s.intake.Height), MaxLiftAt: timing.AtValve}},
			Ratio: &timing.RatioInput{Lobe: in(&trace), Valve: in(&after), Before: in(&trace)},
		})
		require.NoError(t, err)
		return s
	}
	return each(170, "half a count of noise"+few, draw, []figure[seen]{
		{"findings.max_lift_u_mm", func(_ *testing.T, s seen) (off, u float64) {
			return s.f.MaxLift.Millimetres() - s.intake.Height, s.f.MaxLiftU.Millimetres()
		}, "without a proof of the indicator it holds what may be wrong with one"},
		{"findings.angle_u_deg", func(t *testing.T, s seen) (off, u float64) {
			h := s.f.Openings[0].OpeningHalf
			require.NotNil(t, h.Angle)
			opens, _ := s.intake.Passes(s.intake.Height / 2)
			return math.Remainder(h.Angle.Degrees()-opens-s.tdc, 360), (*h.AngleU).Degrees()
		}, "without a proof of the indicator it holds what may be wrong with one"},
		{"timing.card.u_deg", func(t *testing.T, s seen) (off, u float64) {
			d := s.a.Card.Deviations[0]
			return d.Later.Degrees() + s.wrong, math.Hypot(d.U.Degrees(), 0)
		}, "what one top dead centre moves is in it"},
		{"timing.card.u_mm", func(t *testing.T, s seen) (off, u float64) {
			l := s.a.Card.Lifts[0]
			return l.Measured.Millimetres() - s.intake.Height, l.U.Millimetres()
		}, "without a proof of the indicator it holds what may be wrong with one"},
	})
}

// wave is the lowest frequency of a row of coils between two plates, in Hz, from how
// long a push takes to go there and back: N/mm and grams.
func wave(rate, mass float64) float64 {
	const n = 2000 // slices, each of the rate times n and the mass over n
	once := math.Sqrt(mass / 1000 / n / (rate * 1000 * n))
	return 1 / (2 * n * once)
}

// anyLobe is some lift curve, for springs of which only their own swing is asked.
var anyLobe = func() (points []timing.Point) {
	l := model.Lobe{Height: 10, Centre: 110, Half: 130}
	for x := -30.0; x <= 250; x++ {
		points = append(points, timing.Point{Angle: deg(x), Lift: mm(math.Round(l.Above(x)/0.01) * 0.01)})
	}
	return points
}()

// packRows wind springs of which one sits in the other, and springs whose coils close
// one by one.
func packRows() []row {
	type pack struct {
		seat, open, rate, rateOpen float64
		own                        float64 // the inner spring's, or a progressive one's at full lift, Hz
		a                          clearance.SpringAnswer
	}
	nested := func(t *testing.T, r *rand.Rand) pack {
		installed, lift := between(r, 42, 48), between(r, 9, 14)
		outer, inner := between(r, 30, 50), between(r, 8, 20)
		freeOuter, freeInner := between(r, 52, 60), between(r, 50, 58)
		loads := func(k, free float64) []clearance.Load {
			var list []clearance.Load
			for _, h := range []float64{installed, installed - lift/2, installed - lift} {
				list = append(list, clearance.Load{Height: mm(about(r, h, 0.2)), Load: clearance.Force(k * (free - h) * about(r, 1, 0.03))})
			}
			return list
		}
		mass, coils := between(r, 15, 35), between(r, 6, 9)
		a, err := clearance.SolveSpring(clearance.SpringQuestion{Installed: mm(about(r, installed, 0.2)), Lift: mm(lift), Loads: loads(outer, freeOuter),
			Inner:  &clearance.InnerQuestion{Loads: loads(inner, freeInner), Mass: mass * about(r, 1, 0.05)},
			Motion: &clearance.MotionQuestion{Curve: anyLobe, Resolution: mm(0.01), Mass: 120, Rocker: 20, Spring: 60}})
		require.NoError(t, err)
		seat := outer*(freeOuter-installed) + inner*(freeInner-installed)
		return pack{seat, seat + (outer+inner)*lift, inner, 0, wave(inner, mass*(coils-2)/coils), a}
	}
	rows := each(180, "one wound into the other", nested, []figure[pack]{
		{"spring.both_seat_load_u_n", func(_ *testing.T, p pack) (off, u float64) {
			return float64(*p.a.Inner.Both) - p.seat, float64(*p.a.Inner.BothU)
		}, ""},
		{"spring.both_open_load_u_n", func(_ *testing.T, p pack) (off, u float64) {
			return float64(*p.a.Inner.BothOpen) - p.open, float64(*p.a.Inner.BothOpenU)
		}, ""},
		{"spring.own_inner_u_hz", func(_ *testing.T, p pack) (off, u float64) {
			return *p.a.Motion.OwnInner - p.own, *p.a.Motion.OwnInnerU
		}, ""},
	})
	// A progressive spring: coils of different pitch, each a spring that closes when it
	// is pressed by its gap. The height at a load is summed over them, and the load at
	// a height sought.
	progressive := func(t *testing.T, r *rand.Rand) pack {
		installed, lift := between(r, 42, 48), between(r, 9, 12)
		const coils = 6
		one := between(r, 35, 50) * coils // a coil's own rate
		var gaps [coils]float64
		for i := range gaps {
			gaps[i] = between(r, 2.5, 4.5) + 1.6*float64(i)/coils
		}
		pressed := func(load float64) (by float64) {
			for _, g := range gaps {
				by += min(load/one, g)
			}
			return by
		}
		start := between(r, 250, 400)
		free := installed + pressed(start)
		load := func(height float64) float64 {
			low, high := 0.0, 20*start
			for range 60 {
				if mid := (low + high) / 2; free-pressed(mid) > height {
					low = mid
				} else {
					high = mid
				}
			}
			return (low + high) / 2
		}
		var list []clearance.Load
		for i := range 7 {
			h := installed - lift*float64(i)/6
			list = append(list, clearance.Load{Height: mm(about(r, h, 0.2)), Load: clearance.Force(load(h) * about(r, 1, 0.03))})
		}
		q := clearance.SpringQuestion{Installed: mm(about(r, installed, 0.2)), Lift: mm(lift), Loads: list, Progressive: true}
		mass := between(r, 40, 80) // eight coils, of which the ends take two
		q.Motion = &clearance.MotionQuestion{Curve: anyLobe, Resolution: mm(0.01), Mass: 120, Rocker: 20, Spring: mass * about(r, 1, 0.05)}
		a, err := clearance.SolveSpring(q)
		if err != nil { // a tester so far out that the loads do not grow
			return pack{math.NaN(), 0, 0, 0, 0, a}
		}
		const h = 0.25
		left := 0 // coils that are not closed at full lift
		for _, g := range gaps {
			if load(installed-lift)/one < g {
				left++
			}
		}
		at := func(height float64) float64 { return (load(height-h) - load(height+h)) / (2 * h) }
		return pack{load(installed), load(installed - lift), at(installed), at(installed - lift), wave(one/float64(left), mass/8*float64(left)), a}
	}
	sound := func(t *testing.T, r *rand.Rand) pack {
		for {
			if p := progressive(t, r); !math.IsNaN(p.seat) {
				return p
			}
		}
	}
	return append(rows, each(190, "progressive, seven loads", sound, []figure[pack]{
		{"spring.progressive.seat_load_u_n", func(_ *testing.T, p pack) (off, u float64) {
			return float64(*p.a.SeatLoad) - p.seat, float64(*p.a.SeatLoadU)
		}, ""},
		{"spring.progressive.open_load_u_n", func(_ *testing.T, p pack) (off, u float64) {
			return float64(*p.a.OpenLoad) - p.open, float64(*p.a.OpenLoadU)
		}, ""},
		{"spring.rate_seat_u_n_per_mm", func(_ *testing.T, p pack) (off, u float64) {
			return float64(p.a.Progressive.Seat) - p.rate, float64(p.a.Progressive.SeatU)
		}, ""},
		{"spring.rate_open_u_n_per_mm", func(_ *testing.T, p pack) (off, u float64) {
			return float64(p.a.Progressive.Open) - p.rateOpen, float64(p.a.Progressive.OpenU)
		}, ""},
		{"spring.own_open_u_hz", func(_ *testing.T, p pack) (off, u float64) {
			return *p.a.Motion.OwnOpen - p.own, *p.a.Motion.OwnOpenU
		}, ""},
	})...)
}
