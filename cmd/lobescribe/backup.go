package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

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
			store, err := openStore(cmd, storage.Options{ReadOnly: true})
			if err != nil {
				return err
			}
			defer store.Close()
			n, err := store.BackupFile(cmd.Context(), args[0], overwrite)
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
	addOutputFlags(cmd)
	return cmd
}

func newVerify() *cobra.Command {
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
			} else {
				dir, err := dataFolder(cmd)
				if err != nil {
					return err
				}
				name = filepath.Join(dir, storeFile)
			}
			if _, err := os.Stat(name); err != nil {
				return fmt.Errorf("nothing to verify: %w", err)
			}
			store, err := storage.Open(name, storage.Options{ReadOnly: true, Log: logger(cmd)})
			if err != nil {
				return err
			}
			defer store.Close()
			report, err := store.Verify(cmd.Context())
			if err != nil {
				return err
			}
			if err := p.print(report, func(w io.Writer, _ measure.Unit) error {
				_, err := fmt.Fprintln(w, report)
				return err
			}); err != nil {
				return err
			}
			if !report.Whole() {
				return fmt.Errorf("%s is damaged; the list above says what still reads (export it, then start a new store)", name)
			}
			return nil
		},
	}
	addOutputFlags(cmd)
	return cmd
}
