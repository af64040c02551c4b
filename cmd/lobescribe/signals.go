package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"
)

// stubborn is how long the end may take before it can be forced. A second
// Ctrl-C in haste must not cost what is still on its way to disk.
const stubborn = 5 * time.Second

// untilStopped returns a context that ends when the program is asked to stop:
// by Ctrl-C, by a service manager, by the end of the session or, on Windows, by
// the close button of the console (which reaches Go as SIGTERM and leaves some
// five seconds). Everything is then put in order and the program ends by
// itself. Where that hangs, as on a disk that does not answer, whoever asks once
// more after five seconds is rid of it.
func untilStopped(stderr io.Writer) (context.Context, context.CancelFunc) {
	asks := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) { // nohup has seen to it
		asks = append(asks, syscall.SIGHUP) // the terminal's window was closed
	}
	ctx, stop := signal.NotifyContext(context.Background(), asks...)
	context.AfterFunc(ctx, func() {
		time.AfterFunc(stubborn, func() {
			fmt.Fprintln(stderr, "lobescribe: still writing to disk; Ctrl-C once more ends it all the same, and loses what is not written")
			stop()
		})
	})
	return ctx, stop
}
