package main

import (
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/storage"
	"lobescribe/storage/tracefile"
)

func newExport() *cobra.Command {
	var out, format string
	cmd := &cobra.Command{
		Use:   "export ID [-o FILE]",
		Short: "Write a stored trace as CSV, JSON lines or Parquet",
		Long: `Writes a stored trace to a file that any program can read.

The format is told by the file's ending (.csv, .jsonl or .parquet) or --format.
CSV has the readings; JSON lines also the notes and the instruments' steps;
Parquet all of that, in whole nanometres, microdegrees and microseconds with the
units in its metadata, and when, on what and with what the trace was recorded.`,
		Example: `  lobescribe export 12 -o turn.csv
  lobescribe export 12 -o turn.parquet`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := exportFormat(format, out)
			if err != nil {
				return err
			}
			id, err := storage.ParseID(args[0])
			if err != nil {
				return wordsError{err}
			}
			write := func(w io.Writer) error { return exportStored(cmd, id, f, w) }
			if out == "" || out == "-" {
				return write(cmd.OutOrStdout())
			}
			return writeBeside(out, write)
		},
	}
	cmd.Flags().StringVarP(&out, "out", "o", "", "file to write; default: standard output")
	cmd.Flags().StringVar(&format, "format", "", "csv, jsonl or parquet; default: by the file's ending, or csv")
	return cmd
}

// exportFormat is what --format names, or else the file's ending.
func exportFormat(format, out string) (tracefile.Format, error) {
	if format != "" {
		f, err := tracefile.ParseFormat(format)
		if err != nil {
			return f, wordsError{err}
		}
		return f, nil
	}
	if f := tracefile.FormatOf(out); f != tracefile.Found {
		return f, nil
	}
	if ending := filepath.Ext(out); ending != "" && out != "-" {
		return tracefile.Found, wrongWords("--out %s: %s is the ending of no format that is written: use .csv, .jsonl or .parquet, or say --format", out, ending)
	}
	return tracefile.CSV, nil
}

// exportStored writes a trace of the store, or has the daemon write it that has
// the store open. Damage in a part of it is told on stderr, and the rest
// written.
func exportStored(cmd *cobra.Command, id storage.ID, f tracefile.Format, w io.Writer) error {
	reader, err := openReader(cmd)
	if err != nil {
		return err
	}
	defer reader.Close()
	switch r := reader.(type) {
	case *remote:
		body, err := r.get("traces/" + id.String() + "/export?format=" + f.String())
		if err != nil {
			return err
		}
		defer body.Close()
		_, err = io.Copy(w, body)
		return err
	case local:
		return daemon.ExportTrace(r.Store, id, w, daemon.ExportOptions{Format: f, Damage: func(damage error) {
			fmt.Fprintf(cmd.ErrOrStderr(), "lobescribe: %s; the rest follows\n", oneLine(damage))
		}})
	}
	return fmt.Errorf("exporting from a %T is not possible", reader)
}
