package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// newCalcCommand returns `calc`, the arithmetic on its own.
func newCalcCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "calc",
		Short: "The arithmetic on its own: shims, pushrods, rocker geometry, photographs, sweeps, timing, clearances, springs",
		Long: `The arithmetic on its own. Every calculation takes its question either as
flags or as one JSON object on standard input, and answers with a table or,
with --json, as one JSON object. Lengths in flags carry their unit ("0.030 in",
"30 thou", "0.76 mm"); lengths in JSON are millimetres (_mm), angles degrees
(_deg). An uncertainty is expanded, k = 2.

Exit status: 0 answered; 1 the question has no answer, or the limits forbid it;
2 the words or the JSON were wrong.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return wrongWords("which calculation? Say one of: %s", strings.Join(namesOf(cmd.Commands()), ", "))
		},
	}
	cmd.AddCommand(
		newCalcShimsCommand(),
		newCalcPushrodCommand(),
		newCalcRockerCommand(),
		newCalcPhotoCommand(),
		newCalcSweepCommand(),
		newCalcTimingCommand(),
		newCalcClearanceCommand(),
		newCalcSpringCommand(),
		newCalcCosineCommand(),
	)
	return cmd
}

func namesOf(commands []*cobra.Command) []string {
	var names []string
	for _, c := range commands {
		if c.IsAvailableCommand() {
			names = append(names, c.Name())
		}
	}
	return names
}

// calculation is one `calc` command: a question Q that flags or JSON fill, the
// pure function that answers it, and how the answer reads as a table.
type calculation[Q, A any] struct {
	use, short, long, example string
	// flags, if set, says how the flags are read that are no plain lengths, angles,
	// numbers or words, and declares those that have no field of their own.
	flags   func(f *questionFlags, q *Q)
	compute func(Q) (A, error)
	table   func(t *answerTable, a A)
}

// command returns the calculation as a command. A flag of the question makes
// the question; with none, it is read as JSON from standard input. The two do
// not mix, so that nobody wonders which of two numbers won.
func (c calculation[Q, A]) command() *cobra.Command {
	var (
		q      Q
		asJSON bool
		unit   string
	)
	cmd := &cobra.Command{
		Use: c.use, Short: c.short, Example: strings.TrimRight(c.example, "\n"), Args: cobra.NoArgs,
		Long: strings.TrimSpace(c.long) + "\n\nThe question comes as flags, or as one JSON object on standard input.",
	}
	f := &questionFlags{set: cmd.Flags()}
	if c.flags != nil {
		c.flags(f, &q)
	}
	f.question(&q, "")
	cmd.Flags().BoolVar(&asJSON, "json", false, "answer as one JSON object")
	cmd.Flags().StringVar(&unit, "unit", "", "unit of the lengths in the table, mm or in (default: that of the first length flag, else mm)")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		in, err := f.tableUnit(unit)
		if err != nil {
			return wordsError{err}
		}
		if f.given() {
			if f.finish != nil {
				f.finish()
			}
		} else if err := readQuestion(cmd, &q); err != nil {
			return err
		}
		speak := func(text string) string { return text }
		if f.given() {
			speak = f.speak
		}
		a, err := c.compute(q)
		if problem := (*worksheet.Problem)(nil); errors.As(err, &problem) {
			return wordsError{errors.New(speak(err.Error()))}
		}
		if err != nil && f.given() && !errors.As(err, &inFile{}) {
			return errors.New(speak(err.Error()))
		}
		if err != nil {
			return err
		}
		if asJSON {
			out := json.NewEncoder(cmd.OutOrStdout())
			out.SetEscapeHTML(false)
			out.SetIndent("", "  ")
			return out.Encode(a)
		}
		t := &answerTable{unit: in, speak: speak}
		c.table(t, a)
		return t.print(cmd.OutOrStdout())
	}
	return cmd
}

// readQuestion reads the question from standard input. Somebody who typed the
// bare command at a terminal is told what it wants instead of being left to
// wonder why it hangs.
func readQuestion(cmd *cobra.Command, question any) error {
	in := cmd.InOrStdin()
	if file, ok := in.(*os.File); ok {
		if info, err := file.Stat(); err == nil && info.Mode()&os.ModeCharDevice != 0 {
			return wrongWords("%s has no question: give it as flags (see %s --help) or as JSON on standard input",
				cmd.CommandPath(), cmd.CommandPath())
		}
	}
	err := worksheet.Read(in, question)
	if problem := (*worksheet.Problem)(nil); errors.As(err, &problem) {
		return wordsError{err}
	}
	return err
}

// answerTable gathers the lines of an answer and prints them in two columns,
// with the basis underneath.
type answerTable struct {
	unit measure.Unit
	// speak names what was asked as it was asked: by flags or by JSON keys.
	speak func(text string) string
	lines [][2]string
}

// line adds a line of a name and its text.
func (t *answerTable) line(name, format string, args ...any) {
	t.lines = append(t.lines, [2]string{name, t.speak(fmt.Sprintf(format, args...))})
}

// length prints l in the table's unit.
func (t *answerTable) length(l measure.Length) string { return l.In(t.unit) }

// fine prints what may be a micrometre, which four decimals of an inch would make
// nothing of.
func (t *answerTable) fine(l measure.Length) string {
	if t.unit == measure.InInches && l < 2540*measure.Nanometre {
		return l.Decimal(t.unit, 6) + " " + t.unit.String()
	}
	return t.length(l)
}

// lengthU prints l with its expanded uncertainty.
func (t *answerTable) lengthU(l, u measure.Length) string {
	return l.In(t.unit) + " ± " + u.In(t.unit)
}

// basis adds what stands under the answer.
func (t *answerTable) basis(b worksheet.Basis) {
	for _, s := range b.Assumes {
		t.line("assumes", "%s", s.In(t.unit))
	}
	for _, s := range b.Sources {
		t.line("source", "%s", s)
	}
}

// says adds sentences that the person must not miss.
func (t *answerTable) says(sentences []worksheet.Sentence) {
	for _, s := range sentences {
		t.line("note", "%s", s.In(t.unit))
	}
}

func (t *answerTable) print(w io.Writer) error {
	width := 0
	for _, l := range t.lines {
		width = max(width, len([]rune(l[0])))
	}
	var out strings.Builder
	last := ""
	for _, l := range t.lines {
		name := l[0]
		if name == last { // a second assumption needs no second heading
			name = ""
		}
		last = l[0]
		fmt.Fprintf(&out, "%s%s  %s\n", name, strings.Repeat(" ", width-len([]rune(name))), l[1])
	}
	_, err := io.WriteString(w, out.String())
	return err
}
