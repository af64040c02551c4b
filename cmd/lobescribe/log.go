package main

import (
	"fmt"
	"io"
	"log/slog"
	"os"
	"slices"
	"strings"

	"github.com/coreos/go-systemd/v22/journal"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// choice is a flag that takes one of a few words.
type choice struct {
	value string
	words []string
}

var _ pflag.Value = (*choice)(nil)

func (c *choice) String() string { return c.value }

// Type is what help shows in the place of the word.
func (c *choice) Type() string { return "string" }

func (c *choice) Set(text string) error {
	if !slices.Contains(c.words, text) {
		last := len(c.words) - 1
		return fmt.Errorf("write %s or %s, not %q", strings.Join(c.words[:last], ", "), c.words[last], text)
	}
	c.value = text
	return nil
}

// addLogFlags adds what the log looks like to every command.
func addLogFlags(root *cobra.Command) {
	set := root.PersistentFlags()
	set.Var(&choice{"warn", []string{"debug", "info", "warn", "error"}}, "log-level", "what is logged to stderr: debug, info, warn or error")
	set.Var(&choice{"text", []string{"text", "json"}}, "log-format", "how: text or json, one line an event")
	set.BoolP("verbose", "v", false, "the same as --log-level debug")
}

// logger returns the log, which goes to stderr.
func logger(cmd *cobra.Command) *slog.Logger {
	var level slog.Level
	// The flag has checked the word.
	_ = level.UnmarshalText([]byte(flagText(cmd, "log-level")))
	w := cmd.ErrOrStderr()
	o := &slog.HandlerOptions{Level: level}
	if toJournal(w) {
		o.ReplaceAttr = withoutTime
	}
	if flagText(cmd, "log-format") == "json" {
		return slog.New(slog.NewJSONHandler(w, o))
	}
	return slog.New(slog.NewTextHandler(w, o))
}

// flagText returns what a flag says; "" if the command has none of that name.
func flagText(cmd *cobra.Command, name string) string {
	if f := cmd.Flags().Lookup(name); f != nil {
		return f.Value.String()
	}
	return ""
}

// toJournal tells whether w leads to systemd's journal, which puts the time to
// each line by itself.
func toJournal(w io.Writer) bool {
	if w != io.Writer(os.Stderr) {
		return false
	}
	yes, err := journal.StderrIsJournalStream()
	return yes && err == nil
}

// withoutTime leaves the time out of an event.
func withoutTime(groups []string, a slog.Attr) slog.Attr {
	if a.Key == slog.TimeKey && len(groups) == 0 {
		return slog.Attr{}
	}
	return a
}
