package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/dashboard"
	"lobescribe/device/measure"
)

func newPorts() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "ports",
		Short: "Serial ports with USB identity; who may open them and what to do if you may not",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			list, err := daemon.ListPorts(cmd.Context())
			if err != nil {
				return err
			}
			return p.print(list, func(w io.Writer, _ measure.Unit) error { return tablePorts(w, list) })
		},
	}
	addJSONFlag(cmd)
	return cmd
}

func tablePorts(w io.Writer, list []dashboard.Port) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(w, "no serial port is there: plug the indicator's cable in and run the command again")
		return err
	}
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, p := range list {
		usb := ""
		if p.USB != nil {
			usb = fmt.Sprintf("usb %s:%s %s %s", p.USB.Vendor, p.USB.Product, p.USB.Serial, p.USB.Name)
		}
		can := "can be opened"
		if !p.CanOpen {
			can = p.Says
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", p.Name, p.Address, usb, can)
	}
	return t.Flush()
}
