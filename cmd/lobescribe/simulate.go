package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/capture"
	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
)

// simulateFlags are the flags that set up a simulated bench.
type simulateFlags struct {
	seed       uint64
	rate       float64
	unit       string
	resolution string
	noise      string
	hand       string
	format     string
	link       string
	speed      float64
	valve      int
	noEncoder  bool
	troubles   []string
	rest       measure.Stamp // on the heel, after each hand's openings
	prove      bool
	travel     string
	averages   time.Duration
	sticks     string
	sweep      string
	tilt       string
	// made is given each bench as it comes and returns the one that plays; nil: as
	// it comes.
	made func(*simulator.Bench) (*simulator.Bench, error)
}

func (f *simulateFlags) add(cmd *cobra.Command) {
	cmd.Flags().Uint64Var(&f.seed, "seed", 1, "what chance decides; the same seed gives the same bytes")
	cmd.Flags().Float64Var(&f.rate, "rate", 50, "readings a second, 5 to 1000")
	cmd.Flags().StringVar(&f.unit, "indicator-unit", "in", "what the indicator shows: in or mm")
	cmd.Flags().StringVar(&f.resolution, "resolution", "", `its step, as in "0.0005 in" or "0.01 mm"`)
	cmd.Flags().StringVar(&f.noise, "noise", "", `standard deviation of a reading, as in "0.002 mm"; default: none`)
	cmd.Flags().StringVar(&f.hand, "hand", "", "how it is turned: "+styleNames(", ")+"; default: one after the other")
	cmd.Flags().StringVar(&f.format, "line", "", "format of the indicator's lines; --line list names them")
	cmd.Flags().StringVar(&f.link, "link", "", "tty or tcp; default: tty where the system has it")
	cmd.Flags().Float64Var(&f.speed, "speed", 1, "times real time")
	cmd.Flags().IntVar(&f.valve, "valve", 0, "which valve of the engine, from 0")
	cmd.Flags().BoolVar(&f.noEncoder, "no-encoder", false, "no crank encoder")
	cmd.Flags().StringVar(&f.sweep, "sweep", "", "a gauge across the stem as well, against: tip or side")
	cmd.Flags().StringVar(&f.tilt, "tilt", "0.8 deg", "with --sweep: how far that gauge stands off square to the stem")
	cmd.Flags().StringSliceVar(&f.troubles, "trouble", nil, "what goes wrong, by name, as often as you like; --trouble list names them")
}

// addProving adds the flags of an indicator that is proved in place of an engine
// that is turned.
func (f *simulateFlags) addProving(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&f.prove, "prove", false, "the engine stands, and the indicator is proved over and over, as `lobescribe prove` asks for")
	cmd.Flags().StringVar(&f.travel, "travel", "", `with --prove: the spindle's travel, as in "25.4 mm"`)
	cmd.Flags().DurationVar(&f.averages, "averages", 0, "with --prove: what the indicator averages over, as in 60ms")
	cmd.Flags().StringVar(&f.sticks, "sticks", "", `with --prove: the play between the two directions, as in "0.005 mm"`)
}

func styleNames(between string) string {
	var names []string
	for _, s := range simulator.Styles() {
		names = append(names, s.String())
	}
	return strings.Join(names, between)
}

func troubleNames() []string {
	var names []string
	for _, t := range simulator.Troubles() {
		names = append(names, string(t))
	}
	return names
}

// listed prints the names that a flag takes, where the flags ask for them.
func (f *simulateFlags) listed(p printer) (bool, error) {
	switch {
	case f.format == "list":
		return true, listLineFormats(p)
	case slices.Equal(f.troubles, []string{"list"}):
		return true, listTroubles(p)
	}
	return false, nil
}

// serve starts the bench that the flags describe.
func (f *simulateFlags) serve(ctx context.Context) (*simulator.Live, error) {
	bench, o, err := f.bench()
	if err != nil {
		return nil, wordsError{err}
	}
	if f.made != nil {
		if bench, err = f.made(bench); err != nil {
			return nil, err
		}
	}
	live, err := simulator.Serve(ctx, bench, o)
	if errors.Is(err, simulator.ErrNoTTY) && f.link == "" {
		o.Link = simulator.TCP
		live, err = simulator.Serve(ctx, bench, o)
	}
	return live, err
}

func (f *simulateFlags) bench() (*simulator.Bench, simulator.ServeOptions, error) {
	o := simulator.BenchOptions{Seed: f.seed, Valve: f.valve, NoEncoder: f.noEncoder}
	serve := simulator.ServeOptions{Speed: f.speed}
	o.Indicator.Rate = f.rate
	var err error
	if o.Indicator.Unit, err = measure.ParseUnit(f.unit); err != nil {
		return nil, serve, fmt.Errorf("--indicator-unit: %w", err)
	}
	if f.resolution != "" {
		if o.Indicator.Resolution, err = measure.ParseLength(f.resolution); err != nil {
			return nil, serve, fmt.Errorf("--resolution: %w", err)
		}
	}
	if f.noise != "" {
		if o.Indicator.Noise, err = measure.ParseLength(f.noise); err != nil {
			return nil, serve, fmt.Errorf("--noise: %w", err)
		}
	}
	if f.hand != "" {
		style, err := simulator.ParseStyle(f.hand)
		if err != nil {
			return nil, serve, fmt.Errorf("--hand: %w", err)
		}
		o.Hands = []simulator.Hand{{Style: style}}
	} else {
		for _, style := range simulator.Styles() {
			o.Hands = append(o.Hands, simulator.Hand{Style: style})
		}
	}
	for i := range o.Hands {
		o.Hands[i].After = f.rest
	}
	if f.format != "" {
		if o.Indicator.Format, err = simulator.FormatNamed(f.format); err != nil {
			return nil, serve, fmt.Errorf("--line: %w", err)
		}
	}
	for _, name := range f.troubles {
		trouble, err := simulator.ParseTrouble(name)
		if err != nil {
			return nil, serve, fmt.Errorf("--trouble: %w%s", err, didYouMean(name, troubleNames(), ""))
		}
		if trouble.NeedsEncoder() && f.noEncoder {
			return nil, serve, fmt.Errorf("--trouble: %s is the encoder's: leave --no-encoder away", trouble)
		}
		o.Troubles = append(o.Troubles, trouble)
	}
	if f.link != "" {
		if serve.Link, err = simulator.ParseLinkKind(f.link); err != nil {
			return nil, serve, fmt.Errorf("--link: %w", err)
		}
	}
	if f.sweep != "" {
		against, err := storage.ParseAgainst(f.sweep)
		if err != nil {
			return nil, serve, fmt.Errorf("--sweep: %w", err)
		}
		// Run-out as a decent roller and retainer have it; invented.
		g := simulator.SweepGauge{Side: against == storage.AgainstSide, RollerRunOut: 5 * measure.Micrometre, RunOut: 20 * measure.Micrometre, Turns: 10 * measure.Degree}
		if g.Tilt, err = measure.ParseAngle(f.tilt); err != nil {
			return nil, serve, fmt.Errorf("--tilt: %w", err)
		}
		g.Gauge.Rate = f.rate
		o.Sweep = &g
	}
	if err := f.proving(&o, &serve); err != nil {
		return nil, serve, err
	}
	if f.speed <= 0 {
		return nil, serve, fmt.Errorf("--speed must be above zero, not %v", f.speed)
	}
	bench, err := simulator.NewBench(o)
	return bench, serve, err
}

// proving reads what --prove is made of.
func (f *simulateFlags) proving(o *simulator.BenchOptions, serve *simulator.ServeOptions) error {
	if !f.prove {
		if f.travel != "" || f.averages != 0 || f.sticks != "" {
			return errors.New("--travel, --averages and --sticks belong to --prove")
		}
		return nil
	}
	p := &simulator.Proving{Averages: measure.StampOf(f.averages)}
	for flag, to := range map[string]*measure.Length{"travel": &p.Travel, "sticks": &p.Sticks} {
		text := map[string]string{"travel": f.travel, "sticks": f.sticks}[flag]
		if text == "" {
			continue
		}
		var err error
		if *to, err = measure.ParseLength(text); err != nil {
			return fmt.Errorf("--%s: %w", flag, err)
		}
	}
	if p.Travel > 0 {
		p.Out = p.Travel * 6 / 10
	}
	p.Indicator = o.Indicator
	if _, err := p.Play(); err != nil {
		return err
	}
	o.NoEncoder, serve.Proving = true, p
	return nil
}

// addresses returns where the instruments of a simulated bench are, by role.
func addresses(l *simulator.Live) map[capture.Role]string {
	a := map[capture.Role]string{capture.Indicator: l.Indicator.Address()}
	if l.Encoder != nil {
		a[capture.Encoder] = l.Encoder.Address() + "&counts=2400"
	}
	if l.Sweep != nil {
		a[capture.Sweep] = l.Sweep.Address()
	}
	return a
}

func newSimulate() *cobra.Command {
	var f simulateFlags
	cmd := &cobra.Command{
		Use:   "simulate",
		Short: "The simulator alone: prints its device addresses and talks until stopped",
		Long: `Plays an invented engine, a hand that turns it, an indicator and a crank encoder
that talk out of a pseudo-terminal or a socket, for trying things out. Prints the
addresses and talks until Ctrl-C. What can go wrong at a bench is made by name:
--trouble sticking, or --trouble list for all.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			if listed, err := f.listed(p); listed {
				return err
			}
			live, err := f.serve(cmd.Context())
			if err != nil {
				return err
			}
			a := addresses(live)
			err = p.print(a, func(w io.Writer, _ measure.Unit) error {
				for _, role := range capture.Roles() {
					if text := a[role]; text != "" {
						fmt.Fprintf(w, "%-10s %s\n", role, text)
					}
				}
				return nil
			})
			if err == nil {
				<-cmd.Context().Done()
			}
			return errors.Join(err, live.Close())
		},
	}
	f.add(cmd)
	f.addProving(cmd)
	addJSONFlag(cmd)
	return cmd
}

func listLineFormats(p printer) error {
	var names []string
	for _, f := range append(simulator.Formats(), simulator.CombinedFormats()...) {
		names = append(names, f.Name)
	}
	return p.print(names, func(w io.Writer, _ measure.Unit) error {
		_, err := fmt.Fprintln(w, strings.Join(names, "\n"))
		return err
	})
}

func listTroubles(p printer) error {
	type row struct {
		Trouble simulator.Trouble `json:"trouble"`
		Says    string            `json:"says"`
	}
	var rows []row
	for _, t := range simulator.Troubles() {
		rows = append(rows, row{t, t.Says()})
	}
	return p.print(rows, func(w io.Writer, _ measure.Unit) error {
		for _, r := range rows {
			fmt.Fprintf(w, "%-15s %s\n", r.Trouble, r.Says)
		}
		return nil
	})
}
