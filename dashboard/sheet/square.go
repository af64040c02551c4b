package sheet

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"lobescribe/capture/rocker/photo"
	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/question"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// photograph finds the newest one with marks, and what its trial's photographs say.
func (v *Valve) photograph(s Source, e storage.Engine) error {
	for _, t := range slices.Backward(v.Trials) {
		list, err := s.Photographs(t.ID)
		if err != nil {
			hurt := Damaged(err)
			if hurt == nil {
				return err
			}
			v.Notes = append(v.Notes, hurt...)
		}
		for _, p := range slices.Backward(list) {
			marks, err := question.Marks(p)
			if len(p.Marks) == 0 || err != nil || marks.Empty() {
				continue
			}
			v.Photograph, v.Marks = &p, marks
			q, err := question.Photographs(e, t, list)
			if err == nil {
				var a photo.Answer
				if a, err = photo.Solve(q); err == nil {
					v.Pictured = &a
				}
			}
			if p := (*worksheet.Problem)(nil); errors.As(err, &p) {
				v.Notes = append(v.Notes, "Photographs: "+strings.TrimPrefix(p.Says, "is missing: ")+".")
			} else if err != nil {
				v.Notes = append(v.Notes, "Photographs: "+full(err.Error()))
			}
			return nil
		}
	}
	return nil
}

// sweep asks what a gauge across the stem says of the valve, where there was one.
func (v *Valve) sweep(s Source, e storage.Engine, traces []storage.Summary) error {
	if !slices.ContainsFunc(traces, func(t storage.Summary) bool { return t.Valve == v.Name && t.HasSweep && !t.Recording }) {
		return nil
	}
	a, err := question.AskSweep(s, question.SweepTraces{Engine: e.ID, Valve: v.Name})
	if err != nil {
		hurt := Damaged(err)
		if hurt == nil {
			return err
		}
		v.Notes = append(v.Notes, hurt...)
		return nil
	}
	v.Swept = a.Answer
	if a.NoAnswer != "" {
		v.Notes = append(v.Notes, "Sweep: "+full(a.NoAnswer))
	}
	return nil
}

// square is what photographs and sweep say of a rocker, beside its trials.
func (v Valve) square(w words) (says []string) {
	add := func(how string, is verdict.Verdict, list []worksheet.Sentence) {
		if len(list) > 0 {
			says = append(says, fmt.Sprintf("%s: %s. %s", how, is, full(list[0].In(w.unit))))
		}
	}
	if a := v.Pictured; a != nil {
		add(fmt.Sprintf("By photograph, square at half lift to %s", w.with(a.Tolerance)), a.Verdict, a.Says)
	}
	if a := v.Swept; a != nil {
		by := "trace " + a.Turn.String()
		if a.Reference != nil {
			by += ", reference pass " + a.Reference.String()
		} else {
			by += ", without a reference pass"
		}
		add(fmt.Sprintf("By the gauge across the stem (%s), square at half lift to %s", by, w.with(a.Tolerance)), a.Verdict, a.Says)
	}
	return says
}

// step is a least step of an instrument, which a micrometre must not print as
// nothing of an inch.
func (w words) step(l measure.Length) string {
	if w.unit == measure.InInches && l < 2540*measure.Nanometre {
		return l.Decimal(w.unit, 6) + " " + w.unit.String()
	}
	return w.with(l)
}
