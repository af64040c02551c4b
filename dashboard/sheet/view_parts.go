package sheet

import (
	"fmt"
	"strings"

	"lobescribe/capture/clearance"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

func (d Data) setups(v *view, w words) {
	for _, one := range d.Valves {
		if len(one.Trials) == 0 && one.Swept == nil {
			continue
		}
		s := setup{Name: d.valveWords(one.Name)}
		for _, t := range one.Trials {
			parts := make([]string, len(t.Stack))
			for i, l := range t.Stack {
				parts[i] = w.length(l)
			}
			row := trialRow{
				When: t.At.In(d.Made.Location()).Format("2 Jan 15:04"), Stack: strings.Join(parts, " + "), Height: w.length(t.Height()),
				Pushrod: w.known(t.PushrodLength), Lash: w.known(t.Lash), Below: w.maybe(t.AdjusterBelowValve), Sweep: w.maybe(t.Sweep), Lift: w.maybe(t.MaxLift), Remark: t.Remark,
			}
			if len(parts) == 0 {
				row.Stack = "no shim"
			}
			s.Rows = append(s.Rows, row)
		}
		if p := one.Photograph; p != nil {
			s.PictureOf = p.At.In(d.Made.Location()).Format("2 Jan 15:04")
			if one.Marks.AtLift != nil {
				s.PictureOf += ", at a lift of " + w.length(*one.Marks.AtLift) + " " + w.unit.String()
			}
			if drawn, err := photographed(*p, one.Marks); err == nil {
				s.Picture = drawn
			} else {
				s.PictureOf += ": the picture does not read"
			}
		}
		if n := one.Next; n != nil {
			s.Next = append(s.Next, fmt.Sprintf("Square at half lift to %s %s as it stands: %s.", w.length(n.Tolerance), w.unit, n.Verdict))
			s.Next = append(s.Next, fmt.Sprintf("Square at half lift with a stack of %s ± %s %s (from the last trial %s); the pushrod then %s longer.",
				w.length(n.Wanted), w.u(n.WantedU), w.unit, w.signed(n.Add), w.signed(n.PushrodLonger)))
			if len(n.Stack) > 0 {
				parts := make([]string, len(n.Stack))
				for i, l := range n.Stack {
					parts[i] = w.length(l)
				}
				s.Next = append(s.Next, fmt.Sprintf("Of the shims on hand: %s = %s %s, left over %s ± %s at half lift.",
					strings.Join(parts, " + "), w.length(n.Total), w.unit, w.signed(n.LeftOver), w.u(n.LeftOverU)))
			}
		}
		s.Next = append(s.Next, one.square(w)...)
		v.Setups = append(v.Setups, s)
	}
}

func (d Data) cuts(v *view, w words) {
	p := d.Pushrods
	if p == nil {
		return
	}
	name := func(valve string) string {
		switch {
		case valve != "":
			return d.valveWords(valve)
		case len(p.Cuts) > 1:
			return "every other rod"
		}
		return "every rod"
	}
	for _, c := range p.Cuts {
		v.Cuts = append(v.Cuts, cutRow{name(c.Valve), w.maybe(c.Tube), w.length(c.Overall), w.maybe(c.Centres), w.u(c.LengthU)})
	}
	for _, t := range p.Tally {
		names := make([]string, len(t.Valves))
		for i, valve := range t.Valves {
			names[i] = name(valve)
		}
		v.Tally = append(v.Tally, fmt.Sprintf("%d of %s: %s", t.Count, w.with(t.Length), strings.Join(names, ", ")))
	}
	for _, says := range p.Says {
		v.CutSays = append(v.CutSays, full(says.In(w.unit)))
	}
	if l := p.Lash; l != nil {
		v.CutSays = append(v.CutSays, fmt.Sprintf("Lash to set cold, at the valve: %s.", w.with(l.ColdLash)))
		for _, says := range l.Says {
			v.CutSays = append(v.CutSays, full(says.In(w.unit)))
		}
	}
}

func (d Data) clearances(v *view, w words) {
	for _, one := range append([]Valve{{Clearance: d.Clearance}}, d.Valves...) {
		a := one.Clearance
		if a == nil {
			continue
		}
		add := func(what string, g *clearance.Gap) { v.gap(w, one.Name, what, g) }
		if p := a.Piston; p != nil {
			nearest := p.Least
			nearest.Says = worksheet.Sayf("nearest at %s; %s", p.Where, nearest.Says)
			add("piston", &nearest)
			for _, says := range p.Says {
				v.GapSays = append(v.GapSays, saying{d.valveWords(one.Name), full(says.In(w.unit))})
			}
		}
		add("coil bind", a.CoilBind)
		add("retainer", a.Retainer)
		if a.Slot != nil {
			add("rocker slot, shut", &a.Slot.Closed)
			add("rocker slot, full lift", &a.Slot.Full)
		}
	}
	for _, s := range d.Springs {
		v.gap(w, s.Of, "spring, coil bind", s.Answer.CoilBind)
		v.Springs = append(v.Springs, saying{d.valveWords(s.Of) + ", spring", springWords(s.Answer, w)})
	}
	l := d.Engine.Limits
	var set []string
	for _, one := range []struct {
		word  string
		limit measure.Length
	}{{"piston to intake valve", l.PistonIntake}, {"piston to exhaust valve", l.PistonExhaust}, {"coil bind", l.CoilBind}, {"retainer", l.Retainer}, {"rocker", l.Rocker}} {
		if one.limit != 0 {
			set = append(set, one.word+" "+w.with(one.limit))
		}
	}
	if len(set) > 0 {
		v.Limits = append(v.Limits, "Limits set by the builder: "+strings.Join(set, ", ")+".")
	} else {
		v.Limits = append(v.Limits, "The builder has set no limits for this engine.")
	}
}

func (v *view) gap(w words, of, what string, g *clearance.Gap) {
	if g == nil {
		return
	}
	v.Gaps = append(v.Gaps, gapRow{Name: w.valveWords(of) + ", " + what, Left: w.length(g.Left), U: w.u(g.LeftU),
		Limit: w.maybe(g.Limit), Usual: w.length(g.Usual), Verdict: g.Verdict.String(), Says: full(g.Says.In(w.unit)), Short: g.Left <= 0 || g.Limit != nil && !g.Verdict.Good()})
}

// springWords tells rate and loads in the units that go with those of length.
func springWords(a clearance.SpringAnswer, w words) string {
	rate, force := "N/mm", "N"
	k, kU := float64(a.Rate), float64(a.RateU)
	newtons := func(f clearance.Force) float64 { return float64(f) }
	if w.unit == measure.InInches {
		rate, force = "lbf/in", "lbf"
		k, kU = a.Rate.PoundsAnInch(), a.RateU.PoundsAnInch()
		newtons = clearance.Force.Pounds
	}
	parts := []string{fmt.Sprintf("rate %.1f ± %.1f %s (from its %s)", k, kU, rate, a.From)}
	add := func(word string, f, u *clearance.Force) {
		if f != nil && u != nil {
			parts = append(parts, fmt.Sprintf("%s %.0f ± %.0f %s", word, newtons(*f), newtons(*u), force))
		}
	}
	add("on the seat", a.SeatLoad, a.SeatLoadU)
	add("at full lift", a.OpenLoad, a.OpenLoadU)
	text := full(strings.Join(parts, ", "))
	for _, says := range a.Says {
		text += " " + full(says.In(w.unit))
	}
	return text
}

// measured says with what the figures were taken, each instrument once.
func (d Data) measured(v *view, w words) {
	var elsewhere, missing sayings
	for _, one := range d.Valves {
		for _, dev := range one.Devices {
			says := fmt.Sprintf("%s at %s%s", dev.Role, dev.Address, optional(", %s", dev.Format))
			if dev.Role == "indicator" && one.Findings.Resolution != 0 {
				says += ", least step " + w.step(one.Findings.Resolution)
			}
			v.Instruments = once(v.Instruments, says)
		}
		if src := one.Trace.Source; one.Trace.ID != 0 && src != "" && src != "live" {
			elsewhere.say(one.Trace.ID.String(), string(src))
		}
		if len(one.Missing) > 0 {
			missing.say(d.valveWords(one.Name), strings.Join(one.Missing, ", "))
		}
	}
	for _, src := range elsewhere.texts {
		one := "trace %s was not taken from an engine here: %s"
		if len(elsewhere.who[src]) > 1 {
			one = "traces %s were not taken from an engine here: %s"
		}
		v.Instruments = append(v.Instruments, fmt.Sprintf(one, strings.Join(elsewhere.who[src], ", "), src))
	}
	for _, says := range missing.texts {
		v.Missing = append(v.Missing, saying{allOf(missing.who[says]), says})
	}
	v.Instruments = append(v.Instruments, "lengths are kept in whole nanometres and angles in microdegrees; printed figures are rounded, those in the CSV are not")
}
