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
