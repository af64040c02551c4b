package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"lobescribe/capture/prove"
	"lobescribe/capture/worksheet"
	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func newProve() *cobra.Command {
	var o prove.Options
	var forget, show bool
	cmd := &cobra.Command{
		Use:   "prove ADDRESS",
		Short: "Learn an indicator in ten seconds: its stops, how far it sticks, how late it is",
		Long: `Guides you through it: let the spindle hang free, press it home, let it snap onto
the retainer three times, and let the retainer come to it from below once. What to
do next goes to stderr, what was learned to stdout.

It is kept in the store under the indicator's identity. From then on a nose that is
cut off and a spindle that hangs free are told by the stops, the bench shows the
travel that is left, and how far the indicator sticks and is late stands in the ±.

  lobescribe prove serial:/dev/ttyUSB0
  lobescribe prove usb:0403:6001:A5069RR4 --json >proof.json
  lobescribe analyse turn.csv --proof proof.json

Battery off, plugs out. Keep your fingers from between spindle, retainer and spring.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			d, err := deviceOptions(cmd)
			if err != nil {
				return err
			}
			a, err := parseDevice(args[0], d)
			if err != nil {
				return err
			}
			keep := !forget
			if show {
				return showProof(cmd, a, p)
			}
			var store *storage.Store
			if keep {
				if store, err = openStore(cmd, storage.Options{}); err != nil {
					if errors.Is(err, storage.ErrInUse) {
						return fmt.Errorf("%w. Prove the indicator on the running page instead, under Devices; or add --no-save, and what was learned is printed only", err)
					}
					return err
				}
				defer store.Close()
			}
			proof, err := guide(cmd, a, d, o)
			if err != nil {
				return err
			}
			if keep {
				if err := store.PutIndicator(storage.Indicator{ID: a.Identity(), Proof: proof}); err != nil {
					return err
				}
			}
			return p.print(proof, func(w io.Writer, u measure.Unit) error { return tableProof(w, proof, u) })
		},
	}
	cmd.Flags().BoolVar(&o.OneSided, "one-sided", false, "leave out the last step, in which the retainer comes from below")
	cmd.Flags().BoolVar(&forget, "no-save", false, "print what was learned, and keep it nowhere")
	cmd.Flags().BoolVar(&show, "show", false, "print what is known of this indicator, and prove nothing")
	addOutputFlags(cmd)
	return cmd
}

// guide proves the indicator, and says on stderr what to do.
func guide(cmd *cobra.Command, a address.Address, d device.Options, o prove.Options) (prove.Proof, error) {
	out := &oneAtATime{w: cmd.ErrOrStderr()}
	last := &device.Status{}
	says, problem := "", ""
	tell := func(n prove.Now) {
		if n.Problem != problem && n.Problem != "" {
			fmt.Fprintln(out, "! "+n.Problem)
		}
		if n.Says != says {
			fmt.Fprintln(out, n.Says)
		}
		says, problem = n.Says, n.Problem
	}
	return daemon.Prove(cmd.Context(), a, d, o, tell, func(s device.Status) {
		say(out, "", last, s)
	})
}

// showProof prints what is kept of an indicator.
func showProof(cmd *cobra.Command, a address.Address, p printer) error {
	store, err := openStore(cmd, storage.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer store.Close()
	i, err := store.Indicator(a.Identity())
	if err != nil {
		return err
	}
	return p.print(i.Proof, func(w io.Writer, u measure.Unit) error { return tableProof(w, i.Proof, u) })
}

// tableProof prints what was learned for a person.
func tableProof(w io.Writer, p prove.Proof, u measure.Unit) error {
	if !p.Proved() {
		_, err := fmt.Fprintln(w, "This indicator was never proved.")
		return err
	}
	hangs, home := p.Low, p.High
	if p.In < 0 {
		hangs, home = home, hangs
	}
	line := func(name, format string, a ...any) { fmt.Fprintf(w, "%-9s %s\n", name, fmt.Sprintf(format, a...)) }
	ms := func(t measure.Stamp) float64 { return t.Seconds() * 1000 }
	line("travel", "%s", p.Travel().In(u))
	line("hangs at", "%s", hangs.In(u))
	line("home at", "%s ± %s (k=2)", home.In(u), p.StopU.In(u))
	line("repeats", "within %s", p.Repeat.In(u))
	line("sticks", "within %s", p.Stick.In(u))
	if p.Lag > 0 || len(p.Unlearned) == 0 {
		line("late by", "%.0f ms ± %.0f ms (k=2)", ms(p.Lag), ms(p.LagU))
	} else {
		line("late by", "less than %.0f ms", ms(p.LagU))
	}
	line("refresh", "%.1f ms", ms(p.Refresh))
	line("step", "%s", worksheet.Sayf("%v", p.Step).In(u)) // to its last digit in the unit it is made in
	line("rate", "%.1f readings a second", p.Rate)
	for _, why := range p.Unlearned {
		fmt.Fprintln(w, "! "+why)
	}
	if p.Loose {
		fmt.Fprintln(w, "! Its zero was lost since: the stops hold no longer. Prove it again.")
	}
	return nil
}

func addProofFlag(cmd *cobra.Command, to *string) {
	cmd.Flags().StringVar(to, "proof", "", "what is known of the indicator: a file that prove --json wrote")
	_ = cmd.MarkFlagFilename("proof", "json")
}

// readProof reads what prove --json wrote; none for no name.
func readProof(name string) (p prove.Proof, err error) {
	if name == "" {
		return p, nil
	}
	var text []byte
	in, err := openText(name)
	if err == nil {
		text, err = readAtMost(in, 1<<20)
		in.Close()
	}
	if err == nil && json.Unmarshal(text, &p) != nil {
		err = errors.New("it holds no proof")
	}
	if err == nil && !p.Proved() {
		err = errors.New("no indicator was proved in it")
	}
	if err != nil {
		return p, wordsError{fmt.Errorf("--proof %s: %w; name a file that `lobescribe prove ADDRESS --json` wrote", name, err)}
	}
	return p, nil
}
