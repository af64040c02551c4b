package main

import (
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/capture/valve"
	"lobescribe/dashboard/question"
	"lobescribe/dashboard/sheet"
	"lobescribe/device"
	"lobescribe/device/measure"
	"lobescribe/simulator"
	"lobescribe/storage"
)

// TestDemoIsHalfDone holds the work of the demo against the truth that the simulator
// keeps on the side.
func TestDemoIsHalfDone(t *testing.T) {
	store, err := storage.Open(filepath.Join(t.TempDir(), "demo.db"), storage.Options{})
	require.NoError(t, err)
	defer store.Close()
	fresh, err := setUpDemo(store, false)
	require.NoError(t, err)
	require.True(t, fresh)
	bench, err := simulator.NewBench(simulator.BenchOptions{Seed: 1, Indicator: simulator.Indicator{Rate: 50}})
	require.NoError(t, err)
	require.NoError(t, tellStory(t.Context(), store, bench, device.Options{}))

	d, err := sheet.Gather(store, "bench-mule", sheet.Options{})
	require.NoError(t, err)
	measured := map[string]bool{}
	for _, v := range d.Valves {
		if !v.Measured() {
			continue
		}
		name := v.Name
		measured[name] = true
		i, _ := muleValve(name)
		truth, err := bench.Engine().Valves[i].MaxLift()
		require.NoError(t, err)
		f := v.Findings
		assert.InDelta(t, truth.Inches(), f.MaxLift.Inches(), f.MaxLiftU.Inches()*1.5, "%s: within one and a half times its U", name)
	}
	assert.Len(t, measured, 6, "six of eight valves: %v", measured)
	assert.False(t, measured["2I"] || measured["2E"], "the last cylinder is still to be turned")

	for _, name := range []string{"1I", "1E"} {
		facts, err := question.Gather(store, "bench-mule", name)
		require.NoError(t, err)
		assert.GreaterOrEqual(t, len(facts.Trials), 2, name)
		next := facts.Next()
		require.NotNil(t, next.Answer, "%s: %s", name, next.NoAnswer)
		assert.True(t, next.Answer.Verdict.Good(), "%s is square: %+v", name, next.Answer.Verdict)
		stack := facts.Trials[len(facts.Trials)-1].Height()
		i, _ := muleValve(name)
		v := simulator.BenchMule().Valves[i]
		v.Rocker = v.Rocker.Raised(stack-storyStack, v.Lobe.Lift)
		lift, err := v.MaxLift()
		require.NoError(t, err)
		below := v.Rocker.AdjusterBelow(lift/2+v.Lash, v.Lobe.Lift)
		// Square, the linkage shows only its bend: 1.52 in / 1.55 times the sine of 8
		// degrees; a stack moves the height by 1 + 1/1.55 of itself.
		assert.InDelta(t, -1.52/1.55*math.Sin(8*math.Pi/180), below.Inches(), 0.004*(1+1/1.55), "%s stands square with %s", name, stack)
	}

	all, err := store.Traces(storage.Query{Engine: "bench-mule"})
	require.NoError(t, err)
	kinds, left := map[string]int{}, 0
	for _, s := range all {
		head, trace, err := store.Load(s.ID)
		require.NoError(t, err)
		assert.Equal(t, storage.SourceDemo, head.Source)
		left += len(head.LeftOut)
		f, err := lift.Analyse(trace, lift.Options{LeaveOut: head.LeftOut, Proof: head.Proof})
		require.NoError(t, err)
		for _, fault := range f.Faults {
			kinds[string(fault.Kind)]++
		}
	}
	assert.Equal(t, 1, left, "one opening is left out")
	assert.Equal(t, 1, kinds["gap"], "the cable came out once: %v", kinds)

	e, err := store.Engine("bench-mule")
	require.NoError(t, err)
	require.NotNil(t, e.TDC)
	want, ok := bench.EncoderAt(360 * measure.Degree)
	require.True(t, ok)
	assert.InDelta(t, want.Degrees(), e.TDC.Angle.Degrees(), 1.5*e.TDC.U.Degrees(), "top dead centre within one and a half times its U")
	assert.Positive(t, e.TDC.U)
	_, exhaust := liftsOf(d)
	assert.Less(t, exhaust["3E"].Inches(), exhaust["1E"].Inches()-0.015, "the worn lobe of 3E shows")
}

func liftsOf(d sheet.Data) (intake, exhaust map[string]measure.Length) {
	intake, exhaust = map[string]measure.Length{}, map[string]measure.Length{}
	for _, v := range d.Valves {
		if v.Kind == valve.Exhaust {
			exhaust[v.Name] = v.Findings.MaxLift
		} else {
			intake[v.Name] = v.Findings.MaxLift
		}
	}
	return intake, exhaust
}
