package sheet_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/dashboard/sheet"
	"lobescribe/storage"
)

// What was written beside an opening stands on the sheet with its valve.
func TestNotesArePrinted(t *testing.T) {
	b := newBench(t)
	b.engine(nil)
	id := b.turn("1I", 10.9, 470, true)
	o := b.gather(sheet.Options{}).Valves[0].Findings.Openings[0]
	assert.NotContains(t, written(t, sheet.Write, b.gather(sheet.Options{}), ""), "Noted at the bench")
	require.NoError(t, b.store.Amend(id, func(h *storage.Head) {
		h.Noted = []storage.OpeningNote{{From: o.Open, Until: o.Close, Says: "tip <was> dry"}}
	}))
	page := written(t, sheet.Write, b.gather(sheet.Options{}), "")
	assert.Contains(t, page, "<strong>1 intake:</strong> tip &lt;was&gt; dry (opening at ")
}

// What was left out is not in a figure, and stands on the sheet with its reason.
func TestWhatWasLeftOutIsPrinted(t *testing.T) {
	b := newBench(t)
	b.engine(nil)
	id := b.turn("1I", 10.9, 470, true)
	before := b.gather(sheet.Options{}).Valves[0].Findings
	require.Greater(t, len(before.Openings), 1)
	o := before.Openings[0]
	require.NoError(t, b.store.Amend(id, func(h *storage.Head) {
		h.LeftOut = []lift.LeftOut{{From: o.Open, Until: o.Close, Why: "touched <the> indicator"}}
	}))
	b.find(id)
	d := b.gather(sheet.Options{})
	require.Len(t, d.Valves[0].Findings.Openings, len(before.Openings)-1)
	page := written(t, sheet.Write, d, "")
	assert.Contains(t, page, "touched &lt;the&gt; indicator")
	assert.Contains(t, page, "<h2>Left out</h2>")

	require.NoError(t, b.store.Amend(id, func(h *storage.Head) { h.PutAway = "wrong valve" }))
	d = b.gather(sheet.Options{})
	assert.False(t, d.Valves[0].Measured(), "a trace that was put away speaks for nothing")
	assert.Contains(t, written(t, sheet.Write, d, ""), "wrong valve")
}
