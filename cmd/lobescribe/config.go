package main

import (
	"cmp"
	"fmt"
	"io"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"lobescribe/device/measure"
)

// settingNow is a setting as it holds.
type settingNow struct {
	Name  string `json:"name"`
	Value string `json:"value"`
	From  origin `json:"from"`
	Where string `json:"where,omitempty"` // the name in the environment, or FILE:LINE

	flag *pflag.Flag
}

func newConfig() *cobra.Command {
	var asTOML bool
	cmd := &cobra.Command{
		Use:   "config",
		Short: "What settings hold, and where each comes from",
		Long: `Lists every setting, its value and what gave it: a flag on the command line, else
the environment, else the settings file, else the default. Nothing needs to be
set. In the environment --log-level is LOBESCRIBE_LOG_LEVEL, in the file

  log-level = "info"

The file is the first of these: --config FILE, what LOBESCRIBE_CONFIG names,
lobescribe.toml in your settings folder, the system's. --toml prints one to begin
with. The flags of serve can be given here, to see what would hold for it; other
commands use those that concern them. Passwords and keys are not shown.`,
		Args:        cobra.NoArgs,
		Annotations: map[string]string{allSettings: ""},
		RunE: func(cmd *cobra.Command, args []string) error {
			at := here()
			s, err := settle(cmd, at)
			if err != nil {
				return err
			}
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			now := settingsNow(cmd, s)
			if asTOML {
				return writeSettings(cmd.OutOrStdout(), now)
			}
			v := struct {
				File      string       `json:"file,omitempty"`
				LookedFor []string     `json:"looked_for"`
				Settings  []settingNow `json:"settings"`
				Misspelt  []misspelt   `json:"misspelt,omitempty"`
			}{s.file, at.files, now, s.misspelt}
			return p.print(v, func(w io.Writer, _ measure.Unit) error { return tableSettings(w, s, at, now) })
		},
	}
	cmd.Flags().AddFlagSet(newServe().Flags())
	addUnitFlag(cmd) // the other commands' setting
	cmd.Flags().BoolVar(&asTOML, "toml", false, "print them as a settings file, with what each does; defaults stand in comments")
	return cmd
}

// settingsNow returns what holds for cmd, by name.
func settingsNow(cmd *cobra.Command, s settings) []settingNow {
	var all []settingNow
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		if f.Hidden || !isSetting(cmd, f) {
			return
		}
		n := settingNow{Name: f.Name, Value: keepSecret(f.Name, f.Value.String()), From: byDefault, flag: f}
		if g, ok := s.given[f.Name]; ok {
			n.From, n.Where = g.from, g.where
		}
		if f.Changed {
			n.From, n.Where = byFlag, ""
		}
		if n.From == byDefault {
			n.Value = cmp.Or(n.Value, usualPlace(cmd, f.Name))
		}
		all = append(all, n)
	})
	return all
}

// usualPlace returns where the things are that have a place unless one is named.
func usualPlace(cmd *cobra.Command, name string) string {
	dir, err := dataFolder(cmd)
	switch {
	case err != nil:
		return ""
	case name == "data":
		return dir
	case name == "formats":
		return filepath.Join(dir, formatsFile)
	}
	return ""
}

func tableSettings(w io.Writer, s settings, at surroundings, now []settingNow) error {
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	if s.file != "" {
		fmt.Fprintf(t, "settings file\t%s\n", s.file)
	} else {
		fmt.Fprintf(t, "settings file\tnone; looked for %s\n", strings.Join(at.files, " and "))
	}
	for _, m := range s.misspelt {
		fmt.Fprintf(t, "not known\t%s; did you mean %s?\n", m.Name, m.Near)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w)
	for _, n := range now {
		fmt.Fprintf(t, "%s\t%s\t%s\n", n.Name, cmp.Or(n.Value, "-"), cmp.Or(n.Where, string(n.From)))
	}
	return t.Flush()
}

// writeSettings writes a settings file that gives what holds now.
func writeSettings(w io.Writer, now []settingNow) error {
	var b strings.Builder
	b.WriteString("# Settings of Lobescribe. None is needed; take the # off a line to change it.\n")
	b.WriteString("# The environment and flags come before this file: `lobescribe config` shows what holds.\n")
	for _, n := range now {
		comment := ""
		if n.From == byDefault || n.Value != n.flag.Value.String() {
			comment = "# " // a default, or a secret that is not for a terminal
		}
		fmt.Fprintf(&b, "\n# %s\n%s%s = %s\n", n.flag.Usage, comment, n.Name, tomlValue(n.flag, n.Value))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// tomlValue returns text as it stands in a settings file.
func tomlValue(f *pflag.Flag, text string) string {
	switch wanted(f) {
	case aTruth, aWhole, aNumber:
		return text
	}
	if list, ok := f.Value.(pflag.SliceValue); ok {
		var quoted []string
		for _, s := range list.GetSlice() {
			quoted = append(quoted, tomlText(keepSecret(f.Name, s)))
		}
		return "[" + strings.Join(quoted, ", ") + "]"
	}
	return tomlText(text)
}

// tomlText quotes text as a literal where that is easier to read, as a path on
// Windows is.
func tomlText(text string) string {
	if strings.Contains(text, `\`) && !strings.ContainsAny(text, "'\n\r") {
		return "'" + text + "'"
	}
	return strconv.Quote(text)
}

var (
	userOfURL   = regexp.MustCompile(`://\S*@`)
	nkeySeed    = regexp.MustCompile(`\bS[A-Z][A-Z2-7]{56}\b`) // of NATS: a private key as text
	secretNames = regexp.MustCompile(`(^|-)(password|secret|seed|token)$`)
)

// keepSecret returns the value of a setting as it may be shown: without what
// lets somebody in.
func keepSecret(name, value string) string {
	if value != "" && secretNames.MatchString(name) {
		return "***"
	}
	value = userOfURL.ReplaceAllString(value, "://***@")
	return nkeySeed.ReplaceAllString(value, "***")
}
