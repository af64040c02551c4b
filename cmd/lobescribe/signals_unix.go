//go:build unix

package main

import (
	"os/signal"
	"syscall"
)

// keepGoing ignores what would end the program in the middle of a write: a
// reader of its output that has gone (a Ctrl-C also ends the `tee` of the same
// terminal, while there is still something to be written to disk), and a limit
// on the size of a file, which is then a full disk like any other.
func keepGoing() { signal.Ignore(syscall.SIGPIPE, syscall.SIGXFSZ) }
