package main

import (
	"fmt"
	"io"
	"net/url"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/dashboard/sheet"
	"lobescribe/device/measure"
)

func newSheet() *cobra.Command {
	var out, unit string
	cmd := &cobra.Command{
		Use:   "sheet ENGINE -o FILE.html",
		Short: "The build sheet of an engine, one self-contained file: a page, or a PDF",
		Long: `Writes the build sheet of an engine: one page that stands by itself, to be saved,
sent, printed and signed. A name that ends in .pdf prints it, for which a browser
(Chromium, Chrome or Edge) must be on this machine.`,
		Example: `  lobescribe sheet v8 -o sheet.html
  lobescribe sheet v8 -o sheet.pdf --unit mm`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			o := sheet.Options{Version: version}
			if unit != "" {
				u, err := measure.ParseUnit(unit)
				if err != nil {
					return wordsError{fmt.Errorf("--unit: %w", err)}
				}
				o.Units = u
			}
			ending := strings.ToLower(filepath.Ext(out))
			if !slices.Contains([]string{"", ".html", ".htm", ".pdf"}, ending) && !piped(out) {
				return wrongWords("--out %s: a sheet is a page or a PDF: let the name end in .html or .pdf", out)
			}
			reader, err := openReader(cmd)
			if err != nil {
				return err
			}
			defer reader.Close()
			write, err := sheetOf(reader, args[0], o)
			if err != nil {
				return err
			}
			if out == "" || out == "-" {
				return write(cmd.OutOrStdout())
			}
			if ending == ".pdf" {
				return writePDF(cmd.Context(), out, write)
			}
			return writeBeside(out, write)
		},
	}
	cmd.Flags().StringVarP(&out, "out", "o", "", "file to write, .html or .pdf; default: standard output")
	cmd.Flags().StringVar(&unit, "unit", "", "in or mm; default: the engine's own")
	return cmd
}

// sheetOf gathers the sheet of an engine from the store, or has it from the daemon
// that has the store open; what comes back writes it.
func sheetOf(reader shelfReader, engine string, o sheet.Options) (func(io.Writer) error, error) {
	if err := reader.CheckLabel(engine, ""); err != nil {
		return nil, wordsError{err}
	}
	switch r := reader.(type) {
	case *remote:
		path := "engines/" + url.PathEscape(engine) + "/sheet"
		if o.Units != measure.NoUnit {
			path += "?units=" + o.Units.String()
		}
		body, err := r.get(path)
		if err != nil {
			return nil, err
		}
		defer body.Close()
		text, err := io.ReadAll(io.LimitReader(body, 64<<20))
		if err != nil {
			return nil, fmt.Errorf("reading the daemon's answer: %w", err)
		}
		return func(w io.Writer) error { _, err := w.Write(text); return err }, nil
	case local:
		d, err := sheet.Gather(r.Store, engine, o)
		if err != nil {
			return nil, err
		}
		return func(w io.Writer) error { return sheet.Write(w, d) }, nil
	}
	return nil, fmt.Errorf("a sheet of a %T is not possible", reader)
}
