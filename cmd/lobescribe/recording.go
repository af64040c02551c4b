package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/lift"
	"lobescribe/device/address"
	"lobescribe/device/bytelog"
	"lobescribe/device/measure"
	"lobescribe/device/recorded"
	"lobescribe/storage/tracefile"
)

// recordingBegins is what tells a recording of raw bytes from a trace.
const recordingBegins = "lobescribe bytes"

// addColumnsFlag adds --columns to a command that reads trace files.
func addColumnsFlag(cmd *cobra.Command) {
	cmd.Flags().String("columns", "", `which column of a table is what, where its header does not say: time=1:s,lift=3:in,angle="Crank angle"; or lift=2:mm,rate=50 for rows without times`)
}

// fileOptions reads the flag of addColumnsFlag, on commands that have it.
func fileOptions(cmd *cobra.Command) (o tracefile.Options, err error) {
	text, _ := cmd.Flags().GetString("columns")
	if o.Columns, err = tracefile.ParseChoice(text); err != nil {
		return o, wordsError{fmt.Errorf("--%w", err)}
	}
	return o, nil
}

// columnsHint adds to a refusal of a table how its columns can be said.
func columnsHint(err error) error {
	var f *tracefile.Fault
	if errors.As(err, &f) && f.Table != nil {
		return fmt.Errorf("%w; or say which column is what, as in --columns time=1:s,lift=2:mm", err)
	}
	return err
}

// sayHow says on stderr how a table of another program was read.
func sayHow(cmd *cobra.Command, how string) {
	if how != "" {
		fmt.Fprintf(cmd.ErrOrStderr(), "lobescribe: %s\n", how)
	}
}

// readTraceFile reads a trace from a file, or from standard input for "-". A
// recording of raw bytes, as listen --raw writes it, is decoded.
func readTraceFile(cmd *cobra.Command, name string) (measure.Trace, tracefile.About, error) {
	file, t, err := openTraceFile(cmd, name)
	if err != nil || file == nil {
		return t, tracefile.About{}, err
	}
	t, about, err := file.Whole()
	if err == nil {
		sayHow(cmd, file.How())
	}
	return t, about, columnsHint(err)
}

// openTraceFile is readTraceFile for traces that may be longer than memory. Of a
// recording it returns no file, but the trace.
func openTraceFile(cmd *cobra.Command, name string) (*tracefile.Reader, measure.Trace, error) {
	o, err := fileOptions(cmd)
	if err != nil {
		return nil, measure.Trace{}, err
	}
	in, once := cmd.InOrStdin(), name == "-" || piped(name)
	if name != "-" {
		f, err := openPatiently(cmd.Context(), name)
		if context.Cause(cmd.Context()) != nil && err != nil {
			return nil, measure.Trace{}, err
		}
		if err != nil {
			file, err := tracefile.OpenFile(name, o) // which says what to do
			return file, measure.Trace{}, err
		}
		defer func() {
			if !once {
				f.Close()
			}
		}()
		in = f
	}
	if once {
		in = patient{cmd.Context(), in}
	}
	head := bufio.NewReader(in)
	if b, _ := head.Peek(len(recordingBegins)); string(b) == recordingBegins {
		t, err := decodeRecording(cmd, head)
		if err != nil && name != "-" {
			err = fmt.Errorf("%s: %w", name, err)
		}
		return nil, t, err
	}
	var file *tracefile.Reader
	if once {
		if file, err = tracefile.NewReader(head, o); err != nil && name != "-" {
			err = fmt.Errorf("%s: %w", name, err)
		}
	} else {
		file, err = tracefile.OpenFile(name, o)
	}
	return file, measure.Trace{}, columnsHint(err)
}

// decodeRecording makes a trace of a recording of raw bytes. It is decoded as
// its address says, which listen --raw wrote into its head.
func decodeRecording(cmd *cobra.Command, in io.Reader) (measure.Trace, error) {
	text, err := readAtMost(in, mostRecording)
	if err != nil {
		return measure.Trace{}, fmt.Errorf("read a recording: %w", err)
	}
	o, err := deviceOptions(cmd)
	if err != nil {
		return measure.Trace{}, err
	}
	r, err := bytelog.NewReader(bytes.NewReader(text))
	if err != nil {
		return measure.Trace{}, err
	}
	t, err := recorded.Trace(r, recordedAddress(text), o)
	if err == nil && len(t.Readings) == 0 {
		return t, fmt.Errorf("no reading was found in the recording: %w. Put the address that it was recorded from, with its format= and unit=, behind # in its second line", lift.ErrNoLift)
	}
	return t, err
}

// recordedAddress returns the address that stands in the remarks at the head of
// a recording; where there is none, that of a device whose format is found by
// listening.
func recordedAddress(text []byte) address.Address {
	first := true
	for line := range strings.Lines(string(text[:min(len(text), bytelog.MaxLine)])) {
		remark, ok := strings.CutPrefix(line, "#")
		if !ok && !first {
			break
		}
		first = false
		if a, err := address.Parse(strings.TrimSpace(remark)); ok && err == nil {
			return a
		}
	}
	return address.Address{}
}
