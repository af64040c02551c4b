package shims

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"lobescribe/capture/verdict"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// Answer is the stack to try next.
type Answer struct {
	// Wanted is the whole stack that would put the rocker square at half lift,
	// not what to add; Add is wanted less the stack of the last trial.
	Wanted  measure.Length `json:"wanted_mm"`
	WantedU measure.Length `json:"wanted_u_mm"`
	Add     measure.Length `json:"add_mm"`
	// OffsetU is the part of WantedU that is in every trial alike and that no
	// number of heights brings down: the bend of the rocker and heights taken
	// off the centres. Marks on the stem do, and telling the bend.
	OffsetU measure.Length `json:"offset_u_mm"`
	// Verdict says whether the rocker of the last trial is square at half lift:
	// Add with WantedU against Tolerance, either way.
	Verdict   verdict.Verdict `json:"verdict"`
	Tolerance measure.Length  `json:"tolerance_mm"`
	// TurnedRound is there when the heights go together better with their sign
	// turned round: then no stack is put together, since the two answers lead
	// opposite ways.
	TurnedRound *TurnedRound `json:"turned_round,omitempty"`
	// Stack is the whole stack to fit, thickest first, out of the shims on
	// hand, Total its height and Short by how much it falls short of Wanted.
	Stack Stack          `json:"stack_mm"`
	Total measure.Length `json:"total_mm"`
	Short measure.Length `json:"short_mm"`
	// LeftOver is by how much the adjuster's end will still sit too low at half
	// lift with that stack, against where it sits when square; below zero when
	// too high. Expect is what will be measured then: the same for a straight
	// rocker whose marks say nothing else.
	LeftOver  measure.Length `json:"left_over_mm"`
	LeftOverU measure.Length `json:"left_over_u_mm"`
	Expect    measure.Length `json:"expect_adjuster_below_valve_mm"`
	// SquareShows is what will be measured once the rocker is square: zero for a
	// straight one.
	SquareShows measure.Length `json:"square_shows_mm"`
	// PushrodLonger is by how much the pushrod must grow from the last trial to
	// this stack, or the adjuster be turned down if the pushrod stays.
	PushrodLonger  measure.Length `json:"pushrod_longer_mm"`
	PushrodLongerU measure.Length `json:"pushrod_longer_u_mm"`
	// LashOpens is what the lash gains at the valve if neither pushrod nor
	// adjuster is touched: with the pushrod's end held, the valve's end rises by
	// what is added times 1 + R (straight rocker, exactly).
	LashOpens measure.Length `json:"lash_opens_if_untouched_mm"`
	// Slope is how the height difference changes per length of shim, as
	// geometry and trials together have it; GeometrySlope, geometry alone.
	Slope         float64 `json:"slope"`
	SlopeU        float64 `json:"slope_u"`
	GeometrySlope float64 `json:"geometry_slope"`
	// GeometryWanted is what the last trial alone asks for by geometry,
	// LineWanted what a straight line through the trials alone would.
	GeometryWanted measure.Length       `json:"geometry_wanted_mm"`
	LineWanted     *measure.Length      `json:"line_wanted_mm,omitempty"`
	Disagree       []Disagreement       `json:"disagree"`
	Says           []worksheet.Sentence `json:"says"`
	worksheet.Basis
}

// Disagreement is a trial that does not go with the others.
type Disagreement struct {
	// Trial counts from 1, in the order of the question.
	Trial int `json:"trial"`
	// By is its height difference less what the others make of its stack.
	By measure.Length `json:"by_mm"`
	// Odds is how likely the trial is to be wrong.
	Odds float64 `json:"odds"`
}

// TurnedRound is the answer with the sign of every height turned round.
type TurnedRound struct {
	Wanted  measure.Length `json:"wanted_mm"`
	WantedU measure.Length `json:"wanted_u_mm"`
	// Odds is how likely the heights are to be turned round.
	Odds float64 `json:"odds"`
}

var errWrongWay = errors.New("the adjuster's end did not rise against the valve's end as the stack grew: check the sign of adjuster_below_valve_mm (above zero when the adjuster's end is low) and the trials")

// Next answers a question. The error is a [*worksheet.Problem] for a field that
// cannot be, another when no stack will do.
func Next(q Question) (Answer, error) {
	a := Answer{Stack: Stack{}, Disagree: []Disagreement{}, Says: []worksheet.Sentence{}}
	if err := q.check(); err != nil {
		return a, err
	}
	arms := q.arms(&a.Basis)
	points, err := arms.points(q.Trials)
	if err != nil {
		return a, err
	}
	f, evidence := fitTrials(points, q.BelowU.Millimetres()/2)
	offset, stem := arms.offsetU()/2, q.marks(arms)
	stem.assume(&a.Basis)
	if err := a.turnRound(q, arms, evidence, stem); err != nil {
		return a, err
	}
	kappa, kappaU := f.expanded(func(g guess) (float64, float64) { return g.kappa, g.kappaVar }, 0)
	if a.TurnedRound == nil && (kappa < 0.5 || kappa > 2) {
		return a, errWrongWay
	}
	wanted, wantedU := f.wanted(offset, stem)
	last := q.Trials[len(q.Trials)-1]
	a.Wanted, a.WantedU = measure.FromMillimetres(wanted), measure.FromMillimetres(wantedU)
	if t := a.TurnedRound; t != nil {
		// As written the trials contradict each other: what the last says alone,
		// and a ± that holds the other answer too.
		a.Wanted = measure.FromMillimetres(points[len(points)-1].stack + points[len(points)-1].short)
		a.WantedU = max(a.WantedU, (a.Wanted-t.Wanted).Abs()+t.WantedU)
	}
	a.OffsetU = measure.FromMillimetres(2 * offset)
	a.Add = a.Wanted - last.Stack.Total()
	rise := arms.rise()
	a.GeometrySlope, a.Slope, a.SlopeU = -rise, -kappa*rise, kappaU*rise
	a.GeometryWanted = measure.FromMillimetres(points[len(points)-1].stack + points[len(points)-1].short)
	if line, ok := straightLine(points); ok && math.Abs(line) < 10*tallest.Millimetres() {
		a.LineWanted = new(measure.FromMillimetres(line))
	}
	if err := a.pickStack(q, arms); err != nil {
		return a, err
	}
	if err := a.foretell(q, f, arms); err != nil {
		return a, err
	}
	if err := a.weighTrials(q, f, arms, points); err != nil {
		return a, err
	}
	a.judge(q, arms)
	a.sayBasis(q)
	return a, nil
}

// unlimited is taller than any stack, with room for sums.
const unlimited = measure.Length(math.MaxInt64 / 4)

// pickStack puts the stack together within the limits.
func (a *Answer) pickStack(q Question, arms arms) error {
	last := q.Trials[len(q.Trials)-1].Stack.Total()
	if a.TurnedRound != nil {
		a.Total = last
		return nil
	}
	least, most := measure.Length(0), unlimited
	var limits []worksheet.Sentence
	narrow := func(low, high measure.Length, says worksheet.Sentence) {
		if a.Wanted < low || a.Wanted > high {
			limits = append(limits, says)
		}
		least, most = max(least, low), min(most, high)
	}
	if q.StackLeast != nil {
		narrow(*q.StackLeast, most, worksheet.Sayf("the stand takes no less than %v", *q.StackLeast))
	}
	if q.StackMost != nil {
		narrow(least, *q.StackMost, worksheet.Sayf("the studs hold no more than %v", *q.StackMost))
	}
	rise := arms.rise()
	if q.AdjusterDown != nil {
		high := last + measure.FromMillimetres(q.AdjusterDown.Millimetres()/rise)
		narrow(least, high, worksheet.Sayf("the adjuster, with this pushrod, follows to %v", worksheet.Rounded(high)))
	}
	if q.AdjusterUp != nil {
		low := last - measure.FromMillimetres(q.AdjusterUp.Millimetres()/rise)
		narrow(low, most, worksheet.Sayf("the adjuster, with this pushrod, follows down to %v", worksheet.Rounded(low)))
	}
	if a.Wanted < 0 {
		a.Says = append(a.Says, worksheet.Sayf("even without shims the stand is too high by %v: it would have to come down", worksheet.Rounded(-a.Wanted)))
	}
	if len(limits) > 0 {
		a.Says = append(a.Says, worksheet.Sayf("the stack wanted, %v, is out of reach: %s", worksheet.Rounded(a.Wanted), worksheet.Join(limits, "; ")))
	}
	if q.OnHand == nil {
		a.Total = min(max(a.Wanted, least), most)
		a.Assume("no shims on hand were named: what is foretold is for a stack of exactly %v", worksheet.Rounded(a.Total))
		return nil
	}
	stack, err := choose(q.OnHand, a.Wanted, least, most)
	if errors.Is(err, errNoStack) {
		within := fmt.Sprintf("%v or more", worksheet.Rounded(least))
		if most < unlimited {
			within = fmt.Sprintf("%v to %v", worksheet.Rounded(least), worksheet.Rounded(most))
		}
		return fmt.Errorf("choosing a stack for %v: %w (%s): add thicknesses (on_hand_mm) or widen the limits (stack_least_mm, stack_most_mm, the adjuster's)", worksheet.Rounded(a.Wanted), err, within)
	}
	if err != nil {
		return fmt.Errorf("choosing a stack for %v: %w", worksheet.Rounded(a.Wanted), err)
	}
	a.Stack, a.Total = stack, stack.Total()
	a.Assume("shims that are under the stand now are counted among those on hand")
	return nil
}

// foretell says what will be found with the stack.
func (a *Answer) foretell(q Question, f fit, arms arms) error {
	a.Short = a.Wanted - a.Total
	short, _ := f.mean(func(g guess) (float64, float64) { return g.shortAt(a.Total.Millimetres()) })
	expect, err := arms.below(short)
	if err != nil {
		return fmt.Errorf("foretelling the next trial: %w", err)
	}
	square, err := arms.below(0)
	if err != nil {
		return fmt.Errorf("foretelling the next trial: %w", err)
	}
	rise := arms.rise()
	atWanted, _ := f.mean(func(g guess) (float64, float64) { return g.shortAt(a.Wanted.Millimetres()) })
	if a.SquareShows, err = arms.below(atWanted); err != nil {
		return fmt.Errorf("foretelling the height of a square rocker: %w", err)
	}
	left, err := arms.below(a.Short.Millimetres())
	if err != nil {
		return fmt.Errorf("foretelling the next trial: %w", err)
	}
	a.Expect, a.LeftOver = expect, left-square
	a.LeftOverU = measure.FromMillimetres(a.WantedU.Millimetres() * rise)

	// With the valve's end held the ball rises by what is added under the stand
	// and by what the height difference closes.
	last := q.Trials[len(q.Trials)-1]
	added := (a.Total - last.Stack.Total()).Millimetres()
	now, err := arms.short(*last.AdjusterBelowValve)
	if err != nil {
		return fmt.Errorf("taking up the last trial: %w", err)
	}
	then, err := arms.below(now - added)
	if err != nil {
		return fmt.Errorf("foretelling the pushrod: %w", err)
	}
	a.PushrodLonger = *last.AdjusterBelowValve - then
	// The ball's rise is geometry, whatever the heights say: what is not known of
	// it is the ratio, and a bend and leans that were not told.
	a.PushrodLongerU = measure.FromMillimetres(math.Hypot(arms.riseU, untoldRiseU*rise) * math.Abs(added))
	a.LashOpens = measure.FromMillimetres(added * (1 + arms.ratio))
	a.Assume("pushrod and stand stand within 5 deg of the valve axis, which with a bend is worth %.1f %% of the pushrod's growth", 100*untoldRiseU)
	return nil
}

// weighTrials names the trials that disagree.
func (a *Answer) weighTrials(q Question, f fit, arms arms, points []point) error {
	if a.TurnedRound != nil {
		return nil
	}
	some := f.any() > 0.5
	for i := range points {
		odds := f.wrong(i)
		if odds <= 0.5 && !(some && odds > 0.25) {
			continue
		}
		// What the others make of it: the guesses in which it is wrong.
		mean, weight := 0.0, 0.0
		for _, g := range f {
			if g.wrong&(1<<i) != 0 {
				m, _ := g.shortAt(points[i].stack)
				mean += g.odds * m
				weight += g.odds
			}
		}
		expect, err := arms.below(mean / weight)
		if err != nil {
			return fmt.Errorf("weighing trial %d: %w", i+1, err)
		}
		a.Disagree = append(a.Disagree, Disagreement{Trial: i + 1, By: *q.Trials[i].AdjusterBelowValve - expect, Odds: odds})
	}
	a.sayDisagreement()
	if n := len(points); n > 2 && math.Abs(a.Slope/a.GeometrySlope-1) > 0.1 {
		a.Says = append(a.Says, worksheet.Sayf("the trials say that a shim is worth %.2f times its thickness, the geometry %.2f: check the ratio, and that the heights are those of the tip's and the ball's centres", -a.Slope, -a.GeometrySlope))
	}
	return nil
}

func (a *Answer) sayDisagreement() {
	var names []string
	sure := true // that each of them is wrong, and not one of them or another
	for _, d := range a.Disagree {
		names = append(names, strconv.Itoa(d.Trial))
		sure = sure && d.Odds > 0.5
	}
	who := strings.Join(names, " and ")
	switch {
	case len(names) == 0:
	case !sure:
		a.Says = append(a.Says, worksheet.Sayf("trials %s do not go together: one of them is wrong, look at them again", who))
	case len(names) == 1:
		a.Says = append(a.Says, worksheet.Sayf("trial %s disagrees with the others by %v and hardly counts: look at it again", who, worksheet.Rounded(a.Disagree[0].By)))
	default:
		a.Says = append(a.Says, worksheet.Sayf("trials %s disagree with the others and hardly count: look at them again", who))
	}
}

func (a *Answer) sayBasis(q Question) {
	if len(q.Trials) == 1 {
		a.Assume("one trial: its own error cannot be seen, and geometry gives the slope, right to some 2 %% (one standard deviation, and more in one of seven)")
	} else {
		a.Assume("geometry gives the slope to some 2 %% (one standard deviation, and more in one of seven) and the trials correct it; 1 trial in 20 is plain wrong")
	}
	if q.BelowU == 0 {
		a.Assume("how well the height difference was measured is not known: %v to %v (one standard deviation), judged from the trials", measure.FromMillimetres(quietest), measure.FromMillimetres(noisiest))
	}
	a.Assume("the height difference is above zero with the adjuster's end low, at half lift")
	a.Cite("p = e/(1 + 1/R): plane geometry, derived here")
	a.Cite("odds of slope, noise and wrong trials: common practice, no source; they are stated under assumes")
	a.Cite("uncertainty: JCGM 100:2008, 6.2.1 (k = 2)")
	a.Cite("square or not: guarded acceptance, JCGM 106:2012, 8.3.2")
}
