package main

import (
	"errors"
	"fmt"
	"io"
	"iter"
	"math"

	"github.com/spf13/cobra"

	"lobescribe/device/measure"
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
	case *storage.Store:
		return exportTrace(r, id, f, w, func(damage error) {
			fmt.Fprintf(cmd.ErrOrStderr(), "lobescribe: %s; the rest follows\n", oneLine(damage))
		})
	}
	return fmt.Errorf("exporting from a %T is not possible", reader)
}

// traceStream is what an export reads: the store.
type traceStream interface {
	Head(storage.ID) (storage.Head, error)
	Notes(storage.ID) ([]measure.Note, error)
	Readings(id storage.ID, from, until measure.Stamp) iter.Seq2[[]measure.Reading, error]
}

// survey is what must be known of a trace before its first reading is written.
type survey struct {
	readings        int
	angle, numbered bool
	until           measure.Stamp // the last reading; a trace in the making goes on growing
	damage          []error
}

// look goes through a trace once, batch by batch.
func look(s traceStream, id storage.ID) (survey, error) {
	var v survey
	var sameTime measure.Has
	for batch, err := range s.Readings(id, math.MinInt64, math.MaxInt64) {
		if err != nil {
			if len(storage.DamagesIn(err)) == 0 {
				return v, err
			}
			v.damage = append(v.damage, err)
			continue
		}
		for _, r := range batch {
			v.angle = v.angle || r.Has&measure.HasAngle != 0
			if v.readings > 0 && r.At == v.until {
				v.numbered = v.numbered || r.Has&sameTime != 0
			} else {
				sameTime = 0
			}
			sameTime |= r.Has
			v.readings, v.until = v.readings+1, r.At
		}
	}
	return v, nil
}

// exportTrace writes a trace in bounded memory, however long it is. Damage is
// told to told, and the rest written; without told it is an error, found before
// anything was written.
func exportTrace(s traceStream, id storage.ID, f tracefile.Format, w io.Writer, told func(error)) error {
	head, err := s.Head(id)
	if err != nil && len(storage.DamagesIn(err)) == 0 {
		return err
	}
	damage := err
	v, err := look(s, id)
	if err != nil {
		return err
	}
	notes, err := s.Notes(id)
	if err != nil && len(storage.DamagesIn(err)) == 0 {
		return err
	}
	damage = errors.Join(append([]error{damage, err}, v.damage...)...)
	if damage != nil && (told == nil || v.readings == 0) {
		return damage
	}
	for _, d := range storage.DamagesIn(damage) {
		told(d)
	}
	tw := tracefile.NewWriter(w, tracefile.WriterOptions{Format: f, Angle: v.angle, Numbered: v.numbered, Notes: notes,
		Resolution: head.Resolution, AngleStep: head.AngleStep, About: aboutOf(head)})
	for batch, err := range s.Readings(id, math.MinInt64, v.until) {
		if err != nil && len(storage.DamagesIn(err)) == 0 {
			return err
		}
		if err := tw.Write(batch); err != nil {
			return err
		}
	}
	return tw.Close()
}

// aboutOf is what a file says of a trace.
func aboutOf(h storage.Head) tracefile.About {
	a := tracefile.About{Started: h.Started, Engine: h.Engine, Valve: h.Valve, Trial: h.Trial, Remark: h.Remark, Source: h.Source, CutShort: h.CutShort}
	for _, d := range h.Devices {
		a.Devices = append(a.Devices, tracefile.Instrument(d))
	}
	return a
}

// headOf is the head of a trace that comes from a file: what the file says of
// itself. A trial is one of the store it came from and means nothing here.
func headOf(a tracefile.About, name string) storage.Head {
	h := storage.Head{Started: a.Started, Engine: a.Engine, Valve: a.Valve, Remark: a.Remark, Source: "import:" + name}
	for _, d := range a.Devices {
		h.Devices = append(h.Devices, storage.DeviceNote(d))
	}
	return h
}
