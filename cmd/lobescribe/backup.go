package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func newBackup() *cobra.Command {
	var overwrite bool
	cmd := &cobra.Command{
		Use:   "backup FILE",
		Short: "A whole and consistent copy of the store in one file",
		Args:  cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			n, err := backUp(cmd, args[0], overwrite)
			if err != nil {
				return err
			}
			v := struct {
				File  string `json:"file"`
				Bytes int64  `json:"bytes"`
			}{args[0], n}
			return p.print(v, func(w io.Writer, _ measure.Unit) error {
				_, err := fmt.Fprintf(w, "%s: %d bytes\n", v.File, v.Bytes)
				return err
			})
		},
	}
	cmd.Flags().BoolVar(&overwrite, "overwrite", false, "replace FILE if it is there")
	addJSONFlag(cmd)
	return cmd
}

// backUp copies the store, or has the daemon copy it that has it open.
func backUp(cmd *cobra.Command, name string, overwrite bool) (int64, error) {
	store, err := openStore(cmd, storage.Options{ReadOnly: true})
	if err == nil {
		defer store.Close()
		n, err := store.BackupFile(cmd.Context(), name, overwrite)
		if errors.Is(err, storage.ErrExists) {
			return 0, errThere(name)
		}
		return n, err
	}
	daemon, answers := (*remote)(nil), false
	if errors.Is(err, storage.ErrInUse) {
		daemon, answers = askDaemon(cmd)
	}
	if !answers {
		return 0, err
	}
	if _, err := os.Lstat(name); err == nil && !overwrite {
		return 0, errThere(name)
	}
	// The daemon goes on writing into the file that was there.
	if dir, err := dataFolder(cmd); err == nil && sameFile(name, filepath.Join(dir, storeFile)) {
		return 0, fmt.Errorf("backing up: %s is the store itself; name another file", name)
	}
	var n int64
	err = replaceWhole(name, func(w io.Writer) error {
		daemon.http.Timeout = 0 // a large store takes its time; the daemon has a limit
		body, err := daemon.get("backup")
		if err != nil {
			return err
		}
		defer body.Close()
		n, err = io.Copy(w, body)
		return err
	})
	return n, err
}

// sameFile says whether two names are of one file.
func sameFile(a, b string) bool {
	one, err := os.Stat(a)
	two, failed := os.Stat(b)
	return err == nil && failed == nil && os.SameFile(one, two)
}

func errThere(name string) error {
	return fmt.Errorf("%s is there already: name another file, or replace it with --overwrite", name)
}

func newVerify() *cobra.Command {
	var repair, dismiss bool
	cmd := &cobra.Command{
		Use:   "verify [FILE]",
		Short: "Check every page and checksum of the store, or of a backup",
		Args:  cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			name := ""
			if len(args) == 1 {
				name = args[0]
				if dismiss {
					return wrongWords("--dismiss is about the store itself: leave the file out")
				}
			} else {
				dir, err := dataFolder(cmd)
				if err != nil {
					return err
				}
				name = filepath.Join(dir, storeFile)
			}
			if _, err := os.Stat(name); err != nil {
				return fmt.Errorf("nothing to verify: there is no %s", name)
			}
			if dismiss {
				return dismissRepairs(cmd, p)
			}
			report, aside, err := check(cmd, name, repair)
			if err != nil {
				return err
			}
			if err := p.print(report, func(w io.Writer, _ measure.Unit) error {
				_, err := fmt.Fprintln(w, report)
				return err
			}); err != nil {
				return err
			}
			switch {
			case aside != "":
				fmt.Fprintf(cmd.ErrOrStderr(), "%s is whole again with all that still read; the damaged file stays as %s\n", name, aside)
			case !report.Whole():
				return fmt.Errorf("%s is damaged; everything not listed still reads; `lobescribe verify --repair` makes it whole and keeps the damaged file", name)
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&repair, "repair", false, "make a damaged store whole with all that still reads; the damaged file is kept beside it")
	cmd.Flags().BoolVar(&dismiss, "dismiss", false, "note that what repairs have cost was read, so that it is said no more; the records stay")
	addJSONFlag(cmd)
	return cmd
}

// dismissRepairs dismisses the records of all repairs, which it prints, also
// beside a daemon that has the store.
func dismissRepairs(cmd *cobra.Command, p printer) error {
	var store interface {
		Repairs(open bool) ([]storage.Repaired, error)
		DismissRepair(id string, at time.Time) error
		Close() error
	}
	own, err := openStore(cmd, storage.Options{})
	store = own
	if errors.Is(err, storage.ErrInUse) {
		if r, ok := askDaemon(cmd); ok {
			store, err = r, nil
		}
	}
	if err != nil {
		return err
	}
	defer store.Close()
	open, err := store.Repairs(true)
	if err != nil {
		return err
	}
	for _, done := range open {
		if err := store.DismissRepair(done.ID, time.Now()); err != nil {
			return err
		}
	}
	return p.print(open, func(w io.Writer, _ measure.Unit) error {
		for _, done := range open {
			fmt.Fprintf(w, "dismissed: %s\n", done.Says())
		}
		if len(open) == 0 {
			fmt.Fprintln(w, "there is nothing to dismiss")
		}
		return nil
	})
}

// check verifies the store in a file, or repairs it; aside is where the damaged
// file was put.
func check(cmd *cobra.Command, name string, repair bool) (report storage.Report, aside string, err error) {
	if repair {
		report, aside, err = storage.Repair(cmd.Context(), name, storage.Options{Log: logger(cmd)})
		if err == nil && aside != "" {
			err = findAgain(cmd, name)
		}
		return report, aside, err
	}
	store, err := storage.Open(name, storage.Options{ReadOnly: true, Log: logger(cmd)})
	if err != nil {
		return report, "", err
	}
	defer store.Close()
	report, err = store.Verify(cmd.Context())
	return report, "", err
}

// findAgain works out what is left of traces after a repair, for the lists.
func findAgain(cmd *cobra.Command, name string) error {
	store, err := storage.Open(name, storage.Options{Log: logger(cmd)})
	if err != nil {
		return err
	}
	repairs, err := store.Repairs(true)
	if err == nil {
		if err := daemon.FindAgain(cmd.Context(), store, repairs); err != nil { // one without a lift, say
			logger(cmd).Warn("no findings of what the repair left", "error", err)
		}
	}
	return errors.Join(err, store.Close())
}
