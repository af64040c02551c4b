package lift_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// A trace that comes in pieces gives what it gives whole, wherever it is cut,
// with notes that come with the piece behind them and with readings at one time.
func TestAnalysisInPieces(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	pressed := 0
	for i := range 120 {
		k := cell(r.IntN(numberOfCells()))
		if i%3 == 0 {
			k.setup = []setup{zeroPressed, unitSwitched}[i/3%2]
		}
		var whole lift.Findings
		var trace measure.Trace
		k.play(uint64(i)+900_000, func(tr measure.Trace) lift.Findings {
			if len(tr.Readings) > 40 {
				mid := tr.Readings[len(tr.Readings)/2]
				tr.Notes = append(tr.Notes, measure.Note{At: mid.At, Until: mid.At + 5_000, Kind: measure.NoteGap},
					measure.Note{At: tr.Readings[len(tr.Readings)*3/4].At, Kind: measure.NoteReZero})
			}
			trace, whole = tr, analysed(tr)
			return whole
		})
		if len(trace.Readings) == 0 {
			continue // the session had nothing to spoil
		}
		a := lift.NewAnalysis(lift.Options{Told: trace.Resolution})
		readings, notes := trace.Readings, trace.Notes
		for len(readings) > 0 {
			n := min(1+r.IntN(1+r.IntN(500)), len(readings))
			last := readings[n-1].At
			var now []measure.Note
			for len(notes) > 0 && notes[0].At < last { // one at the last reading comes with the next piece
				now, notes = append(now, notes[0]), notes[1:]
			}
			piece := append([]measure.Reading(nil), readings[:n]...)
			a.Add(piece, now)
			clear(piece) // it is the caller's
			readings = readings[n:]
		}
		a.Add(nil, notes)
		got, err := a.Findings()
		require.NoError(t, err)
		assert.Equal(t, whole, got, "%+v", k)
		pressed += faults(got, lift.ReZero)
	}
	assert.Greater(t, pressed, 50, "the notes were heard")
}
