package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"lobescribe/device/measure"
	"lobescribe/device/probe"
)

func newProbe() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "probe PORT",
		Short: "Listen to a port at the usual speeds until readings are heard, 15 s at most",
		Long: `Listens to a serial port at the usual speeds and prints the address to use. It
never writes to the port. How it goes is told on stderr.

  lobescribe probe /dev/ttyUSB0`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			found, err := probe.Port(cmd.Context(), args[0], func(s probe.Step) {
				fmt.Fprintf(cmd.ErrOrStderr(), "%s: %s\n", s.Line, s.Says)
			})
			if err != nil {
				return err
			}
			v := struct {
				probe.Result
				Address string `json:"address"`
			}{found, found.Address.String()}
			return p.print(v, func(w io.Writer, _ measure.Unit) error {
				_, err := fmt.Fprintf(w, "%s\n%s\n", found.Says, v.Address)
				return err
			})
		},
	}
	addJSONFlag(cmd)
	return cmd
}
