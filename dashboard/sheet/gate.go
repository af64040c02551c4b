package sheet

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"lobescribe/capture/agree"
	"lobescribe/capture/clearance"
	"lobescribe/capture/verdict"
	"lobescribe/storage"
)

// Check is one of the things that must hold before metal is cut.
type Check struct {
	// Item names it for a waiver: "tdc", "openings", "trials", "clearances",
	// "faults", "simulated", "second".
	Item string `json:"item"`
	What string `json:"what"` // for a person
	Done bool   `json:"done"`
	// Says is what is still missing, one sentence each; empty when done.
	Says []string `json:"says"`
	// Waived is who takes it on themselves all the same; nil: nobody.
	Waived *storage.Waiver `json:"waived,omitempty"`
}

// Passed tells whether it holds or somebody has waived it.
func (c Check) Passed() bool { return c.Done || c.Waived != nil }

// Gate is the list before metal is cut.
type Gate struct {
	Checks []Check `json:"checks"`
	// Draft: something neither holds nor was waived. What is printed then
	// carries the word in large letters.
	Draft bool `json:"draft"`
}

// second is the look of a second person: never done by itself.
const second = "second"

// newest is when the last of what the sheet stands on was measured or set.
func (d Data) newest() (at time.Time) {
	later := func(t time.Time) {
		if t.After(at) {
			at = t
		}
	}
	for _, v := range d.Valves {
		later(v.Trace.Started)
		for _, t := range v.Trials {
			later(t.At)
		}
	}
	later(d.Asked)
	return at
}

// Gate works out what holds and what does not, of what is on the sheet. The
// page, the sheet and the cut list ask this one.
func (d Data) Gate() Gate {
	var g Gate
	for _, c := range []struct {
		item, what string
		says       []string
	}{
		{"tdc", "Top dead centre is known and sound", d.tdcSound()},
		{"openings", "Each valve has two openings that agree", d.openingsAgree()},
		{"trials", "Each rocker is square at half lift, and its trials go together", d.rockersSquare()},
		{"clearances", "Clearances are judged and keep to your limits", d.clearancesKept()},
		{"faults", "No trace that counts has a fault", d.noFaults()},
		{"simulated", "Nothing is simulated", d.nothingSimulated()},
		{second, "A second person has looked at it", []string{"Nobody is named yet who checked it."}},
	} {
		check := Check{Item: c.item, What: c.what, Done: len(c.says) == 0, Says: c.says}
		if i := slices.IndexFunc(d.Engine.Waived, func(w storage.Waiver) bool { return w.Item == c.item }); i >= 0 {
			check.Waived = &d.Engine.Waived[i]
			if newest := d.newest(); c.item == second && check.Waived.At.Before(newest) {
				// What came after the look was not looked at.
				check.Waived, check.Says = nil, []string{fmt.Sprintf("%s looked at it on %s; something was measured or changed since.", d.Engine.Waived[i].By, d.Engine.Waived[i].At.Format("2 January 2006"))}
			}
		}
		if check.Says == nil {
			check.Says = []string{}
		}
		g.Draft = g.Draft || !check.Passed()
		g.Checks = append(g.Checks, check)
	}
	return g
}

func (d Data) tdcSound() (says []string) {
	if d.Engine.TDC == nil {
		return []string{"Top dead centre is not known: find it under Timing, with a stop or the indicator on the piston."}
	}
	if d.Engine.TDC.U == 0 {
		says = append(says, "How well top dead centre is known was not said.")
	}
	var doubted sayings
	for _, v := range d.Valves {
		if v.Timed != nil && v.Timed.Doubtful {
			doubted.say(d.valveWords(v.Name), "its nose stands where no cam puts it, so top dead centre or the encoder is wrong.")
		}
	}
	return append(says, doubted.ofValves(len(d.Valves))...)
}

func (d Data) openingsAgree() []string {
	var says sayings
	for _, v := range d.Valves {
		var figures []agree.Figure
		for _, o := range v.Findings.Openings {
			figures = append(figures, agree.Figure{Value: o.MaxLift, U: o.MaxLiftU})
		}
		switch r := agree.Of(figures); {
		case r.Count == 0:
			says.say(d.valveWords(v.Name), "not measured.")
		case r.Count == 1:
			says.say(d.valveWords(v.Name), "one opening only.")
		case !r.Agree:
			says.say(d.valveWords(v.Name), fmt.Sprintf("its %d openings do not agree.", r.Count))
		}
	}
	return says.ofValves(len(d.Valves))
}

func (d Data) rockersSquare() []string {
	var says sayings
	for _, v := range d.Valves {
		name := d.valveWords(v.Name)
		switch n := v.Next; {
		case n == nil:
			says.say(name, "no trial tells yet.")
		case n.Verdict.Kind != verdict.Meets:
			says.say(name, n.Verdict.String()+".")
		case len(n.Disagree) > 0:
			says.say(name, "one of its trials does not go with the others.")
		}
	}
	return says.ofValves(len(d.Valves))
}

func (d Data) clearancesKept() []string {
	var says sayings
	judged := 0
	look := func(of, what string, g *clearance.Gap) {
		if g == nil {
			return
		}
		name := d.valveWords(of) + ", " + what
		switch {
		case g.Left > 0 && g.Limit == nil:
			says.say(name, "no limit is set.")
		case g.Verdict.Good():
			judged++
		case g.Verdict.Kind == verdict.Fails:
			says.say(name, "below your limit.")
		default:
			says.say(name, g.Verdict.String()+".")
		}
	}
	for _, v := range append([]Valve{{Clearance: d.Clearance}}, d.Valves...) {
		a := v.Clearance
		if a == nil {
			continue
		}
		if a.Piston != nil {
			look(v.Name, "piston", &a.Piston.Least)
			if len(v.Findings.Faults) > 0 {
				says.say(d.valveWords(v.Name)+", piston", "worked out from a trace with a fault.")
			}
		}
		look(v.Name, "coil bind", a.CoilBind)
		look(v.Name, "retainer", a.Retainer)
		if a.Slot != nil {
			look(v.Name, "rocker slot, shut", &a.Slot.Closed)
			look(v.Name, "rocker slot, full lift", &a.Slot.Full)
		}
	}
	for _, s := range d.Springs {
		look(s.Of, "spring", s.Answer.CoilBind)
	}
	for _, v := range d.Valves {
		for _, again := range v.Again {
			says.say(d.valveWords(v.Name), again)
		}
	}
	if judged == 0 && len(says.texts) == 0 {
		return []string{"No clearance was worked out."}
	}
	return says.lines()
}

func (d Data) noFaults() (says []string) {
	for _, v := range d.Valves {
		var kinds []string
		for _, f := range v.Findings.Faults {
			kinds = once(kinds, string(f.Kind))
		}
		if len(kinds) > 0 {
			says = append(says, fmt.Sprintf("%s: %s in trace %s.", d.valveWords(v.Name), strings.Join(kinds, ", "), v.Trace.ID))
		}
	}
	return says
}

func (d Data) nothingSimulated() []string {
	var says sayings
	for _, v := range d.Valves {
		if v.Simulated() {
			says.say(d.valveWords(v.Name), "the trace that counts is the simulator's.")
		}
	}
	return says.ofValves(len(d.Valves))
}

// Simulated tells whether the valve's figures come from the simulator.
func (v Valve) Simulated() bool { return v.Measured() && v.Trace.Source == storage.SourceDemo }
