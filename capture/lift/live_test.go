package lift_test

import (
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/lift"
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
