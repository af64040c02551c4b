package main

import (
	"path/filepath"

	"github.com/spf13/cobra"

	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func newDemo() *cobra.Command {
	var f serveFlags
	var sim simulateFlags
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Simulator, daemon and page in one command, without hardware",
		Long: `Plays an invented engine out of a pseudo-terminal into the real daemon and serves
its page. What it records goes to a store of its own, in the folder "demo" of the
data folder, unless --data names another. With --trouble something goes wrong, to see
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
			sim.rest = 7 * measure.Second
			f.rest = measure.Stamp(float64(5*measure.Second) / sim.speed)
			f.sim = &sim
			return f.run(cmd, daemon.SourceDemo, func(d *daemon.Daemon, store *storage.Store) error {
				if err := setUpDemo(store); err != nil {
					return err
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
	addJSONFlag(cmd)
	return cmd
}
