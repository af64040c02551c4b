package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"lobescribe/dashboard/schema"
	"lobescribe/device/measure"
)

func newSchema() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "schema [NAME]",
		Short: "JSON Schemas of what it prints and sends, for programs of your own",
		Long: `Lists the JSON Schemas (draft 2020-12) of findings, live messages, stored traces
and exported JSON lines, or prints the one named. They say of every field what it
means and in what unit it is. The daemon serves the same under /api/v1/schema/.`,
		Example: "  lobescribe schema findings > findings.json",
		Args:    cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			if len(args) == 1 {
				s, err := schema.Named(args[0])
				if err != nil {
					return wordsError{err}
				}
				_, err = p.w.Write(s.Text)
				return err
			}
			all := schema.All()
			return p.print(all, func(w io.Writer, _ measure.Unit) error {
				t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
				for _, s := range all {
					fmt.Fprintf(t, "%s\t%s\n", s.Name, s.Title)
				}
				return t.Flush()
			})
		},
	}
	addJSONFlag(cmd)
	return cmd
}
