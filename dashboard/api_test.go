package dashboard

import (
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/capture/replay"
	"lobescribe/dashboard/live"
)

// The document names every call, every message and every calculation, and no
// others.
func TestTheDocumentIsWhole(t *testing.T) {
	s := serve(t, nil)
	var calls, served []string
	for _, m := range regexp.MustCompile("(?m)^(?:\\| |## Live: )`([A-Z]+ /(?:api/|healthz|metrics)[^`]*)`").FindAllStringSubmatch(apiText, -1) {
		calls = append(calls, m[1])
	}
	for _, r := range s.server.routes() {
		served = append(served, r.pattern)
	}
	require.NotEmpty(t, calls)
	assert.ElementsMatch(t, served, calls)

	said := map[string]bool{}
	for _, m := range []capture.Message{live.Hello{}, capture.Readings{}, capture.Position{}, capture.Cue{}, capture.Opened{}, capture.Fault{}, live.Device{},
		keep.State{}, live.FindingsOf{}, replay.State{}, live.Selection{}, live.Settings{}, live.Simulated{}, live.ProbeStep{}, live.Marked{}, live.LeftOut{}, live.Agreement{}, live.Repairs{}, live.Alive{}} {
		said[m.Type()] = true
		assert.Regexp(t, "(?m)^\\| `"+m.Type()+"` \\|", apiText)
	}
	assert.Len(t, said, 19)
	for what := range s.server.calc {
		assert.Regexp(t, "calc/.what.` \\| `[a-z ]*\\b"+what+"\\b", apiText)
	}
}
