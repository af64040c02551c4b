package sheet_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/dashboard/sheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func says(g sheet.Gate, item string) string {
	i := slices.IndexFunc(g.Checks, func(c sheet.Check) bool { return c.Item == item })
	if g.Checks[i].Done {
		return "done"
	}
	return strings.Join(g.Checks[i].Says, " ")
}

// Each point of the list fails for its own reason, and the sheet is a draft
// until every one holds or is waived by name.
func TestGate(t *testing.T) {
	b := newBench(t)
	b.whole()
	g := b.gather(options).Gate()
	assert.True(t, g.Draft)
	assert.Equal(t, "done", says(g, "openings"))
	assert.Equal(t, "done", says(g, "simulated"))
	assert.Contains(t, says(g, "trials"), "no trial tells yet")
	assert.Contains(t, says(g, "clearances"), "No clearance was worked out")
	assert.Contains(t, says(g, "second"), "Nobody is named")

	e, err := b.store.Engine("demo")
	require.NoError(t, err)
	e.TDC = nil
	_, err = b.store.PutEngine(e)
	require.NoError(t, err)
	g = b.gather(options).Gate()
	assert.Contains(t, says(g, "tdc"), "is not known")

	page := written(t, sheet.Write, b.gather(options), "draft.html")
	assert.Contains(t, page, `class="draft"`)
	assert.Contains(t, page, "DRAFT")
	wellFormed(t, page)

	e, err = b.store.Engine("demo")
	require.NoError(t, err)
	later := time.Date(2026, 3, 15, 12, 0, 0, 0, time.UTC)
	for _, c := range g.Checks {
		e.Waived = append(e.Waived, storage.Waiver{Item: c.Item, By: "A. Fitter", Why: "<checked> by hand", At: later})
	}
	e, err = b.store.PutEngine(e)
	require.NoError(t, err)
	d := b.gather(options)
	require.False(t, d.Gate().Draft)
	page = written(t, sheet.Write, d, "waived.html")
	assert.NotContains(t, page, "DRAFT</")
	assert.NotContains(t, page, `class="draft"`)
	assert.Contains(t, page, "waived by A. Fitter on 15 March 2026: &lt;checked&gt; by hand")
	assert.Contains(t, page, "seen by A. Fitter")
	wellFormed(t, page)

	// A trial after the second look was not looked at.
	below := measure.Length(10)
	_, err = b.store.PutTrial(storage.Trial{Engine: "demo", Valve: "2I", AdjusterBelowValve: &below, At: later.Add(time.Hour)})
	require.NoError(t, err)
	g = b.gather(options).Gate()
	assert.True(t, g.Draft)
	assert.Contains(t, says(g, "second"), "something was measured or changed since")

	e.Waived = []storage.Waiver{{Item: "tdc", By: "A. Fitter"}}
	_, err = b.store.PutEngine(e)
	assert.ErrorContains(t, err, "waived", "not without a reason")
}

// What holds for many valves is said once: sixteen lines of one sentence are a page of
// the sheet, on which the seventeenth is overlooked.
func TestWhatHoldsForManyValvesIsSaidOnce(t *testing.T) {
	b := newBench(t)
	b.engine(func(e *storage.Engine) { e.RockerRatio.Exhaust = 0 })
	d := b.gather(options)
	assert.Equal(t, "Each valve: not measured.", says(d.Gate(), "openings"))
	assert.Equal(t, "Each valve: no trial tells yet.", says(d.Gate(), "trials"))
	b.turn("1I", 10.9, 470, false)
	d = b.gather(options)
	assert.Equal(t, "1 exhaust, 3 intake, 3 exhaust, 4 intake, 4 exhaust, 2 intake, 2 exhaust: not measured.", says(d.Gate(), "openings"))
	page := written(t, sheet.Write, d, "")
	for _, sentence := range []string{"not measured.", "no trial tells yet", "<strong>1 exhaust, 3 intake, 3 exhaust, 4 intake, 4 exhaust, 2 intake, 2 exhaust:</strong> max lift"} {
		assert.Equal(t, 1, strings.Count(page, sentence), sentence)
	}
	assert.Contains(t, page, "<dd>1.5 / –</dd>", "a ratio that was not typed is none of zero")
}

// A figure of the simulator's is marked beside the figure, and no sheet that
// has one is final.
func TestASimulatedFigureIsMarkedOnPaper(t *testing.T) {
	b := newBench(t)
	b.engine(nil)
	id := b.turn("1I", 10.9, 470, true)
	require.NotContains(t, written(t, sheet.Write, b.gather(options), ""), `class="not-real"`)
	w, err := b.store.Begin(storage.Head{Engine: "demo", Valve: "1I", Source: storage.SourceDemo, Resolution: measure.Inch / 2000})
	require.NoError(t, err)
	_, tr, err := b.store.Load(id)
	require.NoError(t, err)
	require.NoError(t, w.Append(tr.Readings, nil))
	require.NoError(t, w.End())
	b.find(w.ID())
	d := b.gather(options)
	assert.Contains(t, written(t, sheet.Write, d, ""), `<span class="not-real">simulated</span>`)
	assert.Contains(t, says(d.Gate(), "simulated"), "is the simulator's")
}
