package shims

import (
	"math"

	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// turnedOdds are those, before any trial, that a person wrote every height with
// the sign turned round. Common practice, no source.
const turnedOdds = 0.05

// turnRound asks whether the heights go together better with their sign turned
// round: as the stack grows the adjuster's end must rise against the valve's.
func (a *Answer) turnRound(q Question, arms arms, evidence float64, stem marks) error {
	if len(q.Trials) < 2 {
		return nil
	}
	turned := make([]Trial, len(q.Trials))
	for i, t := range q.Trials {
		turned[i] = t
		turned[i].AdjusterBelowValve = new(-*t.AdjusterBelowValve)
	}
	points, err := arms.points(turned)
	if err != nil {
		return nil // turned round they cannot be: then they are not
	}
	f, other := fitTrials(points, q.BelowU.Millimetres()/2)
	odds := 1 / (1 + (1-turnedOdds)/turnedOdds*math.Exp(evidence-other))
	if odds < 0.5 {
		return nil
	}
	wanted, u := f.wanted(arms.offsetU()/2, stem)
	a.TurnedRound = &TurnedRound{measure.FromMillimetres(wanted), measure.FromMillimetres(u), odds}
	last := q.Trials[len(q.Trials)-1]
	a.Says = append(a.Says, worksheet.Sayf("these look like heights with the sign turned round: as the stack grew the adjuster's end went down against the valve's. Turned round they ask for a stack of %v; as written the last trial asks for %v. Write them again, above zero where the adjuster's end is the lower one",
		worksheet.Rounded(a.TurnedRound.Wanted), worksheet.Rounded(last.Stack.Total()+measure.FromMillimetres(-points[len(points)-1].short))))
	return nil
}

// judge says whether the rocker is square, and what would tell if U is in the
// way.
func (a *Answer) judge(q Question, arms arms) {
	a.Tolerance = orDefault(q.Tolerance, defaultTolerance)
	if q.Tolerance == nil {
		a.Assume("square is what stands within %v of it, the thinnest of the usual shims (common practice, no source)", defaultTolerance)
	}
	off := verdict.Figure[measure.Length]{Value: a.Add, U: a.WantedU}
	doubt := func(says string) { off.Doubts = append(off.Doubts, verdict.Doubt{Cause: verdict.Doubtful, Says: says}) }
	if a.TurnedRound != nil {
		doubt("the heights look like ones with the sign turned round")
	}
	for _, d := range a.Disagree {
		if d.Odds <= 0.5 || d.Trial == len(q.Trials) {
			doubt("trials contradict each other")
			break
		}
	}
	a.Verdict = verdict.Judge(off, verdict.Within(0, a.Tolerance))
	a.sayWhatHelps(q, arms)
}

// sayWhatHelps names what to measure where the offset that no trial brings down
// is too wide for a verdict.
func (a *Answer) sayWhatHelps(q Question, arms arms) {
	if a.Verdict.Good() || a.WantedU <= a.Tolerance {
		return
	}
	bend, centres := measure.FromMillimetres(arms.bendU/arms.rise()), measure.FromMillimetres(arms.centresU/arms.rise())
	switch {
	case !arms.bendTold && bend > a.Tolerance/2:
		a.Says = append(a.Says, worksheet.Sayf("the bend of the rocker was not told: it is worth ± %v of stack, alike in every trial, and no further trial finds it. Lay a straight edge through the centres of tip and pivot and measure how far the middle of the adjuster's ball stands above it; or ink the stem's end, turn through one opening, and write down how far the line at full lift lies from the line of the closed valve", worksheet.Rounded(bend)))
	case arms.bendTold && bend > a.Tolerance/2:
		a.Says = append(a.Says, worksheet.Sayf("the bend is told too loosely for this tolerance: it is worth ± %v of stack. A straight edge and a feeler tell it best; so does the line at full lift against that of the closed valve, in ink on the stem", worksheet.Rounded(bend)))
	}
	if centres > a.Tolerance/2 {
		a.Says = append(a.Says, worksheet.Sayf("heights taken off the centres of tip and ball are worth ± %v of stack, alike in every trial: mark the centres, take the heights there, and say how well (centres_u_mm)", worksheet.Rounded(centres)))
	}
	if len(q.Trials) == 1 && a.WantedU > a.Tolerance && a.OffsetU < a.Tolerance {
		a.Says = append(a.Says, worksheet.Sayf("one trial cannot tell its own error: fit this stack and measure again, or say how well heights are measured (adjuster_below_valve_u_mm)"))
	}
}
