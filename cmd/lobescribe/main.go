// Command lobescribe watches a digital indicator, and a crank encoder if there
// is one, while somebody turns an engine by hand: it calls out max lift and half
// lift, keeps every turn, does the arithmetic of the valve train, and shows it on
// a local web page. A file holds one subcommand; the work is done in the
// packages.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"
)

func main() {
	ctx, stop := untilStopped(os.Stderr)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// The exit statuses promised to the outside.
const (
	exitDone   = 0
	exitFailed = 1 // the work failed
	exitWords  = 2 // the words on the command line were wrong
)

// wordsError marks an error as one of the words that were given.
type wordsError struct{ error }

func (e wordsError) Unwrap() error { return e.error }

// wrongWords returns an error that ends the program with status 2.
func wrongWords(format string, args ...any) error {
	return wordsError{fmt.Errorf(format, args...)}
}

// run is the whole program: it returns the exit status and writes at most one
// line to stderr, which says what to do.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	started := false // cobra found the command and its words are in order
	root := newRoot()
	prepare := root.PersistentPreRunE
	root.PersistentPreRunE = func(cmd *cobra.Command, args []string) error {
		started = true
		return prepare(cmd, args)
	}
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	cmd, err := root.ExecuteContextC(ctx)
	if err == nil {
		return exitDone
	}
	code := exitFailed
	if words := (wordsError{}); !started || errors.As(err, &words) {
		code = exitWords
		err = blameSettings(cmd, err)
	}
	fmt.Fprintln(harmless{stderr}, "lobescribe: "+oneLine(err))
	return code
}

// oneLine prints err as a single line, whatever libraries put into it.
func oneLine(err error) string {
	return strings.Join(strings.Fields(plainly(err)), " ")
}
