package main

import (
	"io"

	"github.com/spf13/cobra"

	"lobescribe/device/address"
	"lobescribe/device/measure"
)

func newAddresses() *cobra.Command {
	var markdown bool
	cmd := &cobra.Command{
		Use:   "addresses",
		Short: "The manual of device addresses: every key, every format, an example each",
		Long: `Prints how a device's address is written: by what it is reached, every word that may
stand behind the question mark, every line format, Modbus, serial over the network,
foot switches and formats of your own, each with an example.`,
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
			parts := address.Manual(o.Formats)
			return p.print(parts, func(w io.Writer, _ measure.Unit) error { return address.WriteManual(w, parts, markdown) })
		},
	}
	cmd.Flags().BoolVar(&markdown, "markdown", false, "as a page in Markdown")
	addJSONFlag(cmd)
	return cmd
}
