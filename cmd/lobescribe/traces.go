package main

import (
	"cmp"
	"fmt"
	"io"
	"path/filepath"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/capture/lift"
	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/dashboard"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/tracefile"
)

func newTraces() *cobra.Command {
	var q storage.Query
	cmd := &cobra.Command{
		Use:   "traces",
		Short: "List what is stored, newest first",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			if q.Limit < 0 {
				return wrongWords("--limit must be 0 (all) or more, not %d", q.Limit)
			}
			store, err := openReader(cmd)
			if err != nil {
				return err
			}
			defer store.Close()
			own := whatIsCalled(store)
			q.Valve = own.named(q.Engine, q.Valve)
			list, err := store.Traces(q)
			if err != nil {
				return err
			}
			if len(list) == 0 { // traces of an engine that was deleted are still there
				if err := store.CheckLabel(q.Engine, q.Valve); err != nil {
					return wordsError{err}
				}
				list = []storage.Summary{} // [] and not null
			}
			if err := tellRepairs(cmd, store); err != nil {
				return err
			}
			return p.print(list, func(w io.Writer, u measure.Unit) error { return tableTraces(w, list, own, u) })
		},
	}
	cmd.Flags().StringVar(&q.Engine, "engine", "", "only traces of this engine")
	cmd.Flags().StringVar(&q.Valve, "valve", "", "only traces of this valve, as in 3I or 3E, or what it is called")
	cmd.Flags().IntVar(&q.Limit, "limit", 0, "at most so many; 0 means all")
	addOutputFlags(cmd)
	return cmd
}

// tellRepairs says on stderr what repairs have cost that nobody has dismissed.
func tellRepairs(cmd *cobra.Command, store shelfReader) error {
	open, err := store.Repairs(true)
	if err != nil {
		return err
	}
	for _, done := range open {
		fmt.Fprintf(cmd.ErrOrStderr(), "lobescribe: %s\n", done.Says())
	}
	if len(open) > 0 {
		fmt.Fprintln(cmd.ErrOrStderr(), "lobescribe: `lobescribe verify --dismiss` notes that you have read this, and it is said no more")
	}
	return nil
}

func tableTraces(w io.Writer, list []storage.Summary, own called, u measure.Unit) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(w, "no trace is stored yet: turn an engine under `lobescribe serve`, or try `lobescribe demo`")
		return err
	}
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "id\tstarted\tengine\tvalve\tseconds\treadings\tmax lift\t")
	for _, s := range list {
		maxLift, cut := "-", ""
		if s.MaxLift != nil {
			maxLift = s.MaxLift.In(u)
		}
		if s.CutShort {
			cut = "cut short"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%.0f\t%d\t%s\t%s\n", s.ID, s.Started.Local().Format("2006-01-02 15:04:05"),
			dash(s.Engine), dash(own.valve(s.Engine, s.Valve)), s.Seconds.Seconds(), s.Readings, maxLift, cut)
	}
	return t.Flush()
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

func newShow() *cobra.Command {
	var direction string
	cmd := &cobra.Command{
		Use:   "show ID",
		Short: "Findings of a stored trace",
		Long:  "Prints the findings of a stored trace; with --json the trace as GET /api/v1/traces/{id} has it.",
		Args:  cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			sign, err := parseDirection(direction)
			if err != nil {
				return err
			}
			id, head, trace, err := loadTrace(cmd, args[0])
			if err != nil {
				return err
			}
			f, err := lift.Analyse(trace, lift.Options{Sign: sign, LeaveOut: head.LeftOut, Proof: head.Proof})
			if err != nil {
				return fmt.Errorf("trace %s: %w", id, err)
			}
			summary, own, err := summaryOf(cmd, id)
			if err != nil {
				return err
			}
			v := dashboard.Trace{Summary: summary, Head: head, Findings: &f, Notes: trace.Notes,
				Agreement: live.AgreeFindings(f)}
			if v.Notes == nil {
				v.Notes = []measure.Note{} // [] and not null
			}
			return p.print(v, func(w io.Writer, u measure.Unit) error {
				fmt.Fprintf(w, "trace %s of %s, engine %s, valve %s, %d readings\n\n", id,
					head.Started.Local().Format("2006-01-02 15:04:05"), dash(head.Engine), dash(own.valve(head.Engine, head.Valve)), len(trace.Readings))
				if err := tableFindings(w, f, u); err != nil {
					return err
				}
				for _, n := range head.Noted {
					fmt.Fprintf(w, "noted at the opening at %.1f s: %s\n", n.From.Seconds(), n.Says)
				}
				return nil
			})
		},
	}
	addDirectionFlag(cmd, &direction)
	addOutputFlags(cmd)
	return cmd
}

func summaryOf(cmd *cobra.Command, id storage.ID) (storage.Summary, called, error) {
	store, err := openReader(cmd)
	if err != nil {
		return storage.Summary{}, nil, err
	}
	defer store.Close()
	sum, err := store.Summary(id)
	return sum, whatIsCalled(store), err
}

// loadTrace loads a stored trace by the number in text. Damage in a part of it
// is told on stderr, and the rest returned.
func loadTrace(cmd *cobra.Command, text string) (storage.ID, storage.Head, measure.Trace, error) {
	id, err := storage.ParseID(text)
	if err != nil {
		return 0, storage.Head{}, measure.Trace{}, wordsError{err}
	}
	store, err := openReader(cmd)
	if err != nil {
		return 0, storage.Head{}, measure.Trace{}, err
	}
	defer store.Close()
	head, trace, err := store.Load(id)
	if damage := storage.DamagesIn(err); len(damage) > 0 && len(trace.Readings) > 0 {
		for _, d := range damage {
			fmt.Fprintf(cmd.ErrOrStderr(), "lobescribe: %s; the rest follows\n", oneLine(d))
		}
		err = nil
	}
	return id, head, trace, err
}

// counting shows a count while it grows, in one line of a terminal, about once a
// second; elsewhere it shows nothing. Call end when it grows no more.
func counting(w io.Writer, what string) (show func(uint64), end func()) {
	if !isTerminal(w) {
		return func(uint64) {}, func() {}
	}
	shown, last := false, time.Now()
	show = func(n uint64) {
		if now := time.Now(); now.Sub(last) >= time.Second {
			fmt.Fprintf(w, "\r%d %s", n, what)
			shown, last = true, now
		}
	}
	return show, func() {
		if shown {
			fmt.Fprintln(w)
		}
	}
}

func newImport() *cobra.Command {
	var engine, valve string
	cmd := &cobra.Command{
		Use:   "import FILE",
		Short: "Store a trace from a CSV, JSON-lines or Parquet file",
		Long: `Stores a trace from a file of any length, and works out its findings. A file that
turns out to be wrong half way through leaves nothing in the store.

A Parquet file that export wrote also says when, on what engine and valve and
with what instruments it was recorded; that is kept, unless flags say otherwise. A
table of another program is read as analyse does.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			file, trace, err := openTraceFile(cmd, args[0])
			if err != nil {
				return err
			}
			if file != nil {
				defer file.Close()
			}
			store, err := openStore(cmd, storage.Options{})
			if err != nil {
				return err
			}
			defer store.Close()
			valve = whatIsCalled(store).named(engine, valve)
			if err := store.CheckLabel(engine, valve); err != nil {
				return wordsError{err}
			}
			head := func(about tracefile.About) storage.Head {
				h := daemon.HeadOf(about, filepath.Base(args[0]))
				h.Engine, h.Valve = cmp.Or(engine, h.Engine), cmp.Or(valve, h.Valve)
				return h
			}
			v := struct {
				ID       storage.ID `json:"id"`
				Readings uint64     `json:"readings"`
			}{Readings: uint64(len(trace.Readings))}
			if file == nil {
				v.ID, err = daemon.ImportTrace(store, trace, head(tracefile.About{}))
			} else {
				progress, end := counting(cmd.ErrOrStderr(), "readings stored")
				v.ID, v.Readings, err = daemon.ImportFile(cmd.Context(), store, file, daemon.ImportOptions{Head: head, Progress: progress})
				end()
				if err == nil {
					sayHow(cmd, file.How())
				}
				err = columnsHint(err)
			}
			if err != nil {
				return err
			}
			return p.print(v, func(w io.Writer, _ measure.Unit) error {
				_, err := fmt.Fprintf(w, "stored as trace %s, %d readings\n", v.ID, v.Readings)
				return err
			})
		},
	}
	addColumnsFlag(cmd)
	cmd.Flags().StringVar(&engine, "engine", "", "the engine it belongs to")
	cmd.Flags().StringVar(&valve, "valve", "", "the valve it belongs to, as in 3I or 3E, or what it is called")
	addJSONFlag(cmd)
	return cmd
}
