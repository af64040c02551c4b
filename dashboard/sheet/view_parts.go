package sheet

import (
	"fmt"
	"strings"

	"lobescribe/capture/clearance"
	"lobescribe/device/measure"
)

func (d Data) setups(v *view, w words) {
	for _, one := range d.Valves {
		if len(one.Trials) == 0 {
			continue
		}
		s := setup{Name: valveWords(one.Name)}
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
		if n := one.Next; n != nil {
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
		v.Setups = append(v.Setups, s)
	}
}

func (d Data) cuts(v *view, w words) {
	p := d.Pushrods
	if p == nil {
		return
	}
	for _, c := range p.Cuts {
		v.Cuts = append(v.Cuts, cutRow{valveWords(c.Valve), w.maybe(c.Tube), w.length(c.Overall), w.maybe(c.Centres), w.u(c.LengthU)})
	}
	for _, t := range p.Tally {
		names := make([]string, len(t.Valves))
		for i, name := range t.Valves {
			names[i] = valveWords(name)
		}
		v.Tally = append(v.Tally, fmt.Sprintf("%d of %s: %s", t.Count, w.with(t.Length), strings.Join(names, ", ")))
	}
	v.CutSays = p.Says
}

func (d Data) clearances(v *view, w words) {
	for _, one := range d.Valves {
		a := one.Clearance
		if a == nil {
			continue
		}
		add := func(what string, g *clearance.Gap) {
			if g == nil {
				return
			}
			v.Gaps = append(v.Gaps, gapRow{Name: valveWords(one.Name) + ", " + what, Left: w.length(g.Left), U: w.u(g.LeftU),
				Limit: w.maybe(g.Limit), Usual: w.length(g.Usual), Says: g.Says, Short: g.Left <= 0 || g.Meets != nil && !*g.Meets})
		}
		if a.Piston != nil {
			add("piston", &a.Piston.Least)
		}
		add("coil bind", a.CoilBind)
		add("retainer", a.Retainer)
		if a.Slot != nil {
			add("rocker slot, shut", &a.Slot.Closed)
			add("rocker slot, full lift", &a.Slot.Full)
		}
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
	for _, s := range d.Springs {
		v.Springs = append(v.Springs, saying{s.Of, strings.Join(s.Answer.Says, " ")})
	}
}

// measured says with what the figures were taken, each instrument once.
func (d Data) measured(v *view, w words) {
	for _, one := range d.Valves {
		for _, dev := range one.Devices {
			says := fmt.Sprintf("%s at %s%s", dev.Role, dev.Address, optional(", %s", dev.Format))
			if dev.Role == "indicator" && one.Findings.Resolution != 0 {
				says += ", least step " + w.with(one.Findings.Resolution)
			}
			v.Instruments = once(v.Instruments, says)
		}
		if src := one.Trace.Source; one.Trace.ID != 0 && src != "" && src != "live" {
			says := fmt.Sprintf("trace %s was not taken from an engine here: %s", one.Trace.ID, src)
			v.Instruments = once(v.Instruments, says)
		}
		if len(one.Missing) > 0 {
			v.Missing = append(v.Missing, saying{valveWords(one.Name), strings.Join(one.Missing, ", ")})
		}
	}
	v.Instruments = append(v.Instruments, "lengths are kept in whole nanometres and angles in microdegrees; printed figures are rounded, those in the CSV are not")
}
