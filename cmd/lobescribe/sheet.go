package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"lobescribe/dashboard/sheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func newSheet() *cobra.Command {
	var out, unit string
	cmd := &cobra.Command{
		Use:   "sheet ENGINE -o FILE.html",
		Short: "The build sheet of an engine, one self-contained file",
		Args:  cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			o := sheet.Options{Version: version}
			if unit != "" {
				u, err := measure.ParseUnit(unit)
				if err != nil {
					return wordsError{fmt.Errorf("--unit: %w", err)}
				}
				o.Units = u
			}
			store, err := openStore(cmd, storage.Options{ReadOnly: true})
			if err != nil {
				return err
			}
			defer store.Close()
			d, err := sheet.Gather(store, args[0], o)
			if err != nil {
				return err
			}
			if out == "" || out == "-" {
				return sheet.Write(cmd.OutOrStdout(), d)
			}
			return writeBeside(out, func(w io.Writer) error { return sheet.Write(w, d) })
		},
	}
	cmd.Flags().StringVarP(&out, "out", "o", "", "file to write; default: standard output")
	cmd.Flags().StringVar(&unit, "unit", "", "in or mm; default: the engine's own")
	return cmd
}
