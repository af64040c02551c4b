package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"lobescribe/device/nearest"
)

// A setting is a flag that the environment or a settings file may give as well:
// --log-level is LOBESCRIBE_LOG_LEVEL there and log-level here. The flags are
// the only declaration of the settings. A flag on the command line comes before
// the environment, that before the file, that before the default.
//
// One file is read, the first of: --config, LOBESCRIBE_CONFIG, lobescribe.toml
// in the user's settings folder, the system's. They are not laid over each
// other, so that whoever looks for a value has one place to look in.

// settingsFile is the name of the settings file.
const settingsFile = "lobescribe.toml"

// envPrefix stands before a setting's name in the environment.
const envPrefix = "LOBESCRIBE_"

// Annotations of commands and flags. Not every flag with the name of a setting
// is that setting: `calc --unit` is about its question, and a demo must not
// record into the bench's own store or send to its shop.
const (
	allSettings = "settings-all"  // on a command: each of its flags is a setting
	noSettings  = "settings-none" // on a command: it uses none, and works when the file is wrong
	asSetting   = "setting"       // on a flag
)

// onlyTyped are the flags that make sense on the command line only.
var onlyTyped = [...]string{"config", "help", "json", "toml", "verbose"}

// asSettings marks flags of a command as settings.
func asSettings(set *pflag.FlagSet, names ...string) {
	for _, name := range names {
		if err := set.SetAnnotation(name, asSetting, nil); err != nil {
			panic(err) // there is no such flag
		}
	}
}

// isSetting tells whether cmd takes the flag f from the environment and the file.
func isSetting(cmd *cobra.Command, f *pflag.Flag) bool {
	if slices.Contains(onlyTyped[:], f.Name) {
		return false
	}
	_, all := cmd.Annotations[allSettings]
	_, marked := f.Annotations[asSetting]
	return all || marked || cmd.Root().PersistentFlags().Lookup(f.Name) == f
}

// knownSettings returns every setting by its name. Commands that share one
// declare it alike.
func knownSettings(root *cobra.Command) map[string]*pflag.Flag {
	known := map[string]*pflag.Flag{}
	var look func(*cobra.Command)
	look = func(c *cobra.Command) {
		add := func(f *pflag.Flag) {
			if isSetting(c, f) {
				known[f.Name] = f
			}
		}
		c.PersistentFlags().VisitAll(add)
		c.Flags().VisitAll(add)
		for _, sub := range c.Commands() {
			look(sub)
		}
	}
	look(root)
	return known
}

// surroundings are what settings come from, besides the command line.
type surroundings struct {
	environ []string // NAME=value
	// files are the settings files in the order in which they are looked for,
	// when none is named.
	files []string
}

// here returns the surroundings of this process.
func here() surroundings {
	s := surroundings{environ: os.Environ()}
	if runtime.GOOS == "windows" { // where names are the same in any case
		for i, e := range s.environ {
			name, value, _ := strings.Cut(e, "=")
			s.environ[i] = strings.ToUpper(name) + "=" + value
		}
	}
	// A service may have no home; then there is the system's file alone.
	if dir, err := os.UserConfigDir(); err == nil {
		s.files = append(s.files, filepath.Join(dir, "lobescribe", settingsFile))
	}
	system := "/etc/lobescribe"
	if runtime.GOOS == "windows" {
		system = filepath.Join(os.Getenv("ProgramData"), "Lobescribe")
	}
	s.files = append(s.files, filepath.Join(system, settingsFile))
	return s
}

// origin says what gave a setting its value.
type origin string

const (
	byFlag        origin = "flag"
	byEnvironment origin = "environment"
	byFile        origin = "file"
	byDefault     origin = "default"
)

// given is a setting as the environment or the file has it.
type given struct {
	flag   *pflag.Flag
	values []string // one, unless the flag is a list
	from   origin
	where  string // the name in the environment, or FILE:LINE
}

// misspelt is a name in the environment that is no setting but looks like one.
// It is no error: names that begin like ours belong to tests and scripts too.
type misspelt struct {
	Name string `json:"name"`
	Near string `json:"near"`
}

// settings are what the surroundings give, for whichever command.
type settings struct {
	file     string // the one that was read; "" when there is none
	given    map[string]given
	misspelt []misspelt
}

// settle finds out what holds around cmd.
func settle(cmd *cobra.Command, at surroundings) (settings, error) {
	s := settings{given: map[string]given{}}
	known := knownSettings(cmd.Root())
	named := "--config"
	s.file, _ = cmd.Flags().GetString("config")
	var env []given
	for _, e := range at.environ {
		name, value, _ := strings.Cut(e, "=")
		key, ours := strings.CutPrefix(name, envPrefix)
		if !ours || value == "" {
			continue
		}
		if key == "CONFIG" && s.file == "" {
			named, s.file = name, value
		}
		f := known[flagName(key)]
		if f == nil || envName(f.Name) != name {
			s.suspect(name, known)
			continue
		}
		env = append(env, given{flag: f, values: []string{value}, from: byEnvironment, where: name})
	}
	if s.file == "" {
		named, s.file = "", firstReadable(at.files)
	}
	if s.file != "" {
		all, err := readSettings(s.file, known)
		if path := (*fs.PathError)(nil); errors.As(err, &path) && named != "" {
			err = fmt.Errorf("%s: %w", named, err)
		}
		if err != nil {
			return s, wordsError{err}
		}
		for _, g := range all {
			s.given[g.flag.Name] = g
		}
	}
	for _, g := range env {
		s.given[g.flag.Name] = g
	}
	return s, nil
}

// suspect notes a name in the environment that is nearly a setting's.
func (s *settings) suspect(name string, known map[string]*pflag.Flag) {
	var names []string
	for n := range known {
		names = append(names, n)
	}
	slices.Sort(names)
	if near := nearest.Word(flagName(strings.TrimPrefix(name, envPrefix)), names); near != "" {
		s.misspelt = append(s.misspelt, misspelt{Name: name, Near: envName(near)})
	}
}

// apply gives the flags of cmd what holds for them, unless they are on the
// command line. The flags do not count as changed by it: whoever asks for that
// asks what was typed.
func (s settings) apply(cmd *cobra.Command) error {
	for _, g := range s.holding(cmd) {
		if err := set(cmd.Flags().Lookup(g.flag.Name), g.values); err != nil {
			return wrongWords("%s: %w", g.where, err)
		}
	}
	return nil
}

// holding returns what of s holds for cmd, by name.
func (s settings) holding(cmd *cobra.Command) []given {
	var all []given
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		if g, ok := s.given[f.Name]; ok && !f.Changed && isSetting(cmd, f) {
			all = append(all, g)
		}
	})
	return all
}

// set gives a flag its value without marking it as typed.
func set(f *pflag.Flag, values []string) error {
	if list, ok := f.Value.(pflag.SliceValue); ok && len(values) != 1 {
		return list.Replace(values)
	}
	err := f.Value.Set(values[0])
	if wants := wanted(f); err != nil && wants != "" {
		return fmt.Errorf("%s is %s, not %q", f.Name, wants, values[0])
	}
	if err != nil {
		return fmt.Errorf("%s: %w", f.Name, err)
	}
	return nil
}

// blame adds to an error about words where they stand, if they were not typed.
func (s settings) blame(cmd *cobra.Command, err error) error {
	for _, g := range s.holding(cmd) {
		text := err.Error()
		about := strings.Contains(text, "--"+g.flag.Name) ||
			len(g.values) == 1 && len(g.values[0]) > 2 && strings.Contains(text, g.values[0])
		if about && !strings.Contains(text, g.where) {
			return fmt.Errorf("%w (%s is set in %s)", err, g.flag.Name, g.where)
		}
	}
	return err
}

// applySettings is what runs before every command.
func applySettings(cmd *cobra.Command) error {
	if _, none := cmd.Annotations[noSettings]; none || !cmd.HasParent() || shellAsks(cmd) {
		return nil
	}
	s, err := settle(cmd, here())
	if err != nil {
		return err
	}
	if err := s.apply(cmd); err != nil {
		return err
	}
	if err := checkPaths(cmd); err != nil {
		return err
	}
	if on, _ := cmd.Flags().GetBool("verbose"); on {
		return cmd.Flags().Set("log-level", "debug") // it was typed, so it wins
	}
	return nil
}

// blameSettings adds to an error of cmd about words where they come from.
func blameSettings(cmd *cobra.Command, err error) error {
	if s, wrong := settle(cmd, here()); wrong == nil {
		return s.blame(cmd, err)
	}
	return err
}

// shellAsks tells whether cmd is one of the command library's own, for help and
// for completing what is typed in a shell.
func shellAsks(cmd *cobra.Command) bool {
	for c := cmd; c != nil; c = c.Parent() {
		switch c.Name() {
		case "help", "completion", cobra.ShellCompRequestCmd, cobra.ShellCompNoDescRequestCmd:
			return true
		}
	}
	return false
}

// envName returns what a flag is called in the environment.
func envName(flag string) string {
	return envPrefix + strings.ToUpper(strings.ReplaceAll(flag, "-", "_"))
}

func flagName(key string) string { return strings.ToLower(strings.ReplaceAll(key, "_", "-")) }
