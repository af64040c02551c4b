package main

import (
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/cmd/lobescribe/daemon"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// Three openings of a cos² lobe, 10 mm high.
func TestLeaveOutOnTheCommandLine(t *testing.T) {
	store, err := storage.Open(filepath.Join(t.TempDir(), storeFile), storage.Options{})
	require.NoError(t, err)
	defer store.Close()
	var tr measure.Trace
	for i := range 4800 {
		x := math.Mod(float64(i)*0.45, 720) - 360
		mm := 0.0
		if math.Abs(x) < 120 {
			mm = 10 * math.Pow(math.Cos(math.Pi*x/240), 2)
		}
		tr.Readings = append(tr.Readings, measure.Reading{At: measure.Stamp(i) * 10 * measure.Millisecond, Has: measure.HasLift, Lift: measure.Length(math.Round(mm*100)) * 10_000})
	}
	id, err := daemon.ImportTrace(store, tr, storage.Head{Source: "import:x.csv"})
	require.NoError(t, err)
	before, err := store.Findings(id)
	require.NoError(t, err)
	require.Len(t, before.Openings, 3)

	f, err := leaveOut(store, id, 2, "a rag", false)
	require.NoError(t, err)
	require.Len(t, f.Openings, 2)
	require.Equal(t, "a rag", f.LeftOut[0].Why)
	require.Equal(t, before.Openings[1].Nose, f.LeftOut[0].Opening.Nose)
	f, err = leaveOut(store, id, 3, "", false)
	require.NoError(t, err)
	require.Len(t, f.Openings, 1, "numbers are those of the trace, struck ones counted")
	_, err = leaveOut(store, id, 1, "", true)
	assert.ErrorContains(t, err, "was not left out")
	_, err = leaveOut(store, id, 4, "x", false)
	assert.ErrorContains(t, err, "there is no 4")
	for _, n := range []int{2, 3} {
		f, err = leaveOut(store, id, n, "", true)
		require.NoError(t, err)
	}
	assert.Equal(t, before, f, "taken back, all is as it was")
	_, after, err := store.Load(id)
	require.NoError(t, err)
	assert.Equal(t, tr.Readings, after.Readings, "the readings stay")
}
