package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/device/measure"
	"lobescribe/storage"
)

func newRestore() *cobra.Command {
	var overwrite bool
	cmd := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a backup back as the store",
		Long: `Puts a backup back as the store of the data folder. The backup is checked first, and
one that is damaged is refused. With --overwrite a store that is there already is
kept beside it under another name; the daemon must not run.`,
		Example: `  lobescribe restore bench-2026-03-01.db
  lobescribe restore bench-2026-03-01.db --overwrite`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			dir, err := dataFolder(cmd)
			if err != nil {
				return err
			}
			v := struct {
				Store  string `json:"store"`
				Traces int    `json:"traces"`
				// Kept is where the store is that was there before; "" for none.
				Kept string `json:"kept,omitempty"`
			}{Store: filepath.Join(dir, storeFile)}
			if v.Traces, v.Kept, err = restore(cmd, args[0], v.Store, overwrite); err != nil {
				return err
			}
			return p.print(v, func(w io.Writer, _ measure.Unit) error {
				fmt.Fprintf(w, "%s holds the backup now: %d traces\n", v.Store, v.Traces)
				if v.Kept != "" {
					fmt.Fprintf(w, "the store that was there is kept as %s\n", v.Kept)
				}
				return nil
			})
		},
	}
	cmd.Flags().BoolVar(&overwrite, "overwrite", false, "also when there is a store already, which is kept under another name")
	addJSONFlag(cmd)
	return cmd
}

// restore puts the backup of a file in a store's place; kept is where the one went
// that was there.
func restore(cmd *cobra.Command, backup, place string, overwrite bool) (traces int, kept string, err error) {
	if _, err := os.Stat(backup); err != nil {
		return 0, "", fmt.Errorf("nothing to restore: there is no %s", backup)
	}
	report, _, err := check(cmd, backup, false)
	if err != nil {
		return 0, "", err
	}
	if !report.Whole() {
		return 0, "", fmt.Errorf("%s is damaged: restore another, or make it whole with `lobescribe verify --repair %s`", backup, backup)
	}
	if _, err := os.Lstat(place); err == nil {
		if !overwrite {
			return 0, "", fmt.Errorf("there is a store already, %s: --overwrite puts the backup in its place and keeps it under another name", place)
		}
		switch there, err := storage.Open(place, storage.Options{Log: logger(cmd)}); {
		case errors.Is(err, storage.ErrInUse):
			return 0, "", fmt.Errorf("%s is in use: stop the daemon first", place)
		case err == nil:
			if err := there.Close(); err != nil {
				return 0, "", err
			}
		} // one that does not open is put aside all the same
		if sameFile(backup, place) {
			return 0, "", fmt.Errorf("%s is the store itself: name a backup of it", backup)
		}
		kept = place + time.Now().Format(".before-20060102-150405")
		for n := 2; ; n++ { // two in one second
			if _, err := os.Lstat(kept); err != nil {
				break
			}
			kept = fmt.Sprintf("%s%s-%d", place, time.Now().Format(".before-20060102-150405"), n)
		}
	}
	if err := os.MkdirAll(filepath.Dir(place), 0o700); err != nil {
		return 0, "", plain(err, filepath.Dir(place))
	}
	from, err := os.Open(backup)
	if err != nil {
		return 0, "", plain(err, filepath.Dir(backup))
	}
	defer from.Close()
	// Beside the store first: what is there stays until the copy is whole.
	copied := place + ".restoring"
	defer os.Remove(copied)
	if err := replaceWhole(copied, func(w io.Writer) error { _, err := io.Copy(w, from); return err }); err != nil {
		return 0, "", err
	}
	if kept != "" {
		if err := os.Link(place, kept); err != nil {
			return 0, "", fmt.Errorf("keeping %s as %s: %w", place, kept, plain(err, filepath.Dir(place)))
		}
	}
	if err := os.Rename(copied, place); err != nil {
		return 0, "", plain(err, filepath.Dir(place))
	}
	return int(report.Traces), kept, os.Chmod(place, 0o600)
}
