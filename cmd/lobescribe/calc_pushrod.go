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
	f.length(&q.Checking, "checking", "checking rod at zero lash")
	f.value("rod", "VALVE=LENGTH", `a checking rod of an engine, as in "1 intake = 8.712 in"; again for each valve`, func(text string) error {
		i := strings.LastIndex(text, "=")
		if i < 0 {
			return fmt.Errorf(`%q: expected VALVE = LENGTH, as in "1 intake = 8.712 in"`, text)
		}
		l, err := f.parseLength(text[i+1:])
		q.Rods = append(q.Rods, pushrod.Rod{Valve: strings.TrimSpace(text[:i]), Checking: l})
		return err
	})
	f.word(&q.Measured, "measured", "over what the checking rod was measured: overall, centres or gauge (default overall)")
	f.length(&q.GaugeDiameter, "gauge", "hole of the gauging ring")
	f.value("end", "LENGTH:DEPTH[:BALL[:CUP]]", "an end piece: its length, how deep it is pressed in, its ball, and of a cup its depth; once for both ends, or twice", func(text string) error {
		p, err := parts(text, `LENGTH: PRESS DEPTH, and the ball's diameter if known, as in "25 mm: 14 mm: 8 mm"`, 2, 4)
		if err != nil {
			return err
		}
		ls, err := f.parseLengths(strings.Join(p, ":"), ":", measure.NoUnit)
		if err != nil {
			return err
		}
		e := pushrod.End{Length: ls[0], PressDepth: ls[1]}
		if len(ls) > 2 {
			e.BallDiameter = ls[2]
		}
		if len(ls) > 3 {
			e.CupDepth = ls[3]
		}
		q.Ends = append(q.Ends, e)
		return nil
	})
	f.lengthOrNone(&q.CheckingU, "checking-u", "how well the checking rod is measured (k = 2; default 0.05 mm)")
	f.lengthOrNone(&q.EndU, "end-u", "how well an end piece's length is known (k = 2; default 0.03 mm)")
	f.length(&q.StackChange, "stack-change", "shims added after the checking; needs --ratio")
	f.number(&q.RockerRatio, "ratio", "rocker ratio")
	f.angle(&q.PushrodLean, "lean", "the pushrod's lean against the valve axis")
	f.length(&q.AdjusterDown, "adjuster-down", "how much further down the adjuster is to stand")
	f.lengthOrNone(&q.ThreadLeft, "thread-left", "how far down the adjuster could go when the checking rod was set")
	f.length(&q.Preload, "preload", "preload of a hydraulic lifter")
	f.length(&q.Step, "step", "what the saw or lathe works to (default 0.05 mm, or 0.001 in when lengths are in inches)")
	f.finish = func() {
		if q.Step == 0 && (f.unit == measure.InInches || f.unit == measure.InThou) {
			q.Step = measure.Thou
		}
	}

	var lash pushrod.LashQuestion
	lashFlag := func(name, kind, usage string, take func(text string) error) {
		f.value(name, kind, usage, func(text string) error {
			q.Lash = &lash
			return take(text)
		})
	}
	lashFlag("rod-material", "MATERIAL", "material of the pushrod; asks for the cold lash", func(text string) error {
		lash.Rod = []pushrod.Piece{{Material: text}}
		return nil
	})
	lashFlag("stack-piece", "MATERIAL:LENGTH", "a part between lifter and rocker pivot; again for each", func(text string) error {
		p, err := parts(text, `MATERIAL: LENGTH, as in "aluminium: 180 mm"`, 2, 2)
		if err != nil {
			return err
		}
		l, err := f.parseLength(p[1])
		lash.Stack = append(lash.Stack, pushrod.Piece{Material: p[0], Length: l})
		return err
	})
	f.numberOrNone(&lash.Warmer, "warmer", "by how many kelvins the engine warms up (default 70)")
	f.numberOrNone(&lash.RodWarmer, "rod-warmer", "by how many kelvins the pushrod does (default as the engine)")
	f.length(&lash.HotLash, "hot-lash", "lash wanted warm, at the valve (default none)")
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
