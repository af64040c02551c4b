package main

import (
	"fmt"
	"io"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"lobescribe/device/measure"
)

// version is set by the release build; "dev" in a build from the source tree.
var version = "dev"

func newVersion() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "version",
		Short: "Print the version",
		Args:  cobra.NoArgs,
		// It must tell its version whatever else is wrong.
		Annotations: map[string]string{noSettings: ""},
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			v := struct {
				Version string `json:"version"`
				Commit  string `json:"commit,omitempty"`
				Go      string `json:"go"`
				System  string `json:"system"`
			}{version, commit(), runtime.Version(), runtime.GOOS + "/" + runtime.GOARCH}
			return p.print(v, func(w io.Writer, _ measure.Unit) error {
				_, err := fmt.Fprintln(w, "lobescribe", v.Version, v.Commit, v.Go, v.System)
				return err
			})
		},
	}
	addJSONFlag(cmd)
	return cmd
}

func commit() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			return s.Value[:min(12, len(s.Value))]
		}
	}
	return ""
}
