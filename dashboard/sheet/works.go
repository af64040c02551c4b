package sheet

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"

	"lobescribe/capture/clearance"
	"lobescribe/capture/rocker/pushrod"
	"lobescribe/capture/valve"
	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/question"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// works answers the questions that are kept of the engine. Of several that
// speak of the same rod, gap or spring the newest counts, also when it has no
// answer: an older figure would be taken for the one that was asked for last.
func (d *Data) works(list []storage.Work) {
	list = slices.Clone(list)
	slices.SortFunc(list, func(a, b storage.Work) int {
		return cmp.Or(b.At.Compare(a.At), cmp.Compare(b.ID, a.ID))
	})
	rods := cutList{had: map[string]bool{}}
	gaps := map[string]bool{}
	springs := map[string]*Spring{}
	names := valve.Names(d.Engine.Valves())
	for _, w := range list {
		if w.At.After(d.Asked) {
			d.Asked = w.At
		}
		if w.Valve != "" && !slices.Contains(names, w.Valve) {
			d.note("", "What was asked about %q (%s %s) is not shown: this engine has no such valve.", w.Valve, w.Kind, w.ID)
			continue
		}
		switch w.Kind {
		case storage.WorkPushrod:
			d.cut(w, &rods)
		case storage.WorkClearance:
			d.gaps(w, gaps)
		case storage.WorkSpring:
			d.spring(w, springs)
		}
	}
	d.Pushrods = rods.answer(names)
	for _, name := range append([]string{""}, names...) {
		if s := springs[name]; s != nil {
			d.Springs = append(d.Springs, *s)
		}
	}
}

// note says under a valve ("" for the engine) what went wrong.
func (d *Data) note(valve, format string, args ...any) {
	says := fmt.Sprintf(format, args...)
	for i := range d.Valves {
		if d.Valves[i].Name == valve {
			d.Valves[i].Notes = append(d.Valves[i].Notes, says)
			return
		}
	}
	d.Notes = append(d.Notes, says)
}

// asked reads a kept question as strictly as it was read when it was put. One
// of a later version may hold what this one does not know.
func (d *Data) asked(w storage.Work, q any) bool {
	if err := worksheet.Read(bytes.NewReader(w.Question), q); err != nil {
		d.note(w.Valve, "The question %s (%s) does not read: %s", w.ID, w.Kind, sentence(err))
		return false
	}
	return true
}

// cutList gathers rods, newest first.
type cutList struct {
	had  map[string]bool // by valve; "" once one stands for all that are left
	cuts []pushrod.Cut
	lash *pushrod.LashAnswer
	says []worksheet.Sentence
}

func (d *Data) cut(w storage.Work, l *cutList) {
	var q pushrod.Question
	if l.had[""] || !d.asked(w, &q) {
		return
	}
	var of []string
	for _, r := range q.Rods {
		of = append(of, r.Valve)
	}
	if len(of) == 0 {
		of = []string{w.Valve}
	}
	fresh := false
	for _, valve := range of {
		fresh = fresh || !l.had[valve]
	}
	if !fresh {
		return
	}
	a, err := pushrod.Solve(q)
	if err != nil {
		d.note(w.Valve, "Pushrods: %s", sentence(err))
	} else if l.lash == nil {
		l.lash = a.Lash
	}
	for i, valve := range of {
		if l.had[valve] {
			continue
		}
		if err == nil {
			c := a.Cuts[i]
			c.Valve = valve
			l.cuts = append(l.cuts, c)
		}
	}
	for _, valve := range of {
		l.had[valve] = true
	}
	for _, says := range a.Says {
		if !slices.ContainsFunc(l.says, func(had worksheet.Sentence) bool { return had.String() == says.String() }) {
			l.says = append(l.says, says)
		}
	}
}

// answer puts the rods in the order of work and counts them; nil without any.
func (l cutList) answer(names []string) *pushrod.Answer {
	if len(l.cuts) == 0 {
		return nil
	}
	place := func(c pushrod.Cut) int {
		if i := slices.Index(names, c.Valve); i >= 0 {
			return i
		}
		return len(names)
	}
	slices.SortStableFunc(l.cuts, func(a, b pushrod.Cut) int { return cmp.Compare(place(a), place(b)) })
	a := &pushrod.Answer{Cuts: l.cuts, Lash: l.lash, Says: l.says}
	// Rods of which some have no tube length are counted by what all have.
	tubes := !slices.ContainsFunc(l.cuts, func(c pushrod.Cut) bool { return c.Tube == nil })
	for _, c := range l.cuts {
		length := c.Overall
		if tubes {
			length = *c.Tube
		}
		i := slices.IndexFunc(a.Tally, func(t pushrod.Tally) bool { return t.Length == length })
		if i < 0 {
			i = len(a.Tally)
			a.Tally = append(a.Tally, pushrod.Tally{Length: length})
		}
		a.Tally[i].Count++
		a.Tally[i].Valves = append(a.Tally[i].Valves, c.Valve)
	}
	slices.SortFunc(a.Tally, func(a, b pushrod.Tally) int { return cmp.Compare(b.Length, a.Length) })
	return a
}

// gaps answers each clearance by itself, so that one without an answer does not
// take the others with it.
func (d *Data) gaps(w storage.Work, had map[string]bool) {
	var q clearance.Question
	if !d.asked(w, &q) {
		return
	}
	question.Limit(&q, d.Engine, valve.KindOf(w.Valve))
	if q.CoilBind != nil && !had["coil bind"+w.Valve] {
		d.stoodOn(w.Valve, "Coil bind", q.CoilBind.Lift)
	}
	if q.Retainer != nil && !had["retainer"+w.Valve] {
		d.stoodOn(w.Valve, "Retainer", q.Retainer.Lift)
	}
	var parts []part
	if q.Piston != nil {
		parts = append(parts, part{"piston", clearance.Question{Piston: q.Piston}})
	}
	if q.CoilBind != nil {
		parts = append(parts, part{"coil bind", clearance.Question{CoilBind: q.CoilBind}})
	}
	if q.Retainer != nil {
		parts = append(parts, part{"retainer", clearance.Question{Retainer: q.Retainer}})
	}
	if q.Slot != nil {
		parts = append(parts, part{"rocker slot", clearance.Question{Slot: q.Slot}})
	}
	for _, one := range parts {
		if had[one.name+w.Valve] {
			continue
		}
		had[one.name+w.Valve] = true
		a, err := clearance.Solve(one.ask)
		if err != nil {
			d.note(w.Valve, "Clearance, %s: %s", one.name, sentence(err))
			continue
		}
		d.take(w.Valve, a)
	}
}

type part struct {
	name string
	ask  clearance.Question
}

// take adds an answer to those of a valve, or of the whole engine.
func (d *Data) take(valve string, a clearance.Answer) {
	to := &d.Clearance
	for i := range d.Valves {
		if d.Valves[i].Name == valve {
			to = &d.Valves[i].Clearance
		}
	}
	if *to == nil {
		*to = &a
		return
	}
	all := *to
	all.Piston, all.CoilBind = cmp.Or(all.Piston, a.Piston), cmp.Or(all.CoilBind, a.CoilBind)
	all.Retainer, all.Slot = cmp.Or(all.Retainer, a.Retainer), cmp.Or(all.Slot, a.Slot)
	for _, says := range a.Assumes {
		all.Assume("%v", says)
	}
	for _, source := range a.Sources {
		all.Cite(source)
	}
}

// spring puts an answer beside those there are; nil for one without.
func (d *Data) spring(w storage.Work, had map[string]*Spring) {
	var q clearance.SpringQuestion
	if _, there := had[w.Valve]; there || !d.asked(w, &q) {
		return
	}
	question.Limit(&q, d.Engine, valve.KindOf(w.Valve))
	a, err := clearance.SolveSpring(q)
	if err != nil {
		d.note(w.Valve, "Spring: %s", sentence(err))
		had[w.Valve] = nil
		return
	}
	had[w.Valve] = &Spring{Of: w.Valve, Answer: a}
	d.stoodOn(w.Valve, "Spring", q.Lift)
}

// asTyped is how far a lift that was typed off the page may be from the measured one:
// half a step of what the page prints.
const asTyped = measure.Thou / 20

// stoodOn notes a figure that was worked out with another lift than the valve's
// newest trace gives: it is to be worked out again.
func (d *Data) stoodOn(of, what string, lift measure.Length) {
	for i := range d.Valves {
		v := &d.Valves[i]
		if v.Name != of || !v.Measured() || lift == 0 {
			continue
		}
		f := v.Findings
		if (lift - f.MaxLift).Abs() <= f.MaxLiftU+asTyped {
			continue
		}
		v.Again = append(v.Again, fmt.Sprintf("%s was worked out with a lift of %s, and max lift is %s now: work it out again.", what, lift.In(d.Units), f.MaxLift.In(d.Units)))
	}
}
