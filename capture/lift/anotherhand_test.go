package lift_test

import (
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/workshop"
)

// Nothing was learned from a hand that goes from rest to rest in smooth reaches, of a few
// degrees or many and up to 200 degrees a second; neither the workshop's own nor the
// simulator's does. All kinds of trouble are played with it. LOBESCRIBE_WORKSHOP is the
// number of sessions a line, as for TestWorkshop.
func TestAnotherHand(t *testing.T) {
	if testing.Short() {
		t.Skip("it takes some seconds")
	}
	runs, err := workshop.Runs(2)
	require.NoError(t, err)
	lines := workshop.Lines("")
	require.Len(t, lines, 61)
	tallies := make([]shopTally, len(lines))
	var mu sync.Mutex
	workshop.Each(lines, runs, true, func(line int, s *workshop.Session, rate float64) {
		p := judge(s, analysed(s.Trace), rate)
		mu.Lock()
		defer mu.Unlock()
		tallies[line].add(p)
	})
	total, silent := 0, 0
	for i, l := range lines {
		g := &tallies[i]
		t.Logf("%-28s %v", l, g)
		total += g.runs
		silent += g.silent
		if l.Kind.Name != "sound" {
			continue
		}
		require.Greater(t, g.openings, 2*runs)
		assert.LessOrEqual(t, percent(g.silent, g.runs), workshop.Luck(0, g.runs), "%s: silently wrong", l)
		assert.LessOrEqual(t, percent(g.falsely, g.runs), 1+workshop.Luck(1, g.runs), "%s: told falsely", l)
		assert.GreaterOrEqual(t, percent(g.covered, g.openings), 92-workshop.Luck(92, g.openings), "%s: U covers", l)
	}
	t.Logf("in all %d sessions, %.2f of 100 silently wrong", total, percent(silent, total))
	require.Equal(t, len(lines)*runs, total)
	assert.LessOrEqual(t, percent(silent, total), 1+workshop.Luck(1, total))
}
