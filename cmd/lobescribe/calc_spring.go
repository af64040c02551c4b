package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/clearance"
)

func newCalcSpringCommand() *cobra.Command {
	return calculation[clearance.SpringQuestion, clearance.SpringAnswer]{
		use:   "spring",
		short: "Valve spring: rate, seat and open loads, solid height, coil bind",
		long: `A valve spring's rate, seat and open load, solid height and what is left to coil
bind, from the coil's dimensions, from loads that a tester showed, or from both.`,
		example: `  lobescribe calc spring --wire "0.200 in" --mean-diameter "1.050 in" --active 5.5 --free "2.2 in" --installed "1.8 in" --lift "0.45 in"
  lobescribe calc spring --load "1.800 in: 120 lbf" --load "1.300 in: 310 lbf" --installed "1.800 in" --lift "0.480 in" --solid "1.150 in"`,
		flags: func(f *questionFlags, _ *clearance.SpringQuestion) {
			f.forms = map[string]func(string) (any, error){
				"load":       func(text string) (any, error) { return f.parseLoad(text) },
				"inner-load": func(text string) (any, error) { return f.parseLoad(text) },
				"seat-load":  func(text string) (any, error) { return parseForce(text) },
				"curve":      readPoints,
			}
		},
		compute: clearance.SolveSpring,
		table:   springTable,
	}.command()
}

// parseLoad reads "HEIGHT: LOAD".
func (f *questionFlags) parseLoad(text string) (clearance.Load, error) {
	p, err := parts(text, `HEIGHT: LOAD, as in "45 mm: 350 N" or "1.800 in: 80 lbf"`, 2, 2)
	if err != nil {
		return clearance.Load{}, err
	}
	h, err := f.parseLength(p[0])
	if err != nil {
		return clearance.Load{}, err
	}
	n, err := parseForce(p[1])
	return clearance.Load{Height: h, Load: n}, err
}

// parseForce reads "350 N" or "80 lbf".
func parseForce(text string) (clearance.Force, error) {
	number := strings.TrimRight(text, " abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ")
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err == nil {
		switch strings.ToLower(strings.TrimSpace(text[len(number):])) {
		case "n":
			return clearance.Force(v), nil
		case "lbf", "lb", "lbs":
			return clearance.FromPounds(v), nil
		}
	}
	return 0, fmt.Errorf(`%q is not a force: expected a number and N or lbf, as in "350 N" or "80 lbf"`, text)
}

func springTable(t *answerTable, a clearance.SpringAnswer) {
	force := func(f, u *clearance.Force) string {
		return fmt.Sprintf("%.1f ± %.1f N (%.1f lbf)", float64(*f), float64(*u), f.Pounds())
	}
	t.line("rate", "%.2f ± %.2f N/mm (%.1f lbf/in), from %s", float64(a.Rate), float64(a.RateU), a.Rate.PoundsAnInch(), a.From)
	if a.DimensionsRate != nil && a.From == "loads" {
		t.line("by dimensions", "%.2f N/mm (%.1f lbf/in)", float64(*a.DimensionsRate), a.DimensionsRate.PoundsAnInch())
	}
	if a.Index != nil {
		t.line("coil", "index %.2f, %g active coils", *a.Index, *a.ActiveCoils)
	}
	if a.Free != nil {
		t.line("free length", "%s", t.length(*a.Free))
	}
	if a.Solid != nil {
		t.line("solid height", "%s", t.length(*a.Solid))
	}
	if a.SeatLoad != nil {
		t.line("seat load", "%s", force(a.SeatLoad, a.SeatLoadU))
	}
	if a.OpenLoad != nil {
		t.line("open load", "%s", force(a.OpenLoad, a.OpenLoadU))
	}
	if a.OpenStress != nil {
		t.line("stress, open", "%.0f MPa in shear", *a.OpenStress)
	}
	if p := a.Progressive; p != nil {
		t.line("rate, seat to open", "%.2f ± %.2f to %.2f ± %.2f N/mm (%.0f to %.0f lbf/in)", float64(p.Seat), float64(p.SeatU), float64(p.Open), float64(p.OpenU), p.Seat.PoundsAnInch(), p.Open.PoundsAnInch())
	}
	if a.CoilBind != nil {
		t.gap("coil bind", *a.CoilBind)
	}
	if in := a.Inner; in != nil {
		t.line("inner spring", "%.2f ± %.2f N/mm, %s on the seat", float64(in.Rate), float64(in.RateU), force(&in.SeatLoad, &in.SeatLoadU))
		if in.Both != nil {
			t.line("both, seat load", "%s", force(in.Both, in.BothU))
		}
		if in.BothOpen != nil {
			t.line("both, open load", "%s", force(in.BothOpen, in.BothOpenU))
		}
		if in.CoilBind != nil {
			t.gap("inner, coil bind", *in.CoilBind)
		}
	}
	if m := a.Motion; m != nil {
		t.line("moving mass", "%.0f ± %.0f g", m.Mass, m.MassU)
		t.line("margin used up", "%.0f ± %.0f rev/min, at %s of lift", m.UsedUp, m.UsedUpU, t.length(m.AtLift))
		if m.Margin != nil {
			t.line("least margin", "%s: %s", force(m.Margin, m.MarginU), m.Verdict.String())
		}
		if m.Frequency != nil {
			t.line("own frequency", "%.0f ± %.0f Hz", *m.Frequency, *m.FrequencyU)
			for _, h := range m.Meets {
				t.line("harmonic", "%d (%s) meets it at %.0f rev/min", h.Order, t.length(h.Amplitude), h.Speed)
			}
		}
	}
	if m := a.Motion; m != nil && m.OwnInner != nil {
		t.line("inner, own frequency", "%.0f ± %.0f Hz", *m.OwnInner, *m.OwnInnerU)
		for _, h := range m.InnerMeets {
			t.line("inner, harmonic", "%d (%s) meets it at %.0f rev/min", h.Order, t.length(h.Amplitude), h.Speed)
		}
	}
	t.says(a.Says)
	t.basis(a.Basis)
}

// gap writes a clearance and its sentence.
func (t *answerTable) gap(name string, g clearance.Gap) {
	t.line(name, "%s left", t.lengthU(g.Left, g.LeftU))
	t.line("  "+name, "%s", g.Says.In(t.unit))
}
