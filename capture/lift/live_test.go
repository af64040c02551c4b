package lift_test

import (
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/lift"
	"lobescribe/capture/workshop"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// What was called out while the engine turned is in the findings of the finished
// trace as well: no opening is taken back. Before the crank angle told a heel
// from a nose, one session in 140 began on a lobe and was called out upside down.
func TestLiveTakesNothingBack(t *testing.T) {
	var called, takenBack atomic.Int64
	population(480, func(i int) (kind, uint64) {
		hands := simulator.Styles()
		return kind{rate: matrixRates[i%6], step: matrixSteps[i/6%4], hand: hands[i/24%len(hands)], setup: asItShould, encoder: i/24/len(hands)%2 == 0}, uint64(i + 9_500_000)
	}, func(tr measure.Trace) lift.Findings {
		f := analysed(tr)
		for _, live := range calledOut(tr) {
			called.Add(1)
			in := false
			for _, o := range f.Openings {
				in = in || live.Nose >= o.Open && live.Nose <= o.Close
			}
			if !in {
				takenBack.Add(1)
				t.Logf("taken back: %v at %v, of %d readings", live.MaxLift, live.Nose, len(tr.Readings))
			}
		}
		return f
	}, func(kind, outcome) {})
	assert.Greater(t, called.Load(), int64(1000))
	assert.LessOrEqual(t, takenBack.Load(), int64(1), "of %d", called.Load())
}

// calledOut returns the openings that a follower of the readings tells.
func calledOut(tr measure.Trace) (live []lift.Opening) {
	g := lift.NewSegmenter(lift.Options{Resolution: tr.Resolution})
	var news []lift.News
	for _, r := range tr.Readings {
		if !g.Step(r) {
			continue
		}
		news = g.Take(news[:0])
		for _, n := range news {
			if n.Opening != nil {
				live = append(live, *n.Opening)
			}
		}
	}
	return live
}

// Whoever begins with the valve on its nose and rests there sees the reading fall
// first; the crank turned on the heel tells that that was no opening.
func TestBegunOnTheNoseWithAnEncoder(t *testing.T) {
	for _, rate := range []float64{5, 50} {
		tr := turned(0, rate, leg{rest: 15}, leg{to: 720, speed: 40}, leg{rest: 15}, leg{to: 1440, speed: 40}, leg{rest: 15}, leg{to: 1700, speed: 40}, leg{rest: 5})
		live := calledOut(tr)
		if assert.Len(t, live, 2, "at %v Hz", rate) {
			for _, o := range live {
				assert.InDelta(t, 10, o.MaxLift.Millimetres(), 0.05)
				assert.NotNil(t, o.NoseAngle)
				assert.InDelta(t, 0, float64(int64(o.NoseAngle.Degrees()+360)%720-360), 2)
			}
		}
	}
}

// What the ± of a finished trace holds of a spindle that may have stopped, hung free or
// stuck, of a lifter that may bleed and of a heel that runs out, the ± that is told while
// the engine turns holds as well: somebody at the bench cuts by that one.
func TestLiveUncertaintyHoldsWhatTheTracesDoes(t *testing.T) {
	// Of a cut nose what is not covered is told: the fault says that it is cut.
	for kind, holds := range map[string]float64{"sound": 98, "cut nose": 80, "hangs free": 92, "bleeding": 86, "heel runs out": 93} {
		var mu sync.Mutex
		openings, covered, narrower := 0, 0, 0
		workshop.Each(workshop.Lines(kind), 24, false, func(_ int, s *workshop.Session, _ float64) {
			found := analysed(s.Trace)
			live := calledOut(s.Trace)
			mu.Lock()
			defer mu.Unlock()
			for _, o := range live {
				same := slices.IndexFunc(found.Openings, func(f lift.Opening) bool { return o.Nose >= f.Open && o.Nose <= f.Close })
				truly := slices.IndexFunc(s.Truth.Openings, func(w workshop.Opening) bool { return o.Nose >= w.Open && o.Nose <= w.Close })
				if same < 0 || truly < 0 {
					continue
				}
				openings++
				if 10*o.MaxLiftU < 7*found.Openings[same].MaxLiftU {
					narrower++
				}
				if off := o.MaxLift - s.Truth.Openings[truly].Lift; max(off, -off) <= o.MaxLiftU+s.Step {
					covered++
				}
			}
		})
		t.Logf("%s: %d openings told live, %.1f of 100 with a ± that holds, %.1f with one under 0.7 of the trace's", kind, openings, percent(covered, openings), percent(narrower, openings))
		assert.Greater(t, openings, 50, kind)
		assert.GreaterOrEqual(t, percent(covered, openings), holds, kind)
		// How the heel behind an opening comes back is not seen yet when it is told.
		assert.LessOrEqual(t, percent(narrower, openings), 25.0, kind)
	}
}
