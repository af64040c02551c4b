package live

import (
	"math"
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

// AgreeFindings judges the openings of findings. One mean has one ±: the analysis
// knows what the openings share, and the bench, which does not, says no less.
func AgreeFindings(f lift.Findings) Agreement {
	a := Agree(f.Openings, nil)
	a.MaxLift, a.MaxLiftU = f.MaxLift, f.MaxLiftU
	return a
}

// Agree judges openings that are not left out; both are on the trace's own time,
// as the live side tells an opening of the trace under way.
func Agree(openings []lift.Opening, out []lift.LeftOut) Agreement {
	var figures []agree.Figure
	a := Agreement{Each: []AgreementOf{}}
	shared := sharedU(openings)
	for _, o := range openings {
		if slices.ContainsFunc(out, func(l lift.LeftOut) bool { return l.From <= o.Nose && o.Nose <= l.Until }) {
			continue
		}
		figures = append(figures, agree.Figure{Value: o.MaxLift, U: min(o.MaxLiftU, hypot(o.RepeatsU, shared))})
		a.Each = append(a.Each, AgreementOf{Nose: o.Nose})
	}
	r := agree.Of(figures)
	for i, e := range r.Each {
		a.Each[i].By, a.Each[i].Beyond = e.By, e.Beyond
	}
	a.Count, a.Agree, a.MaxLift, a.MaxLiftU = r.Count, r.Agree, r.Value, r.U
	return a
}

// sharedU is what the newest of openings that were told while the engine turned leaves
// open of what they have in common. The first of them knew the least, and its ± is the
// widest: what later ones have left out since, it had not either.
func sharedU(openings []lift.Opening) measure.Length {
	if len(openings) == 0 || openings[len(openings)-1].RepeatsU == 0 {
		return math.MaxInt32 * measure.Millimetre // of findings: each ± is that of all
	}
	newest := openings[len(openings)-1]
	u, own := float64(newest.MaxLiftU), float64(newest.RepeatsU)
	return measure.Length(math.Ceil(math.Sqrt(max(u*u-own*own, 0))))
}

func hypot(a, b measure.Length) measure.Length {
	return measure.Length(math.Ceil(math.Hypot(float64(a), float64(b))))
}
