package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// typed returns a command of ours as if it had been typed.
func typed(t *testing.T, words ...string) *cobra.Command {
	t.Helper()
	cmd, rest, err := newRoot().Find(words)
	require.NoError(t, err)
	require.NoError(t, cmd.ParseFlags(rest))
	return cmd
}

func file(t *testing.T, text string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), settingsFile)
	require.NoError(t, os.WriteFile(name, []byte(text), 0o600))
	return name
}

func TestSettingsInOrder(t *testing.T) {
	first := file(t, `addr = "127.0.0.1:1"`+"\nencoder = \"serial:/dev/a\"\ndirection = \"up\"\n")
	second := file(t, `addr = "127.0.0.1:2"`+"\nindicator = \"serial:/dev/b\"\n")
	at := surroundings{files: []string{filepath.Join(t.TempDir(), "none"), first, second},
		environ: []string{"LOBESCRIBE_ADDR=127.0.0.1:3", "LOBESCRIBE_DIRECTION=", "LOBESCRIBE_LAN=true", "HOME=/"}}
	cmd := typed(t, "serve", "--lan=false")
	s, err := settle(cmd, at)
	require.NoError(t, err)
	require.NoError(t, s.apply(cmd))
	for name, want := range map[string]string{
		"lan":       "false",         // typed
		"addr":      "127.0.0.1:3",   // the environment before the file
		"encoder":   "serial:/dev/a", // the first file
		"direction": "up",            // an empty name in the environment gives nothing
		"indicator": "",              // one file is read, and the second not laid under it
	} {
		assert.Equal(t, want, cmd.Flags().Lookup(name).Value.String(), name)
	}
	assert.Equal(t, first, s.file)
	assert.True(t, cmd.Flags().Changed("lan"))
	assert.False(t, cmd.Flags().Changed("addr"), "only what was typed counts as that")
}

// A demo plays: it keeps off the bench's own devices, store, network and shop,
// and so does a replay. Each has flags of the names.
func TestADemoUsesNoSettingOfTheBench(t *testing.T) {
	at := surroundings{files: []string{file(t, "addr = \"127.0.0.1:1\"\nlan = true\ntls = true\ndirection = \"down\"\nunit = \"in\"\n")}}
	for _, words := range [][]string{{"demo"}, {"replay", "1"}} {
		cmd := typed(t, words...)
		s, err := settle(cmd, at)
		require.NoError(t, err)
		require.NoError(t, s.apply(cmd))
		for name, want := range map[string]string{"addr": defaultAddr, "lan": "false", "tls": "false", "direction": "auto"} {
			assert.Equal(t, want, cmd.Flags().Lookup(name).Value.String(), "%s --%s", words[0], name)
		}
	}
	data := t.TempDir()
	cmd := typed(t, "demo")
	s, err := settle(cmd, surroundings{environ: []string{"LOBESCRIBE_DATA=" + data}})
	require.NoError(t, err)
	require.NoError(t, s.apply(cmd))
	assert.False(t, cmd.Flags().Changed("data"), "else the demo would record into the bench's own store")
}

// A flag that has a setting's name but means something else is left alone.
func TestOtherFlagsOfASettingsName(t *testing.T) {
	at := surroundings{environ: []string{"LOBESCRIBE_UNIT=thou", "LOBESCRIBE_DIRECTION=down"}}
	for _, c := range []struct{ command, flag, want string }{
		{"calc shims", "unit", ""}, {"sheet", "unit", ""}, {"analyse", "direction", "auto"},
		{"record", "direction", "down"}, {"show", "unit", "thou"},
	} {
		cmd := typed(t, strings.Fields(c.command)...)
		s, err := settle(cmd, at)
		require.NoError(t, err)
		require.NoError(t, s.apply(cmd))
		assert.Equal(t, c.want, cmd.Flags().Lookup(c.flag).Value.String(), "%s --%s", c.command, c.flag)
	}
}

// Whatever flag serve has, or gets one day, is a setting.
func TestEveryFlagOfServeIsASetting(t *testing.T) {
	root := newRoot()
	known := knownSettings(root)
	serve, _, err := root.Find([]string{"serve"})
	require.NoError(t, err)
	seen := 0
	count := func(f *pflag.Flag) {
		if f.Name == "json" || f.Name == "config" || f.Name == "verbose" || f.Name == "help" {
			assert.NotContains(t, known, f.Name)
			return
		}
		seen++
		assert.Contains(t, known, f.Name)
		assert.Equal(t, f.Name, flagName(strings.TrimPrefix(envName(f.Name), envPrefix)))
	}
	serve.Flags().VisitAll(count)
	root.PersistentFlags().VisitAll(count)
	assert.Greater(t, seen, 12)
	for name := range known {
		if name == "unit" {
			continue // serve prints no length, but what does takes it from the settings
		}
		if serve.Flags().Lookup(name) == nil && root.PersistentFlags().Lookup(name) == nil {
			assert.Fail(t, "a setting that serve does not have", name)
		}
	}
}

// Settings that two commands share are told apart by nothing but their name.
func TestSharedSettingsAreDeclaredAlike(t *testing.T) {
	root := newRoot()
	known := knownSettings(root)
	for _, c := range root.Commands() {
		c.Flags().VisitAll(func(f *pflag.Flag) {
			if k := known[f.Name]; k != nil && isSetting(c, f) {
				assert.Equal(t, k.Value.Type(), f.Value.Type(), "%s --%s", c.Name(), f.Name)
				assert.Equal(t, k.DefValue, f.DefValue, "%s --%s", c.Name(), f.Name)
			}
		})
	}
}

func TestASystemsFileThatMayNotBeRead(t *testing.T) {
	shut := file(t, "unit = \"in\"\n")
	require.NoError(t, os.Chmod(shut, 0))
	if f, err := os.Open(shut); err == nil {
		f.Close()
		t.Skip("whoever runs this may read everything")
	}
	cmd := typed(t, "traces")
	s, err := settle(cmd, surroundings{files: []string{shut}})
	require.NoError(t, err)
	assert.Empty(t, s.file)
	cmd = typed(t, "traces", "--config", shut)
	_, err = settle(cmd, surroundings{})
	assert.ErrorContains(t, err, "--config: read the settings", "who names it is told")
}

func kindsOfFlags() map[string]*pflag.Flag {
	set := pflag.NewFlagSet("", pflag.ContinueOnError)
	set.String("text", "", "")
	set.Bool("truth", false, "")
	set.Int("whole", 0, "")
	set.Uint64("big", 0, "")
	set.Float64("number", 0, "")
	set.Duration("wait", 0, "")
	set.StringSlice("list", nil, "")
	set.String("log-level", "", "")
	set.String("file", "", "")
	_ = cobra.MarkFlagFilename(set, "file")
	known := map[string]*pflag.Flag{}
	set.VisitAll(func(f *pflag.Flag) { known[f.Name] = f })
	return known
}

func TestParseSettings(t *testing.T) {
	for _, c := range []struct{ text, name, want string }{
		{"text = \"a\"", "text", "a"},
		{"text = 'C:\\a'", "text", `C:\a`},
		{"truth = true", "truth", "true"},
		{"whole = -3", "whole", "-3"},
		{"big = 3", "big", "3"},
		{"number = 3", "number", "3"},
		{"number = 0.5", "number", "0.5"},
		{"wait = \"5s\"", "wait", "5s"},
		{"list = \"a,b\"", "list", "[a,b]"},
		{"list = [\"a,b\", \"c\"]", "list", `["a,b",c]`},
		{"\"text\" = \"a\"", "text", "a"},
	} {
		known := kindsOfFlags()
		all, err := parseSettings(c.text, "x", known)
		if assert.NoError(t, err, c.text) && assert.Len(t, all, 1, c.text) {
			assert.NoError(t, set(all[0].flag, all[0].values), c.text)
			assert.Equal(t, c.want, known[c.name].Value.String(), c.text)
			assert.Equal(t, "x:1", all[0].where)
		}
	}
}

func TestWrongSettings(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"text = 1", "x:1: text is a text in quotes"},
		{"text = []", "x:1: text is a text in quotes"},
		{"text = [\"a\"]", "x:1: text is a text in quotes"},
		{"text = 2026-01-31", "x:1: text is a text in quotes"},
		{"\ntruth = \"yes\"", "x:2: truth is true or false"},
		{"whole = 1.5", "x:1: whole is a whole number"},
		{"wait = 5", "x:1: wait is a length of time"},
		{"list = [1]", "x:1: list is a text in quotes"},
		{"txet = \"a\"", `x:1: "txet" is no setting; did you mean "text"?`},
		{"log_level = \"a\"", `x:1: "log_level" is no setting; did you mean "log-level"?`},
		{"LOG-LEVEL = \"a\"", `did you mean "log-level"?`},
		{"[text]\na=1", "x:1: text is a text in quotes"},
		{"[log]\nlevel = \"a\"", `x:1: "log" is a table`},
		{"log.level = \"a\"", `x:1: "log" is a table`},
		{"text = \"\"\"\ntxet = 1\n\"\"\"\ntxet = 1", `x:4: "txet" is no setting`},
		{"text = \"a\"\ntext = \"b\"", "x:2: "},
		{"text = \"a", "x:1: "},
		{"\xff", "x:1: "},
		{`"t\u0078et" = 1`, `x: "txet" is no setting`},
	} {
		_, err := parseSettings(c.text, "x", kindsOfFlags())
		assert.ErrorContains(t, err, c.want, c.text)
	}
	known := kindsOfFlags()
	assert.EqualError(t, set(known["whole"], []string{"1.5"}), `whole is a whole number, not "1.5"`)
	assert.EqualError(t, set(known["wait"], []string{"5"}), `wait is a length of time, as in "5s", not "5"`)
	_, err := readSettings(file(t, strings.Repeat("# much\n", maxSettings)), known)
	assert.ErrorContains(t, err, "larger than")
}

// A path in the file is from that file's folder: a service's own is nowhere in
// particular.
func TestPathsInTheFile(t *testing.T) {
	home, err := os.UserHomeDir()
	require.NoError(t, err)
	whole := filepath.Join(t.TempDir(), "c")
	for in, want := range map[string]string{"c": filepath.FromSlash("/etc/x/c"), "../c": filepath.FromSlash("/etc/c"), "~/c": filepath.Join(home, "c"), whole: whole} {
		all, err := parseSettings("file = '"+in+"'", filepath.FromSlash("/etc/x/lobescribe.toml"), kindsOfFlags())
		require.NoError(t, err)
		if volume := filepath.VolumeName(all[0].values[0]); in != whole {
			want = volume + want[len(filepath.VolumeName(want)):]
		}
		assert.Equal(t, want, all[0].values[0], in)
	}
	all, err := parseSettings("file = ''", "x", kindsOfFlags())
	require.NoError(t, err)
	assert.Equal(t, []string{""}, all[0].values, "none")
}

// However a file is written, reading it ends in bounded time, names no line
// that is not there, and gives values that a flag of that kind can be asked for.
func FuzzSettings(f *testing.F) {
	for _, s := range []string{"text = \"a\"\ntruth = true\n", "whole = 1\nnumber = 1e3\n", "list = [\"a\"]", "wait = \"5s\"", "txet = 1", "[a]\nb=1",
		"text = \"\"\"\nwhole = 1\n\"\"\"\nwhole = 2", "a.b.c = 1", "text = 'x", "truth = \"true\"", "\xef\xbb\xbftext = ''", "file = '~/x'", "= 1", "text = 07:32:00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > maxSettings {
			return
		}
		known := kindsOfFlags()
		start := time.Now()
		all, err := parseSettings(text, "x", known)
		assert.Less(t, time.Since(start), 30*time.Second)
		if err != nil {
			assert.True(t, strings.HasPrefix(err.Error(), "x:"), "%q", err)
			assert.Nil(t, all)
			return
		}
		for _, g := range all {
			assert.Same(t, known[g.flag.Name], g.flag)
			assert.NotEmpty(t, g.values)
			if g.flag.Name == "truth" || g.flag.Name == "number" {
				assert.NoError(t, set(g.flag, g.values))
			}
		}
	})
}

// A key of thirty thousand parts takes the decoder seconds; nothing of ours has two.
func TestSettingsThatAreNestedDeep(t *testing.T) {
	for _, text := range []string{strings.Repeat("a.", 30_000) + "b = 1", "addr = " + strings.Repeat("{a=", 15_000), "addr = " + strings.Repeat("[", 60_000)} {
		began := time.Now()
		_, err := parseSettings(text, "lobescribe.toml", nil)
		require.ErrorContains(t, err, "lobescribe.toml:1: nested deeper than settings ever are")
		assert.Less(t, time.Since(began), time.Second)
	}
}
