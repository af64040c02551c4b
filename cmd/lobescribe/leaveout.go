package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func newLeaveOut() *cobra.Command {
	var why string
	var back bool
	cmd := &cobra.Command{
		Use:   "leave-out TRACE OPENING",
		Short: "Leave an opening of a stored trace out of all figures, with the reason, or undo that",
		Long: `Leave an opening of a stored trace out of all figures, with the reason. OPENING
is its number in the order in which the trace was turned, struck ones counted.
The readings stay; the findings are worked out again. With --back it counts again.
While a daemon has the store, do it on the page.`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			id, err := storage.ParseID(args[0])
			if err != nil {
				return wrongWords("%v", err)
			}
			n, err := strconv.Atoi(args[1])
			if err != nil || n < 1 {
				return wrongWords("OPENING is its number, from 1 on, not %q", args[1])
			}
			if why == "" && !back {
				return wrongWords("say why with --why, as in --why \"touched the indicator\"")
			}
			store, err := openStore(cmd, storage.Options{})
			if err != nil {
				return err
			}
			defer store.Close()
			f, err := leaveOut(store, id, n, why, back)
			if err != nil {
				return err
			}
			return p.print(f, func(w io.Writer, u measure.Unit) error { return tableFindings(w, f, u) })
		},
	}
	cmd.Flags().StringVar(&why, "why", "", "the reason, as it will stand on the sheet")
	cmd.Flags().BoolVar(&back, "back", false, "undo: the opening counts again")
	addOutputFlags(cmd)
	return cmd
}

// leaveOut strikes the nth opening of a trace, or takes it back, and works the
// trace out again.
func leaveOut(store *storage.Store, id storage.ID, n int, why string, back bool) (lift.Findings, error) {
	h, t, err := store.Load(id)
	if err != nil {
		return lift.Findings{}, err
	}
	whole, err := lift.Analyse(t, lift.Options{})
	if err != nil {
		return whole, err
	}
	if n > len(whole.Openings) {
		return whole, fmt.Errorf("trace %s has %d whole openings: there is no %d", id, len(whole.Openings), n)
	}
	o := whole.Openings[n-1]
	list := slices.DeleteFunc(slices.Clone(h.LeftOut), func(l lift.LeftOut) bool { return l.From <= o.Nose && o.Nose <= l.Until })
	if back && len(list) == len(h.LeftOut) {
		return whole, fmt.Errorf("opening %d of trace %s was not left out", n, id)
	}
	if !back {
		list = append(list, lift.LeftOut{From: o.Open, Until: o.Close, Why: why})
	}
	if err := store.Amend(id, func(h *storage.Head) { h.LeftOut = list }); err != nil {
		return whole, err
	}
	f, err := lift.Analyse(t, lift.Options{LeaveOut: list})
	if err != nil {
		return f, err
	}
	return f, store.PutFindings(id, f)
}
