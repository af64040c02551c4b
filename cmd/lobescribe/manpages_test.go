package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every command that help lists has a page, and every one of its flags is on it.
func TestManpagesAreComplete(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, writeManpages(newRoot(), "2026-01-31", dir))
	pages := 0
	var look func(*cobra.Command)
	look = func(c *cobra.Command) {
		text, err := os.ReadFile(filepath.Join(dir, manName(c)+".1"))
		require.NoError(t, err)
		pages++
		assert.Contains(t, string(text), `.TH "`+strings.ToUpper(manName(c))+`" 1 "2026-01-31" "lobescribe `+version+`"`)
		for _, name := range strings.Fields(c.NonInheritedFlags().FlagUsages()) {
			if strings.HasPrefix(name, "--") {
				assert.Contains(t, string(text), manEscapes.Replace(name), c.CommandPath())
			}
		}
		for _, sub := range c.Commands() {
			if sub.IsAvailableCommand() {
				look(sub)
			}
		}
	}
	look(newRoot())
	all, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, all, pages, "no page of a hidden command")
	assert.Greater(t, pages, 20)
}

func TestManProse(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"one paragraph, filled", "one\ntwo   \n", "one two\n"},
		{"two", "one\n\ntwo", "one\n.PP\ntwo\n"},
		{"an example stands as it is", "run\n\n  lobescribe ports\n  lobescribe serve\n\nthen",
			"run\n.PP\n.nf\n  lobescribe ports\n  lobescribe serve\n.fi\n.PP\nthen\n"},
		{"columns stand as they are", "Try:    demo\nOr:     ports", ".nf\nTry:    demo\nOr:     ports\n.fi\n"},
		{"no request by chance", ".5 in", "\\&.5 in\n"},
		{"nor an escape", `C:\new`, "C:\\enew\n"},
		{"to be copied into a shell", `echo '-1' | a~b ^ "c" ` + "`d`",
			`echo \(aq\-1\(aq | a\(tib \(ha \(dqc\(dq \(gad\(ga` + "\n"},
	} {
		var m manWriter
		m.prose(c.text)
		assert.Equal(t, c.want, m.String(), c.name)
	}
}
