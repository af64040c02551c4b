package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode"

	"github.com/spf13/cobra"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/bytelog"
	"lobescribe/device/measure"
)

func newListen() *cobra.Command {
	var raw, role string
	var count int
	cmd := &cobra.Command{
		Use:   "listen ADDRESS",
		Short: "Decoded readings of a device, one JSON object a line",
		Long: `Prints what a device says, decoded, as one JSON object a line:
{"t_s":..,"lift_mm":..} and/or "angle_deg". A gauge across the stem reads as an
indicator does: with --role sweep its figure is a "sweep_mm". How the link stands, and what nothing
in the lines told and was assumed, goes to stderr; what the format was found to be
with --verbose.

  lobescribe listen serial:/dev/ttyUSB0
  lobescribe listen 'serial:/dev/ttyUSB0?baud=4800&format=auto'
  lobescribe listen tcp://127.0.0.1:4001`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			a, o, err := deviceInRole(cmd, args[0], role)
			if err != nil {
				return err
			}
			if raw == "" {
				return listen(cmd, a, o, listenTo{count, role == roleSweep})
			}
			if err := notAStore(raw); err != nil {
				return err
			}
			f, err := os.Create(raw)
			if err != nil {
				return fmt.Errorf("recording raw bytes: %w", err)
			}
			rec := bytelog.NewWriter(f, a.Redacted())
			// What goes wrong here is told by Flush.
			o.Record = func(at measure.Stamp, b []byte) { _ = rec.Bytes(at, b) }
			o.Linked = func(at measure.Stamp, open bool) {
				what := bytelog.Lost
				if open {
					what = bytelog.Opened
				}
				_ = rec.Mark(at, what)
			}
			return errors.Join(listen(cmd, a, o, listenTo{count, role == roleSweep}), rec.Flush(), f.Close())
		},
	}
	cmd.Flags().StringVar(&raw, "raw", "", "also write the raw bytes, with their times, to this file; replay --link plays it back")
	addRoleFlag(cmd, &role)
	cmd.Flags().IntVarP(&count, "count", "n", 0, "stop after so many readings, or with status 1 if the device is not there; 0 means never, and waits for it")
	return cmd
}

// listenTo is what listen does besides: how many readings it prints, and whether
// the device is a gauge across the stem.
type listenTo struct {
	count int
	sweep bool
}

// listen prints the readings of a device until ctx ends or count are printed.
func listen(cmd *cobra.Command, a address.Address, o device.Options, l listenTo) error {
	count := l.count
	ctx, cancel := context.WithCancel(cmd.Context())
	defer cancel()
	out := bufio.NewWriter(cmd.OutOrStdout())
	defer out.Flush()
	var last device.Status
	var line []byte
	printed := 0
	for e := range device.Open(ctx, a, o).Events() {
		if e.Status != nil {
			say(cmd.ErrOrStderr(), "", &last, *e.Status)
		}
		if s := e.Status; s != nil && count > 0 && printed == 0 && (s.State == device.Absent || s.State == device.Refused) {
			return fmt.Errorf("no reading came: %s", s.Says)
		}
		if count > 0 && printed == count {
			continue // what was under way when enough had come
		}
		for _, r := range e.Readings {
			if l.sweep {
				r = asSweep(r)
			}
			line = appendReading(line[:0], r)
			if _, err := out.Write(line); err != nil {
				return err
			}
			if printed++; printed == count {
				cancel()
				break
			}
		}
		if err := out.Flush(); err != nil {
			return err
		}
	}
	return nil
}

// asSweep is a reading of a gauge that stands across the stem, whose lines are those
// of any indicator.
func asSweep(r measure.Reading) measure.Reading {
	if r.Has&measure.HasLift != 0 {
		r.Sweep, r.Lift = r.Lift, 0
		r.Has = r.Has&^measure.HasLift | measure.HasSweep
	}
	return r
}

// say prints a status when it differs from the one before, and by more than the
// figures in it; and what nothing told and was assumed. who is said before it.
func say(w io.Writer, who string, last *device.Status, s device.Status) {
	if s.State != last.State || withoutFigures(s.Says) != withoutFigures(last.Says) {
		fmt.Fprintf(w, "%s%s: %s\n", who, s.State, s.Says)
	}
	if s.Assumes != "" && withoutFigures(s.Assumes) != withoutFigures(last.Assumes) {
		fmt.Fprintf(w, "%sassumed: %s\n", who, s.Assumes)
	}
	if s.Condition != "" && s.Condition != last.Condition {
		fmt.Fprintf(w, "%sthe device says: %s\n", who, s.Condition)
	}
	if s.Assumes == "" {
		s.Assumes = last.Assumes // it is said once, and not again after a link was lost
	}
	*last = s
}

// withoutFigures is a sentence without its numbers and what is quoted in it.
func withoutFigures(text string) string {
	quoted := false
	return strings.Map(func(r rune) rune {
		switch {
		case r == '"':
			quoted = !quoted
			return -1
		case quoted, unicode.IsDigit(r), strings.ContainsRune("+-.", r):
			return -1
		}
		return r
	}, text)
}

// appendReading appends r as a line of JSON.
func appendReading(b []byte, r measure.Reading) []byte {
	mustAppend := func(name string, v interface{ MarshalJSON() ([]byte, error) }) {
		text, _ := v.MarshalJSON() // quantities always print
		b = append(b, name...)
		b = append(b, text...)
	}
	mustAppend(`{"t_s":`, r.At)
	if r.Has&measure.HasLift != 0 {
		mustAppend(`,"lift_mm":`, r.Lift)
	}
	if r.Has&measure.HasAngle != 0 {
		mustAppend(`,"angle_deg":`, r.Angle)
	}
	if r.Has&measure.HasSweep != 0 {
		mustAppend(`,"sweep_mm":`, r.Sweep)
	}
	return append(b, '}', '\n')
}
