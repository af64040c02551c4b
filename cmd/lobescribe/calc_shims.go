package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/rocker/shims"
	"lobescribe/device/measure"
)

func newCalcShimsCommand() *cobra.Command {
	return calculation[shims.Question, shims.Answer]{
		use:   "shims",
		short: "Which shim stack to try next, from one trial or more",
		long: `Which stack of shims to put under the rocker stand next, so that the rocker is
square to the valve at half lift.

A trial is a stack and by how much the adjuster's end of the rocker sat below
the valve's end at half lift (below zero: above it). With one trial geometry
answers; with more, geometry and trials together, and a trial that does not go
with the others is named. "wanted" is the whole stack, not what to add.

Heights cannot show the bend of a rocker, in however many trials: what it may do
stands in the ± until it is told (--ball-above-line), or until the stem shows
where the tip touched, closed and open.`,
		example: `  lobescribe calc shims --ratio 1.4 --trial "0.381 mm: 3.5 mm" --have "2 x 0.381 mm"
  lobescribe calc shims --ratio 1.5 --trial "0.020 in: 0.150 in" --trial "0.050+0.020 in: 0.052 in" --have "4 x 0.010 in" --have "2 x 0.050 in"
  echo '{"rocker_ratio":1.4,"trials":[{"stack_mm":0.381,"adjuster_below_valve_mm":3.5}]}' | lobescribe calc shims --json`,
		flags:   shimFlags,
		compute: shims.Next,
		table:   shimTable,
	}.command()
}

func shimFlags(f *questionFlags, _ *shims.Question) {
	f.forms = map[string]func(string) (any, error){
		"trial": func(text string) (any, error) { return f.parseTrial(text) },
		"have":  func(text string) (any, error) { return f.parseThickness(text) },
	}
}

// parseTrial reads "STACK: BELOW" or "STACK: BELOW: NEARER". The unit may stand at
// the end only.
func (f *questionFlags) parseTrial(text string) (shims.Trial, error) {
	var t shims.Trial
	p, err := parts(text, `STACK: BELOW, as in "0.030 in: 0.140 in"`, 2, 3)
	if err != nil {
		return t, err
	}
	below, err := f.parseLength(p[1])
	if err != nil {
		return t, err
	}
	unit, err := measure.ParseUnit(unitWord(p[1]))
	if err != nil {
		return t, err
	}
	t.AdjusterBelowValve = &below
	if len(p) > 2 {
		nearer, err := f.parseLength(p[2])
		if err != nil {
			return t, err
		}
		t.OpenVsClosed = &nearer
	}
	t.Stack, err = f.parseLengths(p[0], "+", unit)
	return t, err
}

// parseThickness reads "COUNT x THICKNESS".
func (f *questionFlags) parseThickness(text string) (shims.Thickness, error) {
	count, thickness, ok := strings.Cut(strings.ReplaceAll(text, "×", "x"), "x")
	n, err := strconv.Atoi(strings.TrimSpace(count))
	if !ok || err != nil {
		return shims.Thickness{}, fmt.Errorf(`%q: expected COUNT x THICKNESS, as in "4 x 0.015 in"`, text)
	}
	l, err := f.parseLength(thickness)
	return shims.Thickness{Thickness: l, Count: n}, err
}

func shimTable(t *answerTable, a shims.Answer) {
	t.line("square now", "%s (to %s either way)", a.Verdict, t.length(a.Tolerance))
	t.line("stack wanted", "%s", t.lengthU(a.Wanted, a.WantedU))
	if o := a.TurnedRound; o != nil {
		t.line("with the sign turned round", "%s", t.lengthU(o.Wanted, o.WantedU))
	}
	t.line("in every trial alike", "± %s, from bend and off-centre heights", t.length(a.OffsetU))
	t.line("that is", "%s %s than in the last trial", t.length(a.Add.Abs()), either(a.Add, "more", "less"))
	if a.TurnedRound != nil {
		t.line("fit", "nothing until the sign is cleared up")
	} else if len(a.Stack) > 0 {
		t.line("fit", "%s = %s", t.length(a.Total), piecesOf(t, a.Stack))
	} else if a.Total == 0 {
		t.line("fit", "no shim")
	}
	t.line("short of wanted", "%s", t.length(a.Short))
	t.line("left over", "%s (adjuster's end %s at half lift)", t.lengthU(a.LeftOver, a.LeftOverU), either(a.LeftOver, "low", "high"))
	t.line("to be measured then", "%s", t.length(a.Expect))
	t.line("pushrod "+either(a.PushrodLonger, "longer", "shorter")+" by", "%s", t.lengthU(a.PushrodLonger.Abs(), a.PushrodLongerU))
	t.line("left untouched", "the lash would %s by %s at the valve", either(a.LashOpens, "open", "close"), t.length(a.LashOpens.Abs()))
	t.line("slope", "%.3f ± %.3f a length of shim (geometry %.3f)", a.Slope, a.SlopeU, a.GeometrySlope)
	t.line("geometry alone", "%s", t.length(a.GeometryWanted))
	if a.LineWanted != nil {
		t.line("trials alone", "%s (straight line)", t.length(*a.LineWanted))
	}
	for _, d := range a.Disagree {
		t.line("disagrees", "trial %d, by %s (odds of being wrong %.0f %%)", d.Trial, t.length(d.By), 100*d.Odds)
	}
	t.says(a.Says)
	t.basis(a.Basis)
}

// either picks a word by the sign of l.
func either(l measure.Length, above, below string) string {
	if l < 0 {
		return below
	}
	return above
}

// piecesOf writes a stack as "2 × 0.0600 in + 0.0150 in".
func piecesOf(t *answerTable, s shims.Stack) string {
	var pieces []string
	for i := 0; i < len(s); {
		n := 1
		for i+n < len(s) && s[i+n] == s[i] {
			n++
		}
		piece := t.length(s[i])
		if n > 1 {
			piece = fmt.Sprintf("%d × %s", n, piece)
		}
		pieces = append(pieces, piece)
		i += n
	}
	return strings.Join(pieces, " + ")
}
