package main

import (
	"fmt"
	"math"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/timing"
	"lobescribe/device/measure"
)

// newCalcTimingCommand returns `calc timing`.
func newCalcTimingCommand() *cobra.Command {
	var words timingWords
	return calculation[timing.Request, timing.Result]{
		use:   "timing",
		short: "Valve timing from lifts or events: duration, centreline, overlap, cam card, top dead centre, ratio",
		long: `Valve timing, the trade's way. Whatever is given is answered: events read off a
degree wheel, lifts against crank angle (a CSV file with the columns angle_deg
and lift_mm or lift_in), a cam card to compare with, the two readings of a
positive stop, piston travel. Events are numbers as cards count them (openings
before, closings after their dead centre, negative for the other side) or texts
such as "12 BTDC" and "44 ABDC".

JSON takes more: derivatives, the ratio from a lobe-side and a valve-side curve,
drops of an indicator on the piston, and all valves of an engine against each
other.`,
		example: `  lobescribe calc timing --intake-opens "12 BTDC" --intake-closes "44 ABDC" --exhaust-opens 50 --exhaust-closes 6
  lobescribe calc timing --intake wheel.csv --resolution "0.0005 in" --card-intake-opens 12 --card-intake-closes 44
  lobescribe calc timing --stop-first 33 --stop-second 329 --encoder-step 0.15
  lobescribe calc timing --stroke "3.48 in" --rod "5.70 in" --piston-at 30
  lobescribe calc timing --json < timing.json
`,
		flags: words.declare,
		compute: func(q timing.Request) (timing.Result, error) {
			words.put(&q)
			return timing.Compute(q)
		},
		table: timingTable,
	}.command()
}

// timingWords are the flags that speak of several fields of the request, or of
// parts of it that are there only if somebody speaks of them.
type timingWords struct {
	intake, exhaust         timing.ValveInput
	hasIntake, hasExhaust   bool
	cardIntake, cardExhaust timing.CardValveInput
	hasCard                 bool
	twoCams                 bool
	cardLift                measure.Length
	stop                    timing.StopInput
	step                    measure.Angle
	crank                   timing.Crank
	shared                  timing.ValveInput
	measuredAt, checkedAt   string
}

func (w *timingWords) declare(f *questionFlags, q *timing.Request) {
	event := func(name, usage string, has *bool, dst **timing.EventInput) {
		f.value(name, "event", usage, func(text string) error {
			*dst, *has = timing.NewEvent(text), true
			return nil
		})
	}
	file := func(name, usage string, has *bool, dst *timing.ValveInput) {
		f.value(name, "file", usage, func(path string) error {
			*has = true
			in, err := os.Open(path)
			if err != nil {
				return err
			}
			defer in.Close()
			points, err := timing.ReadPoints(in)
			if err != nil {
				return fmt.Errorf("%s: %w", path, err)
			}
			for _, p := range points {
				dst.Angles, dst.Lifts = append(dst.Angles, p.Angle), append(dst.Lifts, p.Lift)
			}
			return nil
		})
	}
	angles := func(name, usage string, dst *[]measure.Angle) {
		f.value(name, "degrees", usage, func(text string) error {
			for part := range strings.SplitSeq(text, ",") {
				a, err := measure.ParseAngle(part)
				if err != nil {
					return err
				}
				*dst = append(*dst, a)
			}
			return nil
		})
	}
	file("intake", "CSV file of the intake valve's lifts", &w.hasIntake, &w.intake)
	event("intake-opens", `when the intake opens, "12 BTDC" or 12`, &w.hasIntake, &w.intake.Opens)
	event("intake-closes", `when it closes, "44 ABDC" or 44`, &w.hasIntake, &w.intake.Closes)
	file("exhaust", "CSV file of the exhaust valve's lifts", &w.hasExhaust, &w.exhaust)
	event("exhaust-opens", `when the exhaust opens, "50 BBDC" or 50`, &w.hasExhaust, &w.exhaust.Opens)
	event("exhaust-closes", `when it closes, "6 ATDC" or 6`, &w.hasExhaust, &w.exhaust.Closes)

	f.lengths(&q.CheckingLifts, "checking-lift", "lift at which events count (default 0.050 in and 1 mm); may come many times")
	f.word(&w.checkedAt, "checked-at", "valve or lobe: where the checking lift counts (default: where it was measured)")
	f.word(&w.measuredAt, "measured-at", "valve or lobe: where the lifts were measured (default valve; typed events: lobe)")
	f.number(&w.shared.Ratio, "rocker-ratio", "to go from lobe to valve and back")
	f.length(&w.shared.Lash, "lash", "lash at the valve, likewise")
	f.length(&w.shared.Resolution, "resolution", "step to which the lifts were rounded")
	f.angle(&w.shared.TDC, "tdc", "what the encoder or wheel shows at top dead centre (default 0)")
	f.angleOrNone(&w.shared.U, "event-u", "uncertainty of typed events (default 1)")

	event("card-intake-opens", "the cam card's figure", &w.hasCard, &w.cardIntake.Opens)
	event("card-intake-closes", "likewise", &w.hasCard, &w.cardIntake.Closes)
	event("card-exhaust-opens", "likewise", &w.hasCard, &w.cardExhaust.Opens)
	event("card-exhaust-closes", "likewise", &w.hasCard, &w.cardExhaust.Closes)
	f.length(&w.cardLift, "card-lift", "checking lift of the card, at the lobe (default 0.050 in)")
	f.value("two-cams", "yes|no", "intake and exhaust sit on cams of their own", func(text string) error {
		w.twoCams = text == "yes"
		if text != "yes" && text != "no" {
			return fmt.Errorf("%q is neither yes nor no", text)
		}
		return nil
	})

	angles("stop-first", "encoder against the positive stop, one side; may come many times", &w.stop.First)
	angles("stop-second", "the other side", &w.stop.Second)
	f.angle(&w.step, "encoder-step", "the encoder's degrees a count")

	f.length(&w.crank.Stroke, "stroke", "stroke, for piston travel")
	f.length(&w.crank.Rod, "rod", "connecting rod between centres")
	angles("piston-at", "crank angles from top dead centre at which to give the piston's travel", &q.PistonAt)
	f.lengths(&q.Travels, "angle-at", "piston travels from the top at which to give the crank angle")
}

// put adds what the flags said to the request; of a request that came as JSON
// it changes nothing.
func (w *timingWords) put(q *timing.Request) {
	valve := func(has bool, in timing.ValveInput) *timing.ValveInput {
		if !has {
			return nil
		}
		in.Ratio, in.Lash, in.Resolution, in.TDC, in.U = w.shared.Ratio, w.shared.Lash, w.shared.Resolution, w.shared.TDC, w.shared.U
		in.AngleStep, in.MeasuredAt = w.step, timing.Place(w.measuredAt)
		if len(q.CheckingLifts) > 0 {
			in.CheckingLift = q.CheckingLifts[0]
		}
		return &in
	}
	if v := valve(w.hasIntake, w.intake); v != nil {
		q.Intake = v
	}
	if v := valve(w.hasExhaust, w.exhaust); v != nil {
		q.Exhaust = v
	}
	if w.checkedAt != "" {
		q.CheckedAt = timing.Place(w.checkedAt)
	}
	if w.hasCard {
		q.Card = &timing.CardInput{TwoCams: w.twoCams}
		for _, side := range []struct {
			in  timing.CardValveInput
			dst **timing.CardValveInput
		}{{w.cardIntake, &q.Card.Intake}, {w.cardExhaust, &q.Card.Exhaust}} {
			if side.in.Opens != nil || side.in.Closes != nil {
				side.in.CheckingLift = w.cardLift
				*side.dst = &side.in
			}
		}
	}
	if len(w.stop.First)+len(w.stop.Second) > 0 {
		w.stop.AngleStep = w.step
		q.TDC = &timing.TDCInput{Stop: &w.stop}
	}
	if w.crank != (timing.Crank{}) {
		q.Crank = &w.crank
	}
}

// angleU prints an angle with its expanded uncertainty.
func angleU(a, u measure.Angle) string {
	if u == 0 {
		return fmt.Sprintf("%.2f°", a.Degrees())
	}
	return fmt.Sprintf("%.2f° ± %.2f", a.Degrees(), u.Degrees())
}

func timingTable(t *answerTable, r timing.Result) {
	if r.TDC != nil {
		t.line("top dead centre", "%s (%s)", r.TDC.Says, r.TDC.Method)
		t.texts(r.TDC.Warnings)
	}
	for _, v := range []*timing.ValveTiming{r.Intake, r.Exhaust} {
		if v != nil {
			timingOfValve(t, v)
		}
	}
	for _, p := range r.Pairs {
		name := "both, at " + t.length(p.CheckingLift)
		t.line(name, "overlap %s", angleU(p.Overlap, p.OverlapU))
		t.line(name, "lobe separation %s cam, advance %s crank", angleU(p.Separation, p.SeparationU), angleU(p.Advance, p.AdvanceU))
	}
	if k := r.Card; k != nil {
		for _, d := range k.Deviations {
			t.line("card", "%s %s %s: %s later, %.2f° left over", d.Valve, d.Event, d.Says, angleU(d.Later, d.U), d.LeftOver.Degrees())
		}
		for _, l := range k.Lifts {
			t.line("card", "%s max lift %s, card %s", l.Valve, t.lengthU(l.Measured, l.U), t.length(l.Card))
		}
		t.says(k.Says)
	}
	for _, d := range []struct {
		name string
		d    *timing.Derivatives
	}{{"intake motion", r.IntakeDerivatives}, {"exhaust motion", r.ExhaustDerivatives}} {
		if d.d != nil {
			timingMotion(t, d.name, *d.d)
		}
	}
	if q := r.Ratio; q != nil {
		for _, s := range q.Stations {
			off := ""
			if s.Off != nil {
				off = fmt.Sprintf(", %+.3f off nominal", *s.Off)
			}
			t.line("ratio", "%.3f ± %.3f at %s lobe lift%s", s.Ratio, s.RatioU, t.length(s.Lobe), off)
		}
		t.line("ratio at the nose", "%.3f ± %.3f, lash %s", q.AtNose, q.AtNoseU, t.lengthU(q.Lash, q.LashU))
		t.texts(q.Warnings)
	}
	if g := r.Gain; g != nil {
		t.line("gain", "max lift %s, area %.1f %%", t.lengthU(g.MaxLift, g.MaxLiftU), 100*g.AreaShare)
		for _, d := range g.Durations {
			t.line("gain", "duration %s at %s", angleU(d.Duration, d.U), t.length(d.CheckingLift))
		}
	}
	if c := r.Valves; c != nil {
		timingOfEngine(t, c)
	}
	for _, p := range r.Piston {
		t.line("piston", "%s below its top at %s from top dead centre", t.length(p.Travel), angleU(p.Angle, 0))
		t.line("", "%s above its bottom, %s from bottom dead centre", t.length(p.TravelFromBottom), angleU(p.AngleFromBottom, 0))
	}
	t.basis(r.Basis)
}

func timingOfValve(t *answerTable, v *timing.ValveTiming) {
	name := string(v.Valve)
	if n := v.Nose; n != nil {
		t.line(name+" nose", "%s at %s (%s)", t.lengthU(n.MaxLift, n.MaxLiftU), n.Says, angleU(n.Angle, n.U))
	}
	passages := v.Passages
	if v.HalfLift != nil {
		passages = append(passages[:len(passages):len(passages)], *v.HalfLift)
	}
	for i, p := range passages {
		line := fmt.Sprintf("%s at %s", name, t.length(p.CheckingLift))
		if v.HalfLift != nil && i == len(passages)-1 {
			line = name + " at half lift"
		}
		var parts []string
		for _, e := range []struct {
			word  string
			event *timing.Event
		}{{"opens", p.Opens}, {"closes", p.Closes}} {
			if e.event == nil {
				parts = append(parts, e.word+" beyond the points")
				continue
			}
			parts = append(parts, fmt.Sprintf("%s %s ± %.2f", e.word, e.event.Says, e.event.U.Degrees()))
		}
		if s := p.Span; s != nil {
			parts = append(parts, "duration "+angleU(s.Duration, s.DurationU), "centreline "+s.Says)
			if s.Asymmetry != nil {
				parts = append(parts, fmt.Sprintf("%+.2f° ± %.2f° off the nose", s.Asymmetry.Degrees(), s.AsymmetryU.Degrees()))
			}
		}
		t.line(line, "%s", strings.Join(parts, ", "))
	}
	if v.LiftAtTDC != nil {
		t.line(name+" lift at TDC", "%s", t.lengthU(*v.LiftAtTDC, *v.LiftAtTDCU))
	}
	if v.Area > 0 {
		area, unit := v.Area, "mm"
		if t.unit == measure.InInches {
			area, unit = v.Area/25.4, "in"
		}
		t.line(name+" area", "%.2f %s·deg", area, unit)
	}
	if v.Made != nil {
		if out := v.Made.RunOut; out != nil {
			t.line(name+" heel runs out", "%s either way over a turn (the usual limit is the maker's)", t.length(*out))
		}
		t.texts(v.Made.Warnings)
	}
}

// timingMotion prints the peaks with their bands; the curves are in the JSON.
func timingMotion(t *answerTable, name string, d timing.Derivatives) {
	unit, per := "mm", 1.0
	if t.unit == measure.InInches {
		unit, per = "in", 25.4
	}
	peak := func(what, power string, value func(timing.Derivative) (v, u float64)) {
		var most, band float64
		var at measure.Angle
		for _, p := range d.Points {
			if v, u := value(p); math.Abs(v) > math.Abs(most) {
				most, band, at = v, u, p.Angle
			}
		}
		t.line(name, "largest %s %.3g ± %.1g %s/deg%s at %.1f ATDC", what, most/per, band/per, unit, power, at.Degrees())
	}
	peak("velocity", "", func(p timing.Derivative) (v, u float64) { return p.Velocity, p.VelocityU })
	peak("acceleration", "²", func(p timing.Derivative) (v, u float64) { return p.Acceleration, p.AccelerationU })
	peak("jerk", "³", func(p timing.Derivative) (v, u float64) { return p.Jerk, p.JerkU })
	t.line(name, "Savitzky-Golay, %d points, ± %s, order %d: %s", d.Window, angleU(d.HalfWindow, 0), d.Order, d.Chosen)
	t.texts(d.Warnings)
}

func timingOfEngine(t *answerTable, c *timing.Comparison) {
	for _, g := range c.Groups {
		of := string(g.Quantity)
		if g.Valve != "" {
			of = string(g.Valve) + " " + of
		}
		value := func(v float64) string {
			if g.Unit == "mm" {
				return t.length(measure.FromMillimetres(v))
			}
			return fmt.Sprintf("%.2f°", v)
		}
		t.line(of, "median %s, spread %s over %d", value(g.Median), value(g.Spread), g.Count)
		for _, m := range g.Members {
			odd := ""
			if m.Outlier {
				odd = fmt.Sprintf("  odd: %s off", value(m.Off))
			}
			t.line(of, "%s  %s%s", m.Name, value(m.Value), odd)
		}
	}
	t.says(c.Says)
}
