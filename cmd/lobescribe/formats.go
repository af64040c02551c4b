package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
	"lobescribe/storage/textfile"
)

// formatsFile holds a person's own line formats, in the store's folder.
const formatsFile = "formats.toml"

// mostFormats bounds it in bytes.
const mostFormats = 1 << 20

// deviceOptions returns how devices are opened: with the log, and with the line
// formats of --formats or of the store's folder beside those built in.
func deviceOptions(cmd *cobra.Command) (device.Options, error) {
	o := device.Options{Log: logger(cmd)}
	name, _ := cmd.Flags().GetString("formats")
	named := name != ""
	if !named {
		dir, err := dataFolder(cmd)
		if err != nil {
			return o, err
		}
		name = filepath.Join(dir, formatsFile)
	}
	text, err := textfile.Read(name, mostFormats)
	if errors.Is(err, fs.ErrNotExist) && !named {
		return o, nil
	}
	if err != nil {
		return o, fmt.Errorf("reading line formats: %w", err)
	}
	if o.Formats, err = formats.Read(bytes.NewReader(text), name); err != nil {
		return o, wordsError{err}
	}
	return o, nil
}

// parseDevice reads an address and sees to it that a source of it can work.
func parseDevice(text string, o device.Options) (address.Address, error) {
	a, err := daemon.ParseAddress(text, o)
	if err != nil {
		return a, wordsError{err}
	}
	return a, nil
}

func newFormats() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "formats [NAME]",
		Short: "The line formats that format= may name; one of them as TOML to begin your own with",
		Long: `Lists the line formats, or prints one as TOML. Put your own into formats.toml in
the data folder, or name a file with --formats. format=auto finds most devices;
"formats new ADDRESS" makes one from the very lines of a device.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			o, err := deviceOptions(cmd)
			if err != nil {
				return err
			}
			if o.Formats == nil {
				o.Formats = &formats.Set{}
			}
			if len(args) == 1 {
				f, err := o.Formats.Named(args[0])
				if err != nil {
					return wordsError{err}
				}
				return formats.Write(cmd.OutOrStdout(), f)
			}
			type row struct {
				Name string `json:"name"`
				Says string `json:"says"`
			}
			var rows []row
			for f := range slices.Values(o.Formats.All()) {
				rows = append(rows, row{f.Name, f.Says})
			}
			return p.print(rows, func(w io.Writer, _ measure.Unit) error {
				t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
				for _, r := range rows {
					fmt.Fprintf(t, "%s\t%s\n", r.Name, r.Says)
				}
				return t.Flush()
			})
		},
	}
	addJSONFlag(cmd)
	cmd.AddCommand(newFormatsNew())
	return cmd
}
