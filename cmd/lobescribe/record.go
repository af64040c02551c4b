package main

import (
	"cmp"
	"fmt"
	"io"
	"sync"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"lobescribe/capture"
	"lobescribe/capture/lift"
	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func newRecord() *cobra.Command {
	var direction, engine, valve, proof, against string
	var addresses deviceFlags
	var openings int
	var save bool
	cmd := &cobra.Command{
		Use:   "record --indicator ADDRESS [--encoder ADDRESS] [--sweep ADDRESS]",
		Short: "Without the page: record until so many openings are complete, print findings",
		Long: `Records until --openings whole openings are complete (or Ctrl-C) and prints the
findings. Recording begins at once. What happens meanwhile goes to stderr.

  lobescribe record --indicator serial:/dev/ttyUSB0 --openings 3
  lobescribe record --indicator serial:/dev/ttyUSB0 --save --json

With --sweep a second gauge stands square to the stem, against the rocker's tip, or
with --against side against the stem, lash cap or retainer: see calc sweep. With an
encoder one indicator will do: record with --indicator, move it, record with --sweep.

  lobescribe record --indicator serial:/dev/ttyUSB0 --sweep serial:/dev/ttyUSB1 --save`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			if openings < 0 {
				return wrongWords("--openings must be 0 (until Ctrl-C) or more, not %d", openings)
			}
			o := daemon.RecordOptions{Openings: openings, Log: logger(cmd)}
			if o.Sign, err = parseDirection(direction); err != nil {
				return err
			}
			if o.Device, err = deviceOptions(cmd); err != nil {
				return err
			}
			if o.Devices, err = addresses.parse(o.Device); err != nil {
				return err
			}
			if o.Proof, err = readProof(proof); err != nil {
				return err
			}
			pass, err := addresses.pass(against)
			if err != nil {
				return err
			}
			if save {
				store, err := openStore(cmd, storage.Options{Repair: true, ProveLater: true})
				if err != nil {
					return err
				}
				defer store.Close()
				if err := keepIn(store, &o, storage.Head{Engine: engine, Valve: valve, Against: pass}, proof != ""); err != nil {
					return err
				}
			}
			recorded, err := record(cmd, o, p.unit)
			if err != nil {
				return err
			}
			f := recorded.Findings
			return p.print(f, func(w io.Writer, u measure.Unit) error { return tableFindings(w, f, u) })
		},
	}
	addresses.add(cmd.Flags())
	cmd.Flags().StringVar(&against, "against", "", "what the sweep gauge lies against: tip (default), or side of the stem, lash cap or retainer (the reference pass)")
	cmd.Flags().IntVar(&openings, "openings", 0, "stop after so many whole openings; 0 means until Ctrl-C")
	cmd.Flags().BoolVar(&save, "save", false, "keep the trace in the store")
	cmd.Flags().StringVar(&engine, "engine", "", "with --save: the engine it belongs to")
	cmd.Flags().StringVar(&valve, "valve", "", "with --save: the valve it belongs to, as in 3I or 3E")
	addProofFlag(cmd, &proof)
	addDirectionFlag(cmd, &direction)
	asSettings(cmd.Flags(), "indicator", "encoder", "sweep", "direction")
	addOutputFlags(cmd)
	return cmd
}

// keepIn has a recording kept in a store as one of head's engine and valve. Where no proof
// was named, what the store knows of the indicator counts.
func keepIn(store *storage.Store, o *daemon.RecordOptions, head storage.Head, proofNamed bool) error {
	if err := store.CheckLabel(head.Engine, head.Valve); err != nil {
		return wordsError{err}
	}
	if !proofNamed {
		known, err := store.Indicator(o.Devices[capture.Indicator].Identity())
		if err != nil {
			return err
		}
		o.Proof = known.Proof
	}
	head.Source, head.Proof = daemon.SourceLive, o.Proof
	o.Store, o.Head = store, head
	return nil
}

// deviceFlags are the flags that name instruments.
type deviceFlags struct{ indicator, encoder, sweep string }

func (f *deviceFlags) add(flags *pflag.FlagSet) {
	flags.StringVar(&f.indicator, "indicator", "", "address of the indicator, as in serial:/dev/ttyUSB0")
	flags.StringVar(&f.encoder, "encoder", "", "address of the crank encoder, if it has a port of its own")
	flags.StringVar(&f.sweep, "sweep", "", "address of a gauge across the stem, against the rocker's tip")
}

// pass reads --against; empty without a sweep gauge.
func (f *deviceFlags) pass(text string) (storage.Against, error) {
	a, err := storage.ParseAgainst(text)
	switch {
	case err != nil:
		return "", wrongWords("--against: %w", err)
	case f.sweep == "" && a != "":
		return "", wrongWords("--against says what the sweep gauge lies against, and there is none: add --sweep ADDRESS")
	case f.sweep == "":
		return "", nil
	}
	return cmp.Or(a, storage.AgainstTip), nil
}

// parse reads the addresses.
func (f *deviceFlags) parse(o device.Options) (map[capture.Role]address.Address, error) {
	switch {
	case f.indicator == "" && f.sweep != "" && f.encoder == "":
		return nil, wrongWords("a sweep gauge alone tells nothing: add --indicator ADDRESS, or --encoder ADDRESS where one indicator is moved between turns")
	case f.indicator == "" && f.sweep == "":
		return nil, wrongWords("name the indicator: --indicator ADDRESS, as in serial:/dev/ttyUSB0 (`lobescribe ports` lists them)")
	}
	devices := map[capture.Role]address.Address{}
	for role, text := range map[capture.Role]string{capture.Indicator: f.indicator, capture.Encoder: f.encoder, capture.Sweep: f.sweep} {
		if text == "" {
			continue
		}
		a, err := parseDevice(text, o)
		if err != nil {
			return nil, wordsError{fmt.Errorf("--%s: %w", role, err)}
		}
		devices[role] = a
	}
	return devices, nil
}

// record records, and tells on stderr what happens meanwhile.
func record(cmd *cobra.Command, o daemon.RecordOptions, unit measure.Unit) (daemon.Recorded, error) {
	keepGoing()
	out := &oneAtATime{w: cmd.ErrOrStderr()}
	last := map[capture.Role]*device.Status{}
	for role := range o.Devices {
		last[role] = &device.Status{}
	}
	o.Says = func(text string) { fmt.Fprintln(out, text) }
	o.Status = func(role capture.Role, s device.Status) { say(out, string(role)+" ", last[role], s) }
	o.Opened = func(n int, opening lift.Opening) {
		fmt.Fprintf(out, "opening %d: max lift %s, half lift %s\n", n, opening.MaxLift.In(unit), opening.HalfLift.In(unit))
	}
	recorded, err := daemon.Record(cmd.Context(), o)
	for _, role := range capture.Roles() {
		if s := last[role]; s != nil && s.Refused.Total() > 0 {
			fmt.Fprintf(out, "%s: lines that are no readings: %s\n", role, s.Refused.Counts())
		}
	}
	if recorded.ID != 0 {
		fmt.Fprintf(out, "stored as trace %s\n", recorded.ID)
	}
	return recorded, err
}

// oneAtATime lets several goroutines write lines to one place.
type oneAtATime struct {
	mu sync.Mutex // held while a line is written
	w  io.Writer
}

func (o *oneAtATime) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.w.Write(p)
}
