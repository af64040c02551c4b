package main

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// newManpages is what the packages are built with. The generator that comes
// with the command library goes through Markdown, which runs indented examples
// into the text and takes an asterisk or underscore in a help text for a mark.
func newManpages() *cobra.Command {
	var date string
	cmd := &cobra.Command{
		Use:         "manpages FOLDER",
		Short:       "Write a manual page for each command",
		Hidden:      true,
		Annotations: map[string]string{noSettings: ""},
		Args:        cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := time.Parse(time.DateOnly, date); err != nil {
				return wrongWords("--date %q is no date, as in 2026-01-31", date)
			}
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return fmt.Errorf("write the manual pages: %w", err)
			}
			return writeManpages(cmd.Root(), date, args[0])
		},
	}
	cmd.Flags().StringVar(&date, "date", time.Now().UTC().Format(time.DateOnly), "the date they bear")
	return cmd
}

// writeManpages writes the page of c and those of the commands below it.
func writeManpages(c *cobra.Command, date, folder string) error {
	name := filepath.Join(folder, manName(c)+".1")
	if err := os.WriteFile(name, []byte(manpage(c, date)), 0o644); err != nil {
		return fmt.Errorf("write the manual page of %s: %w", c.CommandPath(), err)
	}
	for _, sub := range c.Commands() {
		if sub.IsAvailableCommand() {
			if err := writeManpages(sub, date, folder); err != nil {
				return err
			}
		}
	}
	return nil
}

func manName(c *cobra.Command) string { return strings.ReplaceAll(c.CommandPath(), " ", "-") }

// manpage writes a command's help in the man(7) macros.
func manpage(c *cobra.Command, date string) string {
	var m manWriter
	// The date goes in as it is: with its dashes escaped it would not be read as one.
	fmt.Fprintf(&m, ".TH %q 1 %q %q %q\n", strings.ToUpper(manName(c)), date, "lobescribe "+version, "Lobescribe")
	m.section("Name")
	// A lower-case letter and no full stop, as whatis(1) lists them.
	m.text(manName(c) + " - " + lowerFirst(c.Short))
	m.section("Synopsis")
	m.text(c.UseLine())
	m.section("Description")
	m.prose(cmp.Or(c.Long, c.Short))
	if c.HasAvailableSubCommands() {
		m.section("Commands")
		for _, s := range c.Commands() {
			if s.IsAvailableCommand() {
				m.item(s.Short, manName(s)+"(1)")
			}
		}
	}
	if c.Example != "" {
		m.section("Examples")
		m.prose(c.Example)
	}
	m.flags("Options", c.NonInheritedFlags())
	m.flags("Options of every command", c.InheritedFlags())
	m.section("Exit status")
	m.item("done", "0")
	m.item("the work failed; one line on standard error says what to do", "1")
	m.item("the words on the command line were wrong", "2")
	if !c.HasParent() {
		m.section("Files")
		m.item("the data folder, with the store bench.db: every turn that was recorded (or under $XDG_DATA_HOME)", "~/.local/share/lobescribe")
		m.item("the data folder of the system's service, lobescribe.service", "/var/lib/lobescribe")
		m.item("the settings, each as NAME = value, where NAME is that of a flag (or under $XDG_CONFIG_HOME)", "~/.config/lobescribe/"+settingsFile)
		m.item("the settings where a user has no file of their own, as the system's service; of the two one is read", "/etc/lobescribe/"+settingsFile)
		m.section("Environment")
		m.item("the settings file, unless --config names one", "LOBESCRIBE_CONFIG")
		m.item("the setting of that name: of the flag in capitals, with _ for -. It comes before the settings file and after the flag; lobescribe-config(1) shows what holds", envPrefix, "NAME")
		for _, name := range slices.Sorted(maps.Keys(knownSettings(c))) {
			m.item("for --"+name, envName(name))
		}
		return m.String()
	}
	m.section("See also")
	m.text(manName(c.Parent()) + "(1)")
	return m.String()
}

func lowerFirst(s string) string {
	if len(s) > 1 && s[1] >= 'a' && s[1] <= 'z' {
		return strings.ToLower(s[:1]) + s[1:]
	}
	return s // TOML, CSV
}

// manWriter writes requests of the man(7) macros.
type manWriter struct{ strings.Builder }

// manEscapes keeps what groff_char(7) and mandoc_char(7) would read or set
// otherwise: the signs of a shell are to be copied from the page as they are.
var manEscapes = strings.NewReplacer(`\`, `\e`, `-`, `\-`, `'`, `\(aq`, `"`, `\(dq`, "`", `\(ga`, `^`, `\(ha`, `~`, `\(ti`)

// line writes one line of text.
func (m *manWriter) line(text string) {
	text = manEscapes.Replace(text)
	if strings.HasPrefix(text, ".") {
		text = `\&` + text // else it would be a request
	}
	m.WriteString(text + "\n")
}

func (m *manWriter) macro(name string, args ...string) {
	m.WriteString("." + name)
	for _, a := range args {
		m.WriteString(` "` + manEscapes.Replace(a) + `"`)
	}
	m.WriteString("\n")
}

func (m *manWriter) section(title string) { m.macro("SH", strings.ToUpper(title)) }

func (m *manWriter) text(text string) { m.line(strings.Join(strings.Fields(text), " ")) }

// item writes what is said of one thing: its name in bold and what is to be put
// in, if anything, in italics.
func (m *manWriter) item(says string, name ...string) {
	m.WriteString(".TP\n")
	m.macro("BI", name...)
	m.text(says)
}

// prose writes paragraphs. One with an indented line or with columns in it is
// set as it stands.
func (m *manWriter) prose(text string) {
	lines := strings.Split(strings.Trim(text, "\n"), "\n")
	for i, l := range lines {
		lines[i] = strings.TrimRight(l, " \t") // not a column
	}
	for i, paragraph := range strings.Split(strings.Join(lines, "\n"), "\n\n") {
		if i > 0 {
			m.WriteString(".PP\n")
		}
		if !strings.HasPrefix(paragraph, "  ") && !strings.Contains(paragraph, "\n  ") && !strings.Contains(paragraph, "   ") {
			m.text(paragraph)
			continue
		}
		m.WriteString(".nf\n")
		for l := range strings.SplitSeq(paragraph, "\n") {
			m.line(l)
		}
		m.WriteString(".fi\n")
	}
}

// flags writes what each flag does; nothing if there is none.
func (m *manWriter) flags(title string, set *pflag.FlagSet) {
	if !set.HasAvailableFlags() {
		return
	}
	m.section(title)
	set.VisitAll(func(f *pflag.Flag) {
		if f.Hidden {
			return
		}
		value, says := pflag.UnquoteUsage(f)
		name := []string{"--" + f.Name}
		if f.Shorthand != "" {
			name[0] = "-" + f.Shorthand + ", " + name[0]
		}
		if value != "" {
			name[0] += " "
			name = append(name, value)
		}
		switch f.DefValue {
		case "", "false", "0", "0s", "[]":
		default:
			says += " (default " + f.DefValue + ")"
		}
		m.item(says, name...)
	})
}
