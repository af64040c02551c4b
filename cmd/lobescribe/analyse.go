package main

import (
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"lobescribe/capture/lift"
	"lobescribe/capture/sift"
	"lobescribe/device/measure"
	"lobescribe/storage/tracefile"
)

func newAnalyse() *cobra.Command {
	var direction, proof string
	cmd := &cobra.Command{
		Use:     "analyse FILE",
		Aliases: []string{"analyze"},
		Short:   "Findings of a CSV, JSON-lines or Parquet trace, or of recorded bytes",
		Long: `Works out max lift, half lift and the set-up's faults of a trace in a file.

The file is CSV with a header row (t_s,lift_mm and optionally angle_deg), JSON
lines with the same names, or Parquet with columns of these names or t_us,
lift_nm and angle_udeg; or a recording of raw bytes that listen --raw wrote. "-"
reads standard input. A table of another program, with semicolons, decimal commas,
names like "Time (s)", inches, dates as times, or angles and lifts off a degree wheel,
is read as well, and stderr says in one line how; --columns says what its header
leaves open.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			sign, err := parseDirection(direction)
			if err != nil {
				return err
			}
			known, err := readProof(proof)
			if err != nil {
				return err
			}
			f, err := analyseFile(cmd, args[0], lift.Options{Sign: sign, Proof: known})
			if err != nil {
				return err
			}
			return p.print(f, func(w io.Writer, u measure.Unit) error { return tableFindings(w, f, u) })
		},
	}
	addColumnsFlag(cmd)
	addProofFlag(cmd, &proof)
	addDirectionFlag(cmd, &direction)
	addOutputFlags(cmd)
	return cmd
}

// analyseFile returns the findings of a trace in a file, or on standard input
// for "-".
func analyseFile(cmd *cobra.Command, name string, o lift.Options) (lift.Findings, error) {
	file, err := fileOptions(cmd)
	if err != nil {
		return lift.Findings{}, err
	}
	if name != "-" && !piped(name) {
		if r, err := tracefile.OpenFile(name, file); err == nil {
			var angles sift.Wraps
			f, err := analyseReader(r, o, &angles)
			if err == nil {
				sayHow(cmd, howRead(r.How(), angles))
			}
			return f, columnsHint(err)
		} // it may be a recording, and what else is wrong is told below
	}
	trace, _, err := readTraceFile(cmd, name)
	if err != nil {
		return lift.Findings{}, err
	}
	var angles sift.Wraps
	angles.Add(trace.Readings)
	sayHow(cmd, howRead("", angles))
	return lift.Analyse(trace, o)
}

// howRead is how a file was read, with what was made of its angles, in one line.
func howRead(how string, angles sift.Wraps) string {
	if !angles.Again() {
		return how
	}
	if how != "" {
		how += "; "
	}
	times := "once"
	if angles.Count > 1 {
		times = fmt.Sprintf("%d times", angles.Count)
	}
	return how + "the crank angle starts again after a turn, " + times + ", and was counted on"
}

// analyseReader returns the findings of a file, and closes it. CSV and Parquet are
// analysed while they are read, and may be longer than memory; the notes of JSON
// lines may stand anywhere.
func analyseReader(r *tracefile.Reader, o lift.Options, angles *sift.Wraps) (lift.Findings, error) {
	if r.Format() != tracefile.JSONLines {
		f, err := analysePieces(r, o, angles)
		return f, errors.Join(err, r.Close())
	}
	trace, _, err := r.Whole()
	if err != nil {
		return lift.Findings{}, err
	}
	angles.Add(trace.Readings)
	return lift.Analyse(trace, o)
}

// piece is a part of a trace that was read, or why there is no more.
type piece struct {
	readings []measure.Reading
	notes    []measure.Note
	err      error
}

// analysePieces reads in one goroutine and analyses in another, which takes three times
// as long: whatever can be done beside it is done by the first.
func analysePieces(r *tracefile.Reader, o lift.Options, angles *sift.Wraps) (lift.Findings, error) {
	const ahead = 4
	o.Resolution = r.Resolution()
	read, used := make(chan piece, ahead), make(chan []measure.Reading, ahead+2)
	go func() {
		defer close(read)
		told := 0
		for {
			batch, err := r.Next()
			if err != nil {
				read <- piece{err: err}
				return
			}
			var room []measure.Reading
			select {
			case room = <-used:
			default:
			}
			angles.Add(batch)
			read <- piece{readings: append(room[:0], batch...), notes: slices.Clone(r.Notes()[told:])}
			told = len(r.Notes())
		}
	}()
	a := lift.NewAnalysis(o)
	for p := range read {
		if p.err == io.EOF {
			break
		}
		if p.err != nil {
			return lift.Findings{}, p.err
		}
		a.Add(p.readings, p.notes)
		used <- p.readings
	}
	return a.Findings()
}

func addDirectionFlag(cmd *cobra.Command, to *string) {
	cmd.Flags().StringVar(to, "direction", "auto", "how the indicator's reading runs as the valve opens: auto, up or down")
}

func parseDirection(text string) (int, error) {
	switch text {
	case "auto":
		return 0, nil
	case "up":
		return +1, nil
	case "down":
		return -1, nil
	}
	return 0, wrongWords("--direction %q is not known: write auto, up or down", text)
}
