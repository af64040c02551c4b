package live

import (
	"slices"

	"lobescribe/capture/agree"
	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// Agreement says whether the openings of a trace that count agree, and which
// does not.
type Agreement struct {
	Count    int            `json:"count"`
	Agree    bool           `json:"agree"`
	MaxLift  measure.Length `json:"max_lift_mm"`
	MaxLiftU measure.Length `json:"max_lift_u_mm"`
	Each     []AgreementOf  `json:"each"`
}

// AgreementOf is one opening against the median of the others.
type AgreementOf struct {
	Nose   measure.Stamp  `json:"t_nose_s"` // as the opening has it
	By     measure.Length `json:"by_mm"`
	Beyond bool           `json:"beyond"` // more than both uncertainties explain
}

// Type returns "agreement".
func (Agreement) Type() string { return "agreement" }

// Agree judges openings; began is the live clock at the trace's zero, 0
// for openings on the trace's own time.
func Agree(openings []lift.Opening, out []lift.LeftOut, began int64) Agreement {
	var figures []agree.Figure
	a := Agreement{Each: []AgreementOf{}}
	for _, o := range openings {
		at := o.Nose - measure.Stamp(began)
		if slices.ContainsFunc(out, func(l lift.LeftOut) bool { return l.From <= at && at <= l.Until }) {
			continue
		}
		figures = append(figures, agree.Figure{Value: o.MaxLift, U: o.MaxLiftU})
		a.Each = append(a.Each, AgreementOf{Nose: o.Nose})
	}
	r := agree.Of(figures)
	for i, e := range r.Each {
		a.Each[i].By, a.Each[i].Beyond = e.By, e.Beyond
	}
	a.Count, a.Agree, a.MaxLift, a.MaxLiftU = r.Count, r.Agree, r.Value, r.U
	return a
}
