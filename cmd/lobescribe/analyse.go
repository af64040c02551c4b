package main

import (
	"io"

	"github.com/spf13/cobra"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

func newAnalyse() *cobra.Command {
	var direction string
	cmd := &cobra.Command{
		Use:     "analyse FILE",
		Aliases: []string{"analyze"},
		Short:   "Findings of a CSV, JSON-lines or Parquet trace, or of recorded bytes",
		Long: `Works out max lift, half lift and the set-up's faults of a trace in a file.

The file is CSV with a header row (t_s,lift_mm and optionally angle_deg), JSON
lines with the same names, or Parquet with columns of these names or t_us,
lift_nm and angle_udeg; or a recording of raw bytes that listen --raw wrote. "-"
reads standard input.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			sign, err := parseDirection(direction)
			if err != nil {
				return err
			}
			trace, _, err := readTraceFile(cmd, args[0])
			if err != nil {
				return err
			}
			f, err := lift.Analyse(trace, lift.Options{Sign: sign})
			if err != nil {
				return err
			}
			return p.print(f, func(w io.Writer, u measure.Unit) error { return tableFindings(w, f, u) })
		},
	}
	addDirectionFlag(cmd, &direction)
	addOutputFlags(cmd)
	return cmd
}

func addDirectionFlag(cmd *cobra.Command, to *string) {
	cmd.Flags().StringVar(to, "direction", "auto", "how the indicator's reading runs as the valve opens: auto, up or down")
}

func parseDirection(text string) (int, error) {
	switch text {
	case "auto":
		return 0, nil
	case "up":
		return +1, nil
	case "down":
		return -1, nil
	}
	return 0, wrongWords("--direction %q is not known: write auto, up or down", text)
}
