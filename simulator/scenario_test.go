package simulator

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

func TestZeroScenarioPlaysThreeOpenings(t *testing.T) {
	s, err := Scenario{}.Play()
	require.NoError(t, err)
	require.Len(t, s.Truth.Whole(), 3)
	for _, o := range s.Truth.Openings {
		assert.Equal(t, 448*measure.Thou, o.MaxLift, "0.280 in of lobe and a ratio of 1.6")
		assert.Less(t, o.Open, o.OpeningHalfAt)
		assert.Less(t, o.OpeningHalfAt, o.Nose)
		assert.Less(t, o.Nose, o.ClosingHalfAt)
		assert.Less(t, o.ClosingHalfAt, o.Close)
		assert.Equal(t, 65*measure.Degree, o.NoseAngle-o.OpeningHalfAngle, "a symmetric law is at half in the middle of the flank")
	}
	assert.Equal(t, s.Truth.Openings[0].NoseAngle+measure.Cycle, s.Truth.Openings[1].NoseAngle)
	require.NotEmpty(t, s.Trace.Readings)
	require.Len(t, s.Indicator, len(s.Trace.Readings))
}

// Without the wires, and foreseen without a reading, all is as it is with them.
func TestNoWireAndForeseeAreTheSameSession(t *testing.T) {
	for seed := range uint64(6) {
		s := Scenario{
			Seed: seed, Hand: Hand{Style: Styles()[seed], Stops: 1}, Openings: 2,
			Indicator: Indicator{Noise: 3000, Jitter: 0.2, Lost: []Loss{{At: 5 * measure.Second, For: measure.Second}}},
		}
		if seed%2 == 0 {
			s.Encoder = &Encoder{Delay: 3 * measure.Millisecond}
		}
		whole, err := s.Play()
		require.NoError(t, err)
		require.NotEmpty(t, whole.Trace.Readings)
		s.NoWire = true
		quiet, err := s.Play()
		require.NoError(t, err)
		assert.Equal(t, whole.Trace, quiet.Trace)
		assert.Equal(t, whole.Truth.Openings, quiet.Truth.Openings)
		assert.Empty(t, quiet.Indicator)
		assert.Empty(t, quiet.Counts)
		truth, err := s.Foresee()
		require.NoError(t, err)
		for i, o := range whole.Truth.Openings {
			o.HighestSampled = 0
			assert.Equal(t, o, truth.Openings[i])
		}
	}
}

func BenchmarkPlay(b *testing.B) {
	// 20 openings read a hundred times a second, with an encoder.
	s := Scenario{Openings: 20, Indicator: Indicator{Rate: 100, Noise: 1000}, Encoder: &Encoder{}}
	b.ReportAllocs()
	readings := 0
	for b.Loop() {
		session, err := s.Play()
		if err != nil {
			b.Fatal(err)
		}
		readings = len(session.Trace.Readings)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(readings), "ns/reading")
}
