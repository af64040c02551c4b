package main

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/lift"
	"lobescribe/device"
	"lobescribe/device/bytelog"
	"lobescribe/device/measure"
	"lobescribe/storage/tracefile"
)

// recordingBegins is what tells a recording of raw bytes from a trace.
const recordingBegins = "lobescribe bytes"

// readTraceFile reads a trace from a file, or from standard input for "-". A
// recording of raw bytes, as listen --raw writes it, is decoded.
func readTraceFile(cmd *cobra.Command, name string) (measure.Trace, tracefile.About, error) {
	file, t, err := openTraceFile(cmd, name)
	if err != nil || file == nil {
		return t, tracefile.About{}, err
	}
	return file.Whole()
}

// openTraceFile is readTraceFile for traces that may be longer than memory. Of a
// recording it returns no file, but the trace.
func openTraceFile(cmd *cobra.Command, name string) (*tracefile.Reader, measure.Trace, error) {
	in := cmd.InOrStdin()
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			file, err := tracefile.OpenFile(name) // which says what to do
			return file, measure.Trace{}, err
		}
		defer f.Close()
		in = f
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
	var err error
	if name == "-" {
		file, err = tracefile.NewReader(head, tracefile.Options{})
	} else {
		file, err = tracefile.OpenFile(name)
	}
	return file, measure.Trace{}, err
}

// decodeRecording makes a trace of a recording of raw bytes. It is decoded as
// its address says, which listen --raw wrote into its head.
func decodeRecording(cmd *cobra.Command, in io.Reader) (measure.Trace, error) {
	text, err := io.ReadAll(in)
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
	t, err := device.Recorded(r, recordedAddress(text), o)
	if err == nil && len(t.Readings) == 0 {
		return t, fmt.Errorf("no reading was found in the recording: %w. Put the address that it was recorded from, with its format= and unit=, behind # in its second line", lift.ErrNoLift)
	}
	return t, err
}

// recordedAddress returns the address that stands in the remarks at the head of
// a recording; where there is none, that of a device whose format is found by
// listening.
func recordedAddress(text []byte) device.Address {
	first := true
	for line := range strings.Lines(string(text[:min(len(text), bytelog.MaxLine)])) {
		remark, ok := strings.CutPrefix(line, "#")
		if !ok && !first {
			break
		}
		first = false
		if a, err := device.ParseAddress(strings.TrimSpace(remark)); ok && err == nil {
			return a
		}
	}
	return device.Address{}
}
