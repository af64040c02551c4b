package daemon

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/keep"
	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// Somebody looks at a trace that is in the making: what is found so far is shown
// and not stored, or it would stand for the whole trace if the power went before
// that is worked out.
func TestFindingsSoFarAreNotStored(t *testing.T) {
	p := inThisProcess(t, nil, 0)
	p.turn(0, 2000)
	s := p.trace(t, "something is on disk", func(s keep.State) bool { return s.ID != 0 && s.OnDisk > 0.5 })
	_, err := FindingsOf(p.store, storage.ID(s.ID))
	require.NoError(t, err)
	_, err = p.store.Findings(storage.ID(s.ID))
	require.ErrorIs(t, err, storage.ErrNotFound)
	p.live.EndTrace()
	require.Eventually(t, func() bool {
		_, err := p.store.Findings(storage.ID(s.ID))
		return err == nil
	}, patience, time.Millisecond, "the whole trace's are")
}

// A trace lacks readings after a repair: its findings are of those that are left,
// in the list as well, without anybody having looked at it.
func TestWhatARepairLeftIsWorkedOut(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	s, err := storage.Open(path, storage.Options{})
	require.NoError(t, err)
	var trace measure.Trace
	rng := rand.New(rand.NewPCG(19, 0))
	for i := range 100_000 { // hills of 10 mm
		trace.Readings = append(trace.Readings, measure.Reading{At: measure.Stamp(i) * measure.Millisecond,
			Lift: measure.Length(max(0, min(i%4000-1000, 3000-i%4000))+rng.IntN(3)) * 10 * measure.Micrometre, Has: measure.HasLift})
	}
	id, err := ImportTrace(s, trace, storage.Head{Valve: "1I"})
	require.NoError(t, err)
	before, err := s.Findings(id)
	require.NoError(t, err)
	require.NoError(t, s.Close())

	// One of its chunks.
	image, err := os.ReadFile(path)
	require.NoError(t, err)
	for at := 0; at < len(image); at += 4096 {
		hurt := bytes.Clone(image)
		hurt[at+2000] ^= 1
		require.NoError(t, os.WriteFile(path, hurt, 0o600))
		rep, err := storage.VerifyFile(t.Context(), path)
		if err == nil && len(rep.Damages) == 1 && rep.Damages[0].Part == storage.PartReadings && rep.Damages[0].Count > 0 {
			break
		}
	}
	s, err = storage.Open(path, storage.Options{Repair: true})
	require.NoError(t, err)
	p := onStore(t, s, Options{})
	var now lift.Findings
	require.Eventually(t, func() bool {
		now, err = p.store.Findings(id)
		return err == nil && len(now.Openings) != len(before.Openings)
	}, patience, time.Millisecond, "those of before stand there for ever")
	records, err := s.Repairs(true)
	require.NoError(t, err)
	require.Len(t, records, 1)
	require.Len(t, records[0].Losses, 1)
	_, left, _ := s.Load(id)
	want, err := lift.Analyse(left, lift.Options{})
	require.NoError(t, err)
	assert.JSONEq(t, mustJSON(want), mustJSON(now))
}
