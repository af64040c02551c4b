package sheet_test

import (
	"encoding/csv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/valve"
	"lobescribe/dashboard/sheet"
)

// The builder's own names stand wherever a valve is named, with the usual words
// behind them, so that whoever reads the sheet beside another engine knows which.
func TestOwnNamesStandOnTheSheet(t *testing.T) {
	b := newBench(t)
	b.whole()
	plain := written(t, sheet.Write, b.gather(options), "")
	e, err := b.store.Engine("demo")
	require.NoError(t, err)
	e.ValveNames = valve.OwnNames{"1I": "No.1 <In>", "3E": "B3", "4I": "4I"}
	_, err = b.store.PutEngine(e)
	require.NoError(t, err)
	d := b.gather(options)
	page := written(t, sheet.Write, d, "names.html")
	assert.Equal(t, strings.Count(plain, "1 intake"), strings.Count(page, "No.1 &lt;In&gt; (1 intake)"), "wherever the valve is named")
	assert.Equal(t, strings.Count(plain, "3 exhaust"), strings.Count(page, "B3 (3 exhaust)"))
	assert.Greater(t, strings.Count(page, "No.1 &lt;In&gt; (1 intake)"), 8)
	assert.NotContains(t, page, "(4 intake)4I")
	rows, err := csv.NewReader(strings.NewReader(written(t, sheet.WriteCSV, d, ""))).ReadAll()
	require.NoError(t, err)
	called := map[string]string{}
	for _, r := range rows {
		if r[3] == "called" {
			called[r[1]] = r[9]
		}
	}
	assert.Equal(t, map[string]string{"1I": "No.1 <In>", "3E": "B3", "4I": "4I"}, called)
}
