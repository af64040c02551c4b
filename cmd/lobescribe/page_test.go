package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// ui is the folder of the page's tooling.
const ui = "../../dashboard/ui"

// npm runs a script of the page's tooling and shows what it printed. One that
// hangs is ended, so that what it printed is seen.
func npm(t *testing.T, script string, env ...string) {
	t.Helper()
	ctx := t.Context()
	if end, ok := t.Deadline(); ok { // of go test -timeout
		var cancel context.CancelFunc
		ctx, cancel = context.WithDeadline(ctx, end.Add(-20*time.Second))
		defer cancel()
	}
	cmd := exec.CommandContext(ctx, "npm", "run", "--silent", script)
	cmd.WaitDelay = 5 * time.Second
	cmd.Dir = ui
	cmd.Env = append(os.Environ(), env...)
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "npm run %s:\n%s", script, out)
	for line := range strings.Lines(string(out)) {
		if strings.HasPrefix(line, "# tests") || strings.HasPrefix(line, "# pass") || strings.HasPrefix(line, "# skipped") ||
			strings.HasPrefix(line, "ℹ tests") || strings.HasPrefix(line, "ℹ pass") || strings.HasPrefix(line, "ℹ skipped") {
			t.Log(strings.TrimSpace(line))
		}
	}
}

// needTooling skips a test of the page where its tooling was not fetched, which
// is a failure where LOBESCRIBE_NEED_CHROMIUM is set, as in CI.
func needTooling(t *testing.T) {
	t.Helper()
	if _, err := os.Stat(filepath.Join(ui, "node_modules", "typescript")); err != nil {
		missing(t, "the page's tooling was not fetched: run go generate ./...")
	}
}

func missing(t *testing.T, says string) {
	t.Helper()
	if os.Getenv("LOBESCRIBE_NEED_CHROMIUM") != "" {
		t.Fatal(says)
	}
	t.Skip(says)
}

func TestPageTypes(t *testing.T) {
	t.Parallel()
	needTooling(t)
	npm(t, "check")
}

func TestPageUnits(t *testing.T) {
	t.Parallel()
	needTooling(t)
	npm(t, "test")
}

// TestPageWalk walks through the page in a real Chromium on the demo engine:
// the live figures move, an opening settles, the trace is listed, opened and
// replayed, and on through the whole job. Where LOBESCRIBE_SUITE is all, as in CI, every
// other walk is taken as well.
func TestPageWalk(t *testing.T) {
	needTooling(t)
	if testing.Short() {
		t.Skip("a walk takes minutes")
	}
	// Not beside others: two browsers make the processor late for instruments whose
	// silence is judged.
	browser := ""
	for _, name := range []string{os.Getenv("CHROMIUM"), "chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			browser = found
			break
		}
	}
	if browser == "" {
		missing(t, "no chromium on the PATH: the walk through the page was not taken")
	}
	binary, err := builtBinary()
	require.NoError(t, err)
	script := "stroll"
	if os.Getenv("LOBESCRIBE_SUITE") == "all" {
		script = "walk"
	}
	npm(t, script, "LOBESCRIBE="+binary, "CHROMIUM="+browser)
}
