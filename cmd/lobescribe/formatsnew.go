package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
	"lobescribe/device/lines/guess"
)

// ownFormat is the name that a new format gets, to be changed by the person.
const ownFormat = "my-gauge"

func newFormatsNew() *cobra.Command {
	var listenFor time.Duration
	var role string
	cmd := &cobra.Command{
		Use:   "new ADDRESS",
		Short: "A line format of your own as TOML, made from the very lines of a device",
		Long: `Listens to a device and prints a format as TOML: what was found, if the lines were
understood, otherwise a draft made from the last line, in which the roles, units
and words are yours to set. Put it into formats.toml in the data folder, give it a
name, and say format=NAME in the address. Nothing is written to the device.

  lobescribe formats new serial:/dev/ttyUSB0 >> formats.toml`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			a, o, err := deviceInRole(cmd, args[0], role)
			if err != nil {
				return err
			}
			return formatFrom(cmd, a, o, listenFor)
		},
	}
	cmd.Flags().DurationVar(&listenFor, "for", 6*time.Second, "how long to listen")
	addRoleFlag(cmd, &role)
	return cmd
}

// roleSweep is a gauge across the stem, which says what any indicator does.
const roleSweep = "sweep"

// deviceInRole reads the address of a device and what --role says of it.
func deviceInRole(cmd *cobra.Command, text, role string) (a address.Address, o device.Options, err error) {
	if o, err = deviceOptions(cmd); err != nil {
		return a, o, err
	}
	if o.Port, err = parseRole(role); err != nil {
		return a, o, err
	}
	a, err = parseDevice(text, o)
	return a, o, err
}

// addRoleFlag adds --role.
func addRoleFlag(cmd *cobra.Command, role *string) {
	cmd.Flags().StringVar(role, "role", "", "what sits on the port: indicator, encoder or sweep (a gauge across the stem); an encoder's never gives a lift")
}

// parseRole reads what --role says.
func parseRole(role string) (lines.Port, error) {
	switch role {
	case "":
		return lines.AnyPort, nil
	case "indicator", roleSweep:
		return lines.IndicatorPort, nil
	case "encoder":
		return lines.EncoderPort, nil
	}
	return lines.AnyPort, wrongWords("--role is indicator, encoder or sweep, not %q", role)
}

// formatFrom listens to a device and prints the format of its lines.
func formatFrom(cmd *cobra.Command, a address.Address, o device.Options, listenFor time.Duration) error {
	ctx, cancel := context.WithTimeout(cmd.Context(), listenFor)
	defer cancel()
	source := device.Open(ctx, a, o)
	says := ""
	for e := range source.Events() {
		if e.Status != nil && e.Status.State != device.Closed {
			says = e.Status.Says
			if e.Status.FormatSays != "" {
				says = e.Status.FormatSays
			}
			if _, ok := source.Format(); ok && len(source.View().Lines) > 0 && e.Status.State == device.Flowing {
				cancel() // it moves, and is read
			}
		}
	}
	var raw []byte
	for _, c := range source.RawTail() {
		raw = append(raw, c.Bytes...)
	}
	last := lastLine(raw)
	f, found := source.Format()
	if !found {
		if len(last) == 0 {
			return fmt.Errorf("no whole line came from %s in %s: %s", a.Redacted(), listenFor, says)
		}
		if f, found = guess.Draft(last, ownFormat); !found {
			return fmt.Errorf("the last line, %q, has no shape that a format describes, which is numbers with one mark between them: is the baud rate right? `lobescribe probe PORT` tries the usual ones, `lobescribe formats unit-behind` prints a format to begin with", last)
		}
	}
	f = formats.Bare(f)
	f.Name = ownFormat
	w := cmd.OutOrStdout()
	remark(w, fmt.Sprintf("Made from %q.", last))
	remark(w, says)
	remark(w, "Each column is a number of the line, from left to right: role is lift, angle, counts or ignored. Set unit (mm, in, thou, um, cm) or, for whole numbers, scale (as in 0.001 mm) where the lines do not say it. Put this into formats.toml in the data folder, change the name, and say format=NAME in the address.")
	return formats.Write(w, f)
}

// remark writes text as remarks of TOML, in lines that can be read.
func remark(w io.Writer, text string) {
	line := "#"
	for _, word := range strings.Fields(text) {
		if len(line)+len(word) > 90 {
			fmt.Fprintln(w, line)
			line = "#"
		}
		line += " " + word
	}
	if line != "#" {
		fmt.Fprintln(w, line)
	}
}

// lastLine returns the last whole line of what came.
func lastLine(raw []byte) []byte {
	all := bytes.FieldsFunc(raw, func(r rune) bool { return r == '\r' || r == '\n' || r == 0x03 })
	for i := len(all) - 2; i >= 0; i-- { // the last may be cut
		if l := bytes.TrimSpace(all[i]); len(l) > 0 && bytes.ContainsAny(l, "0123456789") {
			return l
		}
	}
	return nil
}
