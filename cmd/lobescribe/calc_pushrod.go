package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/rocker/pushrod"
	"lobescribe/device/measure"
)

func newCalcPushrodCommand() *cobra.Command {
	return calculation[pushrod.Question, pushrod.Answer]{
		use:   "pushrod",
		short: "From the checking rod to the cut length of the tube; cut list; cold lash",
		long: `From the adjustable checking rod, set to zero lash, to the length at which the
tube is cut, for one rod or a whole engine; and the cold lash with the growth of
rod and engine worked out.`,
		example: `  lobescribe calc pushrod --checking "8.712 in" --end "0.750 in: 0.500 in: 0.3125 in" --stack-change "0.030 in" --ratio 1.5
  lobescribe calc pushrod --rod "1 intake = 221.2 mm" --rod "1 exhaust = 221.5 mm" --end "25 mm: 14 mm"
  lobescribe calc pushrod --checking "221.2 mm" --ratio 1.4 --rod-material chromoly --stack-piece "aluminium: 180 mm" --stack-piece "iron: 60 mm"`,
		flags:   pushrodFlags,
		compute: pushrod.Solve,
		table:   pushrodTable,
	}.command()
}

func pushrodFlags(f *questionFlags, q *pushrod.Question) {
	f.forms = map[string]func(string) (any, error){
		"rod":         func(text string) (any, error) { return f.parseRod(text) },
		"end":         func(text string) (any, error) { return f.parseEnd(text) },
		"stack-piece": func(text string) (any, error) { return f.parsePiece(text) },
		"above-seat":  func(text string) (any, error) { return f.parsePiece(text) },
		"valve-stem":  func(text string) (any, error) { return f.parsePiece(text) },
		"rod-material": func(text string) (any, error) {
			return pushrod.Piece{Material: strings.TrimSpace(text)}, nil
		},
	}
	f.finish = func() {
		if q.Step == 0 && (f.unit == measure.InInches || f.unit == measure.InThou) {
			q.Step = measure.Thou
		}
	}
}

// parseRod reads "VALVE = LENGTH".
func (f *questionFlags) parseRod(text string) (pushrod.Rod, error) {
	i := strings.LastIndex(text, "=")
	if i < 0 {
		return pushrod.Rod{}, fmt.Errorf(`%q: expected VALVE = LENGTH, as in "1 intake = 8.712 in"`, text)
	}
	l, err := f.parseLength(text[i+1:])
	return pushrod.Rod{Valve: strings.TrimSpace(text[:i]), Checking: l}, err
}

// parseEnd reads "LENGTH: DEPTH", with a ball and a cup behind if they are known.
func (f *questionFlags) parseEnd(text string) (pushrod.End, error) {
	p, err := parts(text, `LENGTH: PRESS DEPTH, and the ball's diameter if known, as in "25 mm: 14 mm: 8 mm"`, 2, 4)
	if err != nil {
		return pushrod.End{}, err
	}
	ls, err := f.parseLengths(strings.Join(p, ":"), ":", measure.NoUnit)
	if err != nil {
		return pushrod.End{}, err
	}
	ls = append(ls, 0, 0)
	return pushrod.End{Length: ls[0], PressDepth: ls[1], BallDiameter: ls[2], CupDepth: ls[3]}, nil
}

// parsePiece reads "MATERIAL: LENGTH", with the kelvins it warms up behind if they
// are its own.
func (f *questionFlags) parsePiece(text string) (pushrod.Piece, error) {
	p, err := parts(text, `MATERIAL: LENGTH, as in "aluminium: 180 mm", and the kelvins it warms up if they are its own, as in "aluminium: 180 mm: 90"`, 2, 3)
	if err != nil {
		return pushrod.Piece{}, err
	}
	l, err := f.parseLength(p[1])
	if err != nil {
		return pushrod.Piece{}, err
	}
	piece := pushrod.Piece{Material: p[0], Length: l}
	if len(p) > 2 {
		k, err := parseNumber(strings.TrimSuffix(strings.TrimSpace(p[2]), "K"))
		if err != nil {
			return pushrod.Piece{}, err
		}
		piece.Warmer = &k
	}
	return piece, nil
}

func pushrodTable(t *answerTable, a pushrod.Answer) {
	t.line(either(a.Longer, "longer", "shorter")+" by", "%s than the checking rod", t.length(a.Longer.Abs()))
	for _, c := range a.Cuts {
		name := "rod"
		if c.Valve != "" {
			name = c.Valve
		}
		text := "overall " + t.length(c.Overall)
		if c.Tube != nil {
			text = "cut tube to " + t.length(*c.Tube) + ", " + text
		}
		if c.Centres != nil {
			text += ", centres " + t.length(*c.Centres)
		}
		if c.Gauge != nil {
			text += ", gauge " + t.length(*c.Gauge)
		}
		t.line(name, "%s (± %s)", text, t.length(c.LengthU))
	}
	if len(a.Cuts) > 1 {
		for _, l := range a.Tally {
			t.line("tally", "%d of %s: %s", l.Count, t.length(l.Length), strings.Join(l.Valves, ", "))
		}
	}
	if a.ThreadLeft != nil {
		t.line("thread left", "%s", t.length(*a.ThreadLeft))
	}
	if l := a.Lash; l != nil {
		t.line("rod grows", "%s", t.length(l.RodGrows))
		t.line("stack grows", "%s", t.length(l.StackGrows))
		if l.AboveGrows != nil {
			t.line("above the seat", "grows %s", t.length(*l.AboveGrows))
			t.line("valve's stem", "grows %s", t.length(*l.StemGrows))
		}
		t.line("lash opens", "%s at the pushrod, %s at the valve", t.lengthU(l.Opens, l.OpensU), t.lengthU(l.OpensAtValve, l.OpensAtValveU))
		t.line("cold lash", "%s at the valve, by the arithmetic", t.length(l.ColdLash))
		if l.TradeRule != nil {
			t.line("the trade's rule", "%s: %s", t.length(*l.TradeRule), l.Rule)
		}
		t.says(l.Says)
	}
	t.says(a.Says)
	t.basis(a.Basis)
}
