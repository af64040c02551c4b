package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"lobescribe/capture/rocker/shims"
	"lobescribe/dashboard/question"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func newEngines() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "engines",
		Short: "List the engines of the store",
		Long:  `Lists the engines of the store. With --json each comes with all that is set down of it.`,
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			store, err := openReader(cmd)
			if err != nil {
				return err
			}
			defer store.Close()
			list, err := store.Engines()
			if err = tellDamage(cmd, err, len(list)); err != nil {
				return err
			}
			if list == nil {
				list = []storage.Engine{} // [] and not null
			}
			return p.print(list, func(w io.Writer, _ measure.Unit) error { return tableEngines(w, list) })
		},
	}
	addJSONFlag(cmd)
	return cmd
}

func tableEngines(w io.Writer, list []storage.Engine) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(w, "no engine is set down yet: make one on the page of `lobescribe serve`")
		return err
	}
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "id\tname\ttype\tcylinders\tvalves")
	for _, e := range list {
		fmt.Fprintf(t, "%s\t%s\t%s\t%d\t%d\n", e.ID, dash(e.Name), dash(e.Type), e.Cylinders, len(e.Valves()))
	}
	return t.Flush()
}

// tellDamage tells on stderr what of a list does not read; an error that is
// something else, or leaves nothing of the list, comes back.
func tellDamage(cmd *cobra.Command, err error, have int) error {
	damage := storage.DamagesIn(err)
	if err == nil || len(damage) == 0 || have == 0 {
		return err
	}
	for _, d := range damage {
		fmt.Fprintf(cmd.ErrOrStderr(), "lobescribe: %s; the rest follows\n", oneLine(d))
	}
	return nil
}

// nextShim is the question for the next stack, and its answer.
type nextShim = question.Asked[shims.Question, shims.Answer]

func newTrials() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "trials ENGINE [VALVE]",
		Short: "The trials of an engine; of one valve with the shim stack to fit next",
		Long: `Lists the trials of an engine, or of one of its valves. For a valve it also says
which stack of shims to fit next, or what is still to be measured for that: the same
answer as on the page and on the build sheet.`,
		Example: `  lobescribe trials v8
  lobescribe trials v8 3I --unit in`,
		Args: cobra.RangeArgs(1, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			store, err := openReader(cmd)
			if err != nil {
				return err
			}
			defer store.Close()
			name, own := "", whatIsCalled(store)
			if len(args) == 2 {
				name = own.named(args[0], args[1])
			}
			if err := store.CheckLabel(args[0], name); err != nil {
				return wordsError{err}
			}
			all, err := store.Trials(args[0])
			if err = tellDamage(cmd, err, len(all)); err != nil {
				return err
			}
			v := struct {
				Trials []storage.Trial `json:"trials"`
				// Next is absent unless one valve was asked for.
				Next *nextShim `json:"next,omitempty"`
			}{Trials: []storage.Trial{}}
			for _, t := range all {
				if name == "" || t.Valve == name {
					v.Trials = append(v.Trials, t)
				}
			}
			if name != "" {
				next, err := store.Next(args[0], name, p.unit)
				if err != nil {
					return err
				}
				v.Next = &next
			}
			return p.print(v, func(w io.Writer, u measure.Unit) error {
				if err := tableTrials(w, v.Trials, own, u); err != nil || v.Next == nil {
					return err
				}
				return tableNext(w, *v.Next, u)
			})
		},
	}
	addOutputFlags(cmd)
	return cmd
}

func tableTrials(w io.Writer, list []storage.Trial, own called, u measure.Unit) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(w, "no trial is set down yet: add one on the page, under Trials")
		return err
	}
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "valve\tat\tstack\tpushrod\tlash\tadjuster below valve\tmax lift\tremark")
	length := func(l *measure.Length) string {
		if l == nil {
			return "-"
		}
		return l.In(u)
	}
	given := func(l measure.Length) string {
		if l == 0 {
			return "-"
		}
		return l.In(u)
	}
	for _, tr := range list {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", own.valve(tr.Engine, tr.Valve), tr.At.Local().Format("2006-01-02 15:04"), tr.Height().In(u),
			given(tr.PushrodLength), given(tr.Lash), length(tr.AdjusterBelowValve), length(tr.MaxLift), tr.Remark)
	}
	return t.Flush()
}

// tableNext prints the next stack as calc shims does.
func tableNext(w io.Writer, next nextShim, u measure.Unit) error {
	t := &answerTable{unit: u, speak: func(text string) string { return text }}
	switch {
	case next.Answer != nil:
		shimTable(t, *next.Answer)
	case next.NoAnswer != "":
		t.line("next stack", "none: %s", next.NoAnswer)
	default:
		t.line("next stack", "not yet, for want of: %s", strings.Join(next.Lacks, "; "))
	}
	for _, note := range next.Notes {
		t.line("note", "%s", note)
	}
	if _, err := fmt.Fprintln(w); err != nil {
		return err
	}
	return t.print(w)
}
