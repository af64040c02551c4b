package main

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"lobescribe/dashboard"
	"lobescribe/device"
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
			list, err := listPorts(cmd.Context())
			if err != nil {
				return err
			}
			return p.print(list, func(w io.Writer, _ measure.Unit) error { return tablePorts(w, list) })
		},
	}
	addOutputFlags(cmd)
	return cmd
}

func tablePorts(w io.Writer, list []dashboard.Port) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(w, "no serial port is there: plug the indicator's cable in and look again")
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

// listPorts lists what could be connected, as the page and the table show it.
func listPorts(ctx context.Context) ([]dashboard.Port, error) {
	ports, err := device.Ports(ctx)
	if err != nil {
		return nil, err
	}
	list := []dashboard.Port{} // [] and not null
	for _, p := range ports {
		list = append(list, dashboardPort(p))
	}
	return list, nil
}

// dashboardPort says of a port what the page and the table need.
func dashboardPort(p device.Port) dashboard.Port {
	out := dashboard.Port{Address: p.Address().String(), Name: p.Name, ByID: p.ByID, ByPath: p.ByPath,
		CanOpen: p.Usable, Says: p.Hint}
	if p.USB.Vendor != "" {
		out.USB = &dashboard.USB{Vendor: p.USB.Vendor, Product: p.USB.Product, Serial: p.USB.Serial, Name: p.Product}
	}
	return out
}

// refusedByKind returns the counts that are not zero.
func refusedByKind(s device.Status) map[string]int {
	out := map[string]int{}
	r := s.Refused
	for kind, n := range map[string]int64{
		"too long": r.TooLong, "not a number": r.NotANumber, "misshapen": r.Misshapen,
		"bad checksum": r.BadChecksum, "jump": r.Jump, "stale": r.Stale, "unanswered": r.Unanswered, "flood": r.Flood,
	} {
		if n > 0 {
			out[kind] = int(n)
		}
	}
	return out
}
