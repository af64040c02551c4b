package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"lobescribe/capture"
	"lobescribe/capture/delay"
	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func newDelay() *cobra.Command {
	var indicator, encoder string
	var save bool
	cmd := &cobra.Command{
		Use:   "delay --indicator ADDRESS --encoder ADDRESS",
		Short: "Measure by how much the indicator's readings come later than the encoder's",
		Long: `Two ports bring two delays, and at 60 degrees a second 16 ms are a degree of crank.
Rock the crank over one flank of the valve, forward and back some 30 degrees, a few
times, at different speeds. It says what is missing until it can tell, and then
prints the addresses with delay= in them; --save keeps them for serve.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			o, err := deviceOptions(cmd)
			if err != nil {
				return err
			}
			if encoder == "" {
				return wrongWords("name the encoder: --encoder ADDRESS; where one line carries lift and angle there is no delay to measure")
			}
			devices, err := (&deviceFlags{indicator: indicator, encoder: encoder}).parse(o)
			if err != nil {
				return err
			}
			r, err := daemon.MeasureDelay(cmd.Context(), devices, o, func(says string) { fmt.Fprintln(cmd.ErrOrStderr(), says) })
			if err != nil {
				return err
			}
			a, b := daemon.WithDelays(r, devices[capture.Indicator], devices[capture.Encoder])
			if save {
				if err := saveDevices(cmd, a, b); err != nil {
					return err
				}
			}
			v := struct {
				delay.Result
				Indicator string `json:"indicator"`
				Encoder   string `json:"encoder"`
			}{r, a.String(), b.String()}
			return p.print(v, func(w io.Writer, _ measure.Unit) error {
				_, err := fmt.Fprintf(w, "%s\nindicator %s\nencoder   %s\n", r.Says, a, b)
				return err
			})
		},
	}
	cmd.Flags().StringVar(&indicator, "indicator", "", "address of the indicator")
	cmd.Flags().StringVar(&encoder, "encoder", "", "address of the crank encoder")
	asSettings(cmd.Flags(), "indicator", "encoder")
	cmd.Flags().BoolVar(&save, "save", false, "keep both devices, with their delays, for serve")
	addJSONFlag(cmd)
	return cmd
}

// saveDevices keeps both devices in the store, for the next serve.
func saveDevices(cmd *cobra.Command, indicator, encoder address.Address) error {
	store, err := openStore(cmd, storage.Options{})
	if err != nil {
		return err
	}
	defer store.Close()
	b, err := store.Bench()
	if err != nil {
		return err
	}
	b.Devices = map[string]string{string(capture.Indicator): indicator.String(), string(capture.Encoder): encoder.String()}
	_, err = store.PutBench(b)
	return err
}
