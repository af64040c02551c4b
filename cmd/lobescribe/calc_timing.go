package main

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/timing"
	"lobescribe/capture/worksheet"
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
		flags:   words.declare,
		compute: timing.Compute,
		table:   timingTable,
	}.command()
}

// timingWords are the flags that speak of several fields of the request, or of
// parts of it that are there only if somebody speaks of them. The JSON key of each
// is that of the field it fills, the first of several.
type timingWords struct {
	Intake        []timing.Point     `json:"intake" flag:"intake" form:"FILE" help:"CSV file of the intake valve's lifts"`
	IntakeOpens   *timing.EventInput `json:"intake.opens" flag:"intake-opens" form:"EVENT" help:"when the intake opens, \"12 BTDC\" or 12"`
	IntakeCloses  *timing.EventInput `json:"intake.closes" flag:"intake-closes" form:"EVENT" help:"when it closes, \"44 ABDC\" or 44"`
	Exhaust       []timing.Point     `json:"exhaust" flag:"exhaust" form:"FILE" help:"CSV file of the exhaust valve's lifts"`
	ExhaustOpens  *timing.EventInput `json:"exhaust.opens" flag:"exhaust-opens" form:"EVENT" help:"when the exhaust opens, \"50 BBDC\" or 50"`
	ExhaustCloses *timing.EventInput `json:"exhaust.closes" flag:"exhaust-closes" form:"EVENT" help:"when it closes, \"6 ATDC\" or 6"`

	First  []timing.Point `json:"compare.first" flag:"first" form:"FILE" help:"CSV file of lifts that another is compared with: before a change, or a sister lobe"`
	Second []timing.Point `json:"compare.second" flag:"second" form:"FILE" help:"CSV file of the lifts that are compared with it"`

	CheckingLifts []measure.Length `json:"checking_lifts_mm" flag:"checking-lift" help:"lift at which events count (default 0.050 in and 1 mm); may come many times"`
	CheckedAt     timing.Place     `json:"checked_at" flag:"checked-at" help:"valve or lobe: where the checking lift counts (default: where it was measured)"`
	MeasuredAt    timing.Place     `json:"intake.measured_at" flag:"measured-at" help:"valve or lobe: where the lifts were measured (default valve; typed events: lobe)"`
	Ratio         float64          `json:"intake.rocker_ratio" flag:"rocker-ratio" help:"to go from lobe to valve and back"`
	RatioU        float64          `json:"intake.rocker_ratio_u" flag:"rocker-ratio-u" help:"its uncertainty over the whole lift (default 0.06 of it: bend and stand are not known)"`
	IntakeLobe    []timing.Point   `json:"intake.other_end" flag:"intake-lobe" form:"FILE" help:"CSV file of the intake's lifts at the lobe: the ratio is measured, and used in place of one number"`
	ExhaustLobe   []timing.Point   `json:"exhaust.other_end" flag:"exhaust-lobe" form:"FILE" help:"likewise of the exhaust"`
	Lash          measure.Length   `json:"intake.lash_mm" flag:"lash" help:"lash at the valve, likewise"`
	Resolution    measure.Length   `json:"intake.resolution_mm" flag:"resolution" help:"step to which the lifts were rounded"`
	TDC           measure.Angle    `json:"intake.tdc_deg" flag:"tdc" help:"what the encoder or wheel shows at top dead centre (default 0)"`
	EventU        *measure.Angle   `json:"intake.u_deg" flag:"event-u" help:"uncertainty of typed events (default 1)"`

	CardIntakeOpens   *timing.EventInput `json:"card.intake.opens" flag:"card-intake-opens" form:"EVENT" help:"the cam card's figure"`
	CardIntakeCloses  *timing.EventInput `json:"card.intake.closes" flag:"card-intake-closes" form:"EVENT" help:"likewise"`
	CardExhaustOpens  *timing.EventInput `json:"card.exhaust.opens" flag:"card-exhaust-opens" form:"EVENT" help:"likewise"`
	CardExhaustCloses *timing.EventInput `json:"card.exhaust.closes" flag:"card-exhaust-closes" form:"EVENT" help:"likewise"`
	CardLift          measure.Length     `json:"card.intake.checking_lift_mm" flag:"card-lift" help:"checking lift of the card, at the lobe (default 0.050 in)"`
	CardIntakeMax     measure.Length     `json:"card.intake.max_lift_mm" flag:"card-intake-max" help:"the card's max lift at the valve, lash not taken off"`
	CardExhaustMax    measure.Length     `json:"card.exhaust.max_lift_mm" flag:"card-exhaust-max" help:"likewise"`
	CardSeparation    *measure.Angle     `json:"card.lobe_separation_cam_deg" flag:"card-separation" help:"the card's lobe separation, cam degrees"`
	CardTolerance     measure.Angle      `json:"card.tolerance_deg" flag:"card-tolerance" help:"what a line of the card may be off, crank degrees (default 2)"`
	CardLiftTolerance measure.Length     `json:"card.tolerance_mm" flag:"card-lift-tolerance" help:"what max lift may be off (default 0.005 in)"`
	TwoCams           bool               `json:"card.two_cams" flag:"two-cams" help:"intake and exhaust sit on cams of their own"`

	StopFirst   []measure.Angle `json:"tdc.positive_stop.first_deg" flag:"stop-first" help:"encoder against the positive stop, one side; may come many times"`
	StopSecond  []measure.Angle `json:"tdc.positive_stop.second_deg" flag:"stop-second" help:"the other side"`
	EncoderStep measure.Angle   `json:"tdc.positive_stop.angle_step_deg" flag:"encoder-step" help:"the encoder's degrees a count"`

	Lobe      bool                  `json:"intake.more.lobe_motion" flag:"lobe-motion" help:"yes: lift, velocity and acceleration of the lobe from lifts at the valve, through the ratio"`
	LashStep  measure.Length        `json:"intake.more.lash_step_mm" flag:"lash-step" help:"a change of lash, as in \"0.002 in\": what it does to the events"`
	Port      *timingPort           `json:"intake.more.port"`
	Cylinder  *timingCylinder       `json:"intake.more.cylinder"`
	Wheel     *timingWheel          `json:"wheel"`
	WheelPair []timing.WheelReading `json:"wheel.readings" flag:"wheel" form:"ENCODER:WHEEL[:back]" help:"encoder and degree wheel read together, as in \"123.4: 125\"; with \": back\" while turning backwards; 6 or more over two turns"`

	Crank    *timingCrank     `json:"crank"`
	PistonAt []measure.Angle  `json:"piston_at_deg" flag:"piston-at" help:"crank angles from top dead centre at which to give the piston's travel"`
	AngleAt  []measure.Length `json:"angle_at_travel_mm" flag:"angle-at" help:"piston travels from the top at which to give the crank angle"`
}

// timingPort is [timing.PortInput].
type timingPort struct {
	Head      measure.Length  `json:"head_mm" flag:"head" help:"diameter of the valve's head over its seat: asks for curtain area against seat and throat"`
	SeatWidth measure.Length  `json:"seat_width_mm" flag:"seat-width" help:"width of the seat as it lies (default none)"`
	SeatAngle measure.Angle   `json:"seat_angle_deg" flag:"seat-angle" help:"angle of the seat against the head's face (default 45)"`
	Throat    measure.Length  `json:"throat_mm" flag:"throat" help:"narrowest diameter of the port below the seat"`
	Stem      measure.Length  `json:"stem_mm" flag:"stem" help:"diameter of the valve's stem"`
	U         *measure.Length `json:"diameters_u_mm" flag:"diameters-u" help:"how well those diameters are measured (k = 2; default 0.1 mm)"`
}

// timingCylinder is [timing.CylinderInput].
type timingCylinder struct {
	Compression  float64        `json:"compression" flag:"compression" help:"compression ratio of the whole stroke: asks for the effective one from intake closing; needs --stroke and --rod"`
	CompressionU *float64       `json:"compression_u" flag:"compression-u" help:"how well it is known (k = 2; default 0.1)"`
	Bore         measure.Length `json:"bore_mm" flag:"bore" help:"bore, for the swept volume left in cm³"`
}

// timingWheel is [timing.WheelInput] but for its readings.
type timingWheel struct {
	Index     []measure.Angle `json:"index_deg" flag:"index" help:"what the encoder shows each time one mark comes past, turning forwards; twice or more"`
	IndexBack []measure.Angle `json:"index_back_deg" flag:"index-back" help:"the same, turning backwards: the slack"`
	U         *measure.Angle  `json:"reading_u_deg" flag:"reading-u" help:"how well wheel or mark is read (k = 2; default 0.5)"`
}

// timingCrank is [timing.Crank].
type timingCrank struct {
	Stroke measure.Length `json:"stroke_mm" flag:"stroke" help:"stroke, for piston travel"`
	Rod    measure.Length `json:"rod_mm" flag:"rod" help:"connecting rod between centres"`
}

func (w *timingWords) declare(f *questionFlags, q *timing.Request) {
	event := func(text string) (any, error) { return timing.NewEvent(text), nil }
	f.forms = map[string]func(string) (any, error){
		"intake": readPoints, "exhaust": readPoints, "intake-lobe": readPoints, "first": readPoints, "second": readPoints, "exhaust-lobe": readPoints,
		"intake-opens": event, "intake-closes": event, "exhaust-opens": event, "exhaust-closes": event,
		"wheel":             func(text string) (any, error) { return parseWheel(text) },
		"card-intake-opens": event, "card-intake-closes": event, "card-exhaust-opens": event, "card-exhaust-closes": event,
	}
	f.question(w, "")
	f.finish = func() { w.put(q) }
}

// readPoints reads the lifts of one valve against crank angle from a file.
func readPoints(path string) (any, error) {
	in, err := openText(path)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	points, err := timing.ReadPoints(in)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return points, nil
}

// put makes the request of what the flags said.
func (w *timingWords) put(q *timing.Request) {
	q.Intake = w.valve(w.Intake, w.IntakeLobe, w.IntakeOpens, w.IntakeCloses)
	q.Exhaust = w.valve(w.Exhaust, w.ExhaustLobe, w.ExhaustOpens, w.ExhaustCloses)
	q.CheckingLifts, q.CheckedAt = w.CheckingLifts, w.CheckedAt
	intake, exhaust := w.card(w.CardIntakeOpens, w.CardIntakeCloses, w.CardIntakeMax), w.card(w.CardExhaustOpens, w.CardExhaustCloses, w.CardExhaustMax)
	if intake != nil || exhaust != nil {
		q.Card = &timing.CardInput{Intake: intake, Exhaust: exhaust, TwoCams: w.TwoCams, LobeSeparation: w.CardSeparation, Tolerance: w.CardTolerance, LiftTolerance: w.CardLiftTolerance}
	}
	if len(w.StopFirst)+len(w.StopSecond) > 0 {
		q.TDC = &timing.TDCInput{Stop: &timing.StopInput{First: w.StopFirst, Second: w.StopSecond, AngleStep: w.EncoderStep}}
	}
	if w.First != nil || w.Second != nil {
		q.Compare = &timing.CompareInput{First: w.valve(w.First, nil, nil, nil), Second: w.valve(w.Second, nil, nil, nil)}
	}
	if w.Crank != nil {
		q.Crank = &timing.Crank{Stroke: w.Crank.Stroke, Rod: w.Crank.Rod}
	}
	q.PistonAt, q.Travels = w.PistonAt, w.AngleAt
	if w.Lobe || w.LashStep != 0 || w.Port != nil || w.Cylinder != nil {
		for _, v := range []*timing.ValveInput{q.Intake, q.Exhaust} {
			if v != nil {
				v.More = &timing.MoreInput{Lobe: w.Lobe, LashStep: w.LashStep}
				if p := w.Port; p != nil {
					v.More.Port = &timing.PortInput{Head: p.Head, SeatWidth: p.SeatWidth, SeatAngle: p.SeatAngle, Throat: p.Throat, Stem: p.Stem, U: p.U}
				}
				if k := w.Cylinder; k != nil && v == q.Intake {
					v.More.Cylinder = &timing.CylinderInput{Compression: k.Compression, CompressionU: k.CompressionU, Bore: k.Bore}
				}
			}
		}
	}
	if k := w.Wheel; k != nil {
		q.Wheel = &timing.WheelInput{Index: k.Index, IndexBack: k.IndexBack, U: k.U}
	}
	if len(w.WheelPair) > 0 {
		if q.Wheel == nil {
			q.Wheel = &timing.WheelInput{}
		}
		q.Wheel.Readings = w.WheelPair
	}
}

// parseWheel reads "ENCODER: WHEEL" or "ENCODER: WHEEL: back".
func parseWheel(text string) (timing.WheelReading, error) {
	var r timing.WheelReading
	p, err := parts(text, `ENCODER: WHEEL, as in "123.4: 125", with ": back" behind while turning backwards`, 2, 3)
	if err != nil {
		return r, err
	}
	if len(p) == 3 && p[2] != "back" {
		return r, fmt.Errorf("%q: the third word can only be back", text)
	}
	r.Back = len(p) == 3
	if r.Encoder, err = measure.ParseAngle(p[0]); err != nil {
		return r, err
	}
	r.Wheel, err = measure.ParseAngle(p[1])
	return r, err
}

// valve is one valve of the request; nil where nothing was said of it.
func (w *timingWords) valve(points, lobe []timing.Point, opens, closes *timing.EventInput) *timing.ValveInput {
	if points == nil && opens == nil && closes == nil {
		return nil
	}
	in := &timing.ValveInput{Opens: opens, Closes: closes, Ratio: w.Ratio, RatioU: w.RatioU, Lash: w.Lash, Resolution: w.Resolution, TDC: w.TDC, U: w.EventU,
		AngleStep: w.EncoderStep, MeasuredAt: w.MeasuredAt}
	for _, p := range points {
		in.Angles, in.Lifts = append(in.Angles, p.Angle), append(in.Lifts, p.Lift)
	}
	if lobe != nil {
		in.Other = &timing.OtherEnd{Resolution: w.Resolution, TDC: w.TDC, AngleStep: w.EncoderStep}
		for _, p := range lobe {
			in.Other.Angles, in.Other.Lifts = append(in.Other.Angles, p.Angle), append(in.Other.Lifts, p.Lift)
		}
	}
	if len(w.CheckingLifts) > 0 {
		in.CheckingLift = w.CheckingLifts[0]
	}
	return in
}

// card is one valve on the cam card.
func (w *timingWords) card(opens, closes *timing.EventInput, max measure.Length) *timing.CardValveInput {
	if opens == nil && closes == nil && max == 0 {
		return nil
	}
	k := &timing.CardValveInput{Opens: opens, Closes: closes, CheckingLift: w.CardLift}
	if max != 0 {
		k.MaxLift, k.MaxLiftAt, k.Gross = max, timing.AtValve, true
	}
	return k
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
		t.line("top dead centre", "%s (%s)", r.TDC.Says.In(t.unit), r.TDC.Method)
		t.says(r.TDC.Warnings)
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
		for _, l := range k.Lines {
			t.line("card line", "%s", l.Says.In(t.unit))
		}
		t.says(k.Mends)
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
	for _, q := range []*timing.RatioCurve{r.IntakeRatio, r.ExhaustRatio, r.Ratio} {
		if q == nil {
			continue
		}
		for _, s := range q.Stations {
			off := ""
			if s.Off != nil {
				off = fmt.Sprintf(", %+.3f off nominal", *s.Off)
			}
			t.line("ratio", "%.3f ± %.3f at %s lobe lift%s", s.Ratio, s.RatioU, t.length(s.Lobe), off)
		}
		t.line("ratio at the nose", "%.3f ± %.3f, lash %s", q.AtNose, q.AtNoseU, t.lengthU(q.Lash, q.LashU))
		t.says(q.Warnings)
	}
	if d := r.Difference; d != nil {
		t.line("compared", "%s", d.Is)
		t.line("turned", "the second comes %s after the first", angleU(d.Turned, d.TurnedU))
		t.says([]worksheet.Sentence{d.Says})
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
	if w := r.Wheel; w != nil {
		for _, says := range w.Says {
			t.line("wheel", "%s", says.In(t.unit))
		}
		if w.Scatter != nil {
			t.line("wheel", "what is left scatters by %.2f°", w.Scatter.Degrees())
		}
	}
	for _, p := range r.Piston {
		t.line("piston", "%s below its top at %.2f° from top dead centre", t.length(p.Travel), p.Angle.Degrees())
		t.line("", "%s above its bottom, %.2f° from bottom dead centre", t.length(p.TravelFromBottom), p.AngleFromBottom.Degrees())
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
			duration := "duration " + angleU(s.Duration, s.DurationU)
			if s.DurationU == 0 && v.Made != nil && v.Made.Resolution == 0 {
				duration += " (± not known: no step of lift or angle is)"
			}
			parts = append(parts, duration, "centreline "+s.Says)
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
	if v.More != nil {
		for _, says := range v.More.Says {
			t.line(name+" more", "%s", says.In(t.unit))
		}
	}
	if v.Made != nil {
		if out := v.Made.RunOut; out != nil {
			t.line(name+" heel runs out", "%s either way over a turn (the usual limit is the maker's)", t.length(*out))
		}
		t.says(v.Made.Warnings)
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
	t.says(d.Warnings)
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
