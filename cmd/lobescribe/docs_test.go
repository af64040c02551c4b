package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every command and flag that the README and the page's Help name is one of
// this binary's; flags of other programs stand in code of their own.
func TestTheManualNamesWhatThereIs(t *testing.T) {
	commands, flags := map[string]bool{}, map[string]bool{"help": true, "version": true}
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		commands[c.Name()] = true
		for _, set := range []*pflag.FlagSet{c.Flags(), c.PersistentFlags()} {
			set.VisitAll(func(f *pflag.Flag) { flags[f.Name] = true })
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(newRoot())
	// Of other programs that the README shows at work: sha256sum, systemctl.
	for _, name := range []string{"check", "ignore-missing", "now"} {
		require.False(t, flags[name], "%s is ours by now: take it off this list", name)
		flags[name] = true
	}
	pages, err := filepath.Glob("../../dashboard/page/help*.js")
	require.NoError(t, err)
	require.NotEmpty(t, pages)
	seen := 0
	for _, file := range append(pages, "../../README.md") {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile("(?:^|[\\s`(\\[])--([a-z][a-z-]+)").FindAllStringSubmatch(string(text), -1) {
			assert.True(t, flags[m[1]], "%s names --%s, and there is no such flag", filepath.Base(file), m[1])
			seen++
		}
		for _, m := range regexp.MustCompile("(?m)(?:`|^ *)lobescribe ([a-z-]+)").FindAllStringSubmatch(string(text), -1) {
			assert.True(t, commands[strings.TrimSpace(m[1])], "%s names lobescribe %s, and there is no such command", filepath.Base(file), m[1])
			seen++
		}
	}
	require.Greater(t, seen, 40, "the words were not found")
}
