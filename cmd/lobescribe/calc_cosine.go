package main

import (
	"math"
	"strconv"

	"github.com/spf13/cobra"

	"lobescribe/capture/rocker"
)

func newCalcCosineCommand() *cobra.Command {
	return calculation[rocker.LeanQuestion, rocker.LeanAnswer]{
		use:   "cosine",
		short: "What an indicator out of line with the valve hides",
		long: `An indicator whose spindle leans against the valve axis reads wrong: high when its
tip rests on a flat face square to the motion, low when it follows one point.
How much lift the set-up may hide, either way.`,
		example: `  lobescribe calc cosine --reading "0.435 in" --lean 8
  lobescribe calc cosine --reading "10.7 mm" --lean 0 --lean-u 3 --tip flat`,
		compute: rocker.Lean,
		table: func(t *answerTable, a rocker.LeanAnswer) {
			for _, x := range a.Fixtures {
				way := "high"
				if x.ReadsHigh < 0 {
					way = "low"
				}
				t.line(x.Tip, "true %s; reads %s %s (%.2f %%)", t.lengthU(x.True, x.TrueU), t.length(x.ReadsHigh.Abs()), way, math.Abs(x.ReadsHighPercent))
			}
			t.line("may hide", "%s either way", t.length(a.Hidden))
			t.basis(a.Basis)
		},
	}.command()
}

// trimmedNumber writes a bare number with what digits it needs, three at most.
func trimmedNumber(v float64) string {
	return strconv.FormatFloat(v, 'g', 3, 64)
}
