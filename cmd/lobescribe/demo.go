package main

import (
	"path/filepath"

	"github.com/spf13/cobra"

	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
)

func newDemo() *cobra.Command {
	var f serveFlags
	var sim simulateFlags
	var empty bool
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Simulator, daemon and page in one command, without hardware",
		Long: `Plays an invented engine out of a pseudo-terminal into the real daemon and serves
its page. The engine is half done: six of eight valves were turned before, by the
same simulator. What it records goes to a store of its own, in the folder "demo" of the
data folder, unless --data names another. --empty begins with an engine that nobody
has touched. With --trouble something goes wrong, to see
what it looks like and what is said of it: --trouble list names what.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			if listed, err := sim.listed(p); listed {
				return err
			}
			if !cmd.Flags().Changed("data") {
				dir, err := dataFolder(cmd)
				if err != nil {
					return err
				}
				if err := cmd.Flags().Set("data", filepath.Join(dir, "demo")); err != nil {
					return err
				}
			}
			if sim.speed <= 0 {
				return wrongWords("--speed must be above zero, not %v", sim.speed)
			}
			// Nobody watches a demo rest for the twenty seconds that end a
			// trace, so both rests are short here.
			sim.rest = 14 * measure.Second
			f.rest = measure.Stamp(float64(5*measure.Second) / sim.speed)
			f.sim = &sim
			var first *simulator.Bench // the one that the work so far was done on
			var store *storage.Store
			sim.made = func(b *simulator.Bench) (*simulator.Bench, error) {
				if first != nil {
					b, first = first, nil
				} else if err := windOn(b); err != nil {
					return nil, err
				}
				set, err := store.Bench()
				if i, ok := muleValve(set.Valve); ok && !cmd.Flags().Changed("valve") {
					b.MoveTo(i)
				}
				return b, err
			}
			return f.run(cmd, daemon.SourceDemo, func(d *daemon.Daemon, s *storage.Store) error {
				store = s
				fresh, err := setUpDemo(store, empty)
				if err != nil {
					return err
				}
				if fresh && !empty {
					if first, err = sim.worked(cmd, store); err != nil {
						return err
					}
				}
				if _, err := d.Resume(); err != nil {
					return err
				}
				return d.Simulate(cmd.Context(), true)
			})
		},
	}
	f.add(cmd)
	sim.add(cmd)
	cmd.Flags().BoolVar(&empty, "empty", false, "begin with an engine of which nothing is recorded")
	addJSONFlag(cmd)
	return cmd
}

// worked returns a bench on which the work of the demo was done, into the store.
func (f *simulateFlags) worked(cmd *cobra.Command, store *storage.Store) (*simulator.Bench, error) {
	bench, _, err := f.bench()
	if err != nil {
		return nil, wordsError{err}
	}
	o, err := deviceOptions(cmd)
	if err != nil {
		return nil, err
	}
	return bench, tellStory(cmd.Context(), store, bench, o)
}
