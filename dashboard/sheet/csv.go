package sheet

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"lobescribe/capture/clearance"
	"lobescribe/capture/lift"
	"lobescribe/capture/timing"
	"lobescribe/device/measure"
)

// csvHeader: one number a line, so that lines can be filtered and nothing is
// ever in another column tomorrow. about is the part of the sheet, source the
// trace or trial it comes from. value and u (expanded, k = 2) are exact, in
// unit: mm, deg, s or none. Lengths stand a second time in inches.
var csvHeader = []string{"about", "valve", "source", "quantity", "value", "u", "unit", "value_in", "u_in", "says"}

// WriteCSV writes every number of the sheet.
func WriteCSV(w io.Writer, d Data) error {
	out := csv.NewWriter(w)
	t := table{out: out}
	t.write(csvHeader)
	d.csvEngine(&t)
	for _, v := range d.Valves {
		v.csv(&t, d.Made.Location())
	}
	d.csvRest(&t)
	out.Flush()
	if t.err == nil {
		t.err = out.Error()
	}
	if t.err != nil {
		return fmt.Errorf("writing the numbers of %q: %w", d.Engine.ID, t.err)
	}
	return nil
}

// table writes lines about one thing after the other.
type table struct {
	out                  *csv.Writer
	err                  error
	about, valve, source string
}

func (t *table) write(fields []string) {
	if t.err == nil {
		t.err = t.out.Write(fields)
	}
}

func (t *table) on(about, valve, source string) { t.about, t.valve, t.source = about, valve, source }

// text keeps a spreadsheet from taking what a person typed for a formula.
func text(s string) string {
	s = strings.ReplaceAll(strings.ReplaceAll(s, "\r", " "), "\n", " ")
	if s != "" && strings.ContainsRune("=+-@\t", rune(s[0])) {
		return "'" + s
	}
	return s
}

func (t *table) line(quantity, value, u, unit, in, uIn, says string) {
	t.write([]string{t.about, text(t.valve), text(t.source), quantity, value, u, unit, in, uIn, text(says)})
}

func (t *table) say(quantity, says string) {
	if says != "" {
		t.line(quantity, "", "", "", "", "", says)
	}
}

func (t *table) number(quantity string, v float64, unit string) {
	t.line(quantity, strconv.FormatFloat(v, 'g', -1, 64), "", unit, "", "", "")
}

// exact prints a length or an angle as its JSON does: to the last digit.
func exact(v interface{ MarshalJSON() ([]byte, error) }) string {
	b, err := v.MarshalJSON()
	if err != nil {
		return ""
	}
	return string(b)
}

func inches(l measure.Length) string { return l.Decimal(measure.InInches, 7) }

func (t *table) length(quantity string, l measure.Length) {
	t.line(quantity, exact(l), "", "mm", inches(l), "", "")
}

func (t *table) lengthU(quantity string, l, u measure.Length) {
	t.line(quantity, exact(l), exact(u), "mm", inches(l), inches(u), "")
}

func (t *table) known(quantity string, l measure.Length) {
	if l != 0 {
		t.length(quantity, l)
	}
}

func (t *table) maybe(quantity string, l *measure.Length) {
	if l != nil {
		t.length(quantity, *l)
	}
}

func (t *table) angle(quantity string, a measure.Angle) {
	t.line(quantity, exact(a), "", "deg", "", "", "")
}

func (t *table) angleU(quantity string, a, u measure.Angle, says string) {
	t.line(quantity, exact(a), exact(u), "deg", "", "", says)
}

func (t *table) maybeAngle(quantity string, a *measure.Angle) {
	if a != nil {
		t.angle(quantity, *a)
	}
}

func (t *table) stamp(quantity string, s measure.Stamp) {
	t.line(quantity, exact(s), "", "s", "", "", "")
}

func (d Data) csvEngine(t *table) {
	e, c := d.Engine, d.Engine.CamCard
	t.on("engine", "", e.ID)
	t.say("name", e.Name)
	t.say("made", d.Made.Format(time.RFC3339))
	t.number("cylinders", float64(e.Cylinders), "")
	t.number("valves a cylinder", float64(e.ValvesPerCylinder), "")
	t.number("rocker ratio, intake", e.RockerRatio.Intake, "")
	t.number("rocker ratio, exhaust", e.RockerRatio.Exhaust, "")
	t.known("stroke", e.Stroke)
	t.known("rod", e.Rod)
	if e.TDC != nil {
		if e.TDC.U != 0 {
			t.angleU("encoder at TDC of cylinder 1", e.TDC.Angle, e.TDC.U, string(e.TDC.Method))
		} else {
			t.angle("encoder at TDC of cylinder 1", e.TDC.Angle)
		}
	}
	for _, v := range e.Valves() {
		if own := e.ValveNames[v.String()]; own != "" {
			t.on("engine", v.String(), e.ID)
			t.say("called", own)
		}
	}
	t.on("cam card", "", e.ID)
	t.known("checking lift", c.CheckingLift)
	t.maybeAngle("intake opens before TDC", c.IntakeOpens)
	t.maybeAngle("intake closes after BDC", c.IntakeCloses)
	t.maybeAngle("exhaust opens before BDC", c.ExhaustOpens)
	t.maybeAngle("exhaust closes after TDC", c.ExhaustCloses)
	t.maybeAngle("lobe separation, cam", c.LobeSeparation)
	t.known("max lift at the valve, intake", c.MaxLiftIntake)
	t.known("max lift at the valve, exhaust", c.MaxLiftExhaust)
	t.known("lash, intake", c.LashIntake)
	t.known("lash, exhaust", c.LashExhaust)
	t.on("limit", "", e.ID)
	t.known("piston to valve, intake", e.Limits.PistonIntake)
	t.known("piston to valve, exhaust", e.Limits.PistonExhaust)
	t.known("coil bind", e.Limits.CoilBind)
	t.known("retainer", e.Limits.Retainer)
	t.known("rocker", e.Limits.Rocker)
}

func (v Valve) csv(t *table, zone *time.Location) {
	if v.Measured() {
		f := v.Findings
		t.on("lift", v.Name, "trace "+v.Trace.ID.String())
		t.say("recorded", v.Trace.Started.In(zone).Format(time.RFC3339))
		t.lengthU("max lift", f.MaxLift, f.MaxLiftU)
		t.length("half lift", f.HalfLift)
		t.length("spread", f.Spread)
		t.length("resolution", f.Resolution)
		for i, o := range f.Openings {
			t.about = fmt.Sprintf("opening %d", i+1)
			csvOpening(t, o)
		}
		t.about = "fault"
		for _, fault := range f.Faults {
			t.line(string(fault.Kind), exact(fault.At), "", "s", "", "", fault.Says.InBoth())
		}
	}
	if v.Timed != nil {
		t.on("timing", v.Name, "trace "+v.Timed.Trace.String())
		csvTiming(t, v.Timed.Timing)
	}
	for _, trial := range v.Trials {
		t.on("trial", v.Name, "trial "+trial.ID)
		t.say("at", trial.At.In(zone).Format(time.RFC3339))
		for i, l := range trial.Stack {
			t.length(fmt.Sprintf("shim %d", i+1), l)
		}
		t.length("stack", trial.Height())
		t.known("pushrod", trial.PushrodLength)
		t.known("lash", trial.Lash)
		t.maybe("adjuster below valve at half lift", trial.AdjusterBelowValve)
		t.maybe("sweep", trial.Sweep)
		t.maybe("max lift", trial.MaxLift)
		t.say("remark", trial.Remark)
	}
	if n := v.Next; n != nil {
		t.on("next stack", v.Name, "")
		t.lengthU("wanted", n.Wanted, n.WantedU)
		t.length("add to the last trial", n.Add)
		t.length("stack on hand", n.Total)
		t.lengthU("left over at half lift", n.LeftOver, n.LeftOverU)
		t.lengthU("pushrod longer", n.PushrodLonger, n.PushrodLongerU)
	}
	t.clearance(v.Name, v.Clearance)
}

func (t *table) clearance(valve string, a *clearance.Answer) {
	if a == nil {
		return
	}
	t.on("clearance", valve, "")
	if a.Piston != nil {
		t.gap("piston", &a.Piston.Least)
		t.angle("piston, at", a.Piston.At)
	}
	t.gap("coil bind", a.CoilBind)
	t.gap("retainer", a.Retainer)
	if a.Slot != nil {
		t.gap("rocker slot, shut", &a.Slot.Closed)
		t.gap("rocker slot, full lift", &a.Slot.Full)
	}
}

func (t *table) gap(what string, g *clearance.Gap) {
	if g == nil {
		return
	}
	t.line(what, exact(g.Left), exact(g.LeftU), "mm", inches(g.Left), inches(g.LeftU), g.Says.String())
	t.maybe(what+", limit", g.Limit)
}

func csvOpening(t *table, o lift.Opening) {
	t.stamp("opens at", o.Open)
	t.stamp("nose at", o.Nose)
	t.stamp("closes at", o.Close)
	t.length("heel reads", o.Heel)
	t.lengthU("max lift", o.MaxLift, o.MaxLiftU)
	t.length("half lift", o.HalfLift)
	t.length("reads at half lift, opening", o.OpeningHalf.Reading)
	t.length("reads at half lift, closing", o.ClosingHalf.Reading)
	t.stamp("half lift, opening, at", o.OpeningHalf.At)
	t.stamp("half lift, closing, at", o.ClosingHalf.At)
	t.maybeAngle("half lift, opening, encoder", o.OpeningHalf.Angle)
	t.maybeAngle("half lift, closing, encoder", o.ClosingHalf.Angle)
	t.maybeAngle("nose, encoder", o.NoseAngle)
}

func csvTiming(t *table, v timing.ValveTiming) {
	if v.Nose != nil {
		t.angleU("nose after TDC of the overlap", v.Nose.Angle, v.Nose.U, v.Nose.Says)
		t.lengthU("max lift", v.Nose.MaxLift, v.Nose.MaxLiftU)
	}
	passage := func(word string, p timing.Passage) {
		if p.Opens != nil {
			t.angleU(word+": opens, after TDC of the overlap", p.Opens.Angle, p.Opens.U, p.Opens.Says)
		}
		if p.Closes != nil {
			t.angleU(word+": closes, after TDC of the overlap", p.Closes.Angle, p.Closes.U, p.Closes.Says)
		}
		if p.Span != nil {
			t.angleU(word+": duration", p.Span.Duration, p.Span.DurationU, "")
			t.angleU(word+": centreline, after TDC of the overlap", p.Span.Centreline, p.Span.CentrelineU, p.Span.Says)
		}
	}
	for _, p := range v.Passages {
		passage("at "+exact(p.CheckingLift)+" mm at the "+string(p.CheckedAt), p)
	}
	if v.HalfLift != nil {
		passage("at half lift", *v.HalfLift)
	}
	if v.LiftAtTDC != nil && v.LiftAtTDCU != nil {
		t.lengthU("lift at TDC of the overlap", *v.LiftAtTDC, *v.LiftAtTDCU)
	}
}

func (d Data) csvRest(t *table) {
	for _, c := range d.Cylinders {
		t.on("cylinder", strings.Trim(c.Intake+" "+c.Exhaust, " "), "")
		for _, p := range c.Pairs {
			word := "at " + exact(p.CheckingLift) + " mm at the " + string(p.CheckedAt)
			t.angleU(word+": overlap", p.Overlap, p.OverlapU, "")
			t.angleU(word+": lobe separation, cam", p.Separation, p.SeparationU, "")
			t.angleU(word+": advance", p.Advance, p.AdvanceU, "")
		}
		if c.Card == nil {
			continue
		}
		t.about = "card"
		for _, dev := range c.Card.Deviations {
			t.angleU(string(dev.Valve)+" "+dev.Event+" later than the card", dev.Later, dev.U, dev.Says)
		}
		for _, l := range c.Card.Lines {
			what := strings.TrimSpace(string(l.Valve) + " " + l.Line + " off the card")
			if l.Off != nil {
				t.angleU(what, *l.Off, *l.OffU, l.Verdict.String())
			} else {
				t.lengthU(what, *l.More, *l.MoreU)
				t.say(what, l.Verdict.String())
			}
		}
		for _, s := range c.Card.Shifts {
			t.angleU("advance of the "+s.Of, s.Advance, s.AdvanceU, s.Says)
		}
	}
	if p := d.Pushrods; p != nil {
		for _, c := range p.Cuts {
			t.on("pushrod", c.Valve, "")
			t.lengthU("over both tips", c.Overall, c.LengthU)
			if c.Tube != nil {
				t.lengthU("tube", *c.Tube, c.LengthU)
			}
			t.maybe("between balls", c.Centres)
			t.maybe("between rings", c.Gauge)
		}
		if l := p.Lash; l != nil {
			t.on("pushrod", "", "")
			t.length("lash to set cold, at the valve", l.ColdLash)
			t.lengthU("lash opens when warm, at the valve", l.OpensAtValve, l.OpensAtValveU)
		}
	}
	t.clearance("", d.Clearance)
	for _, s := range d.Springs {
		t.on("spring", s.Of, s.Answer.From)
		t.number("rate", float64(s.Answer.Rate), "N/mm")
		for _, f := range []struct {
			word string
			v    *clearance.Force
		}{{"seat load", s.Answer.SeatLoad}, {"open load", s.Answer.OpenLoad}} {
			if f.v != nil {
				t.number(f.word, float64(*f.v), "N")
			}
		}
		t.gap("coil bind", s.Answer.CoilBind)
	}
}
