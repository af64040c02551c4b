package lift_test

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// million returns a trace of about a million readings: half an hour of turning
// at 500 readings a second.
func million(b *testing.B, encoder bool) measure.Trace {
	b.Helper()
	s := simulator.Scenario{Seed: 1, Openings: 115, Hand: simulator.Hand{Style: simulator.Bar}, Indicator: simulator.Indicator{Rate: 500, Noise: 3000}}
	if encoder {
		s.Encoder = &simulator.Encoder{}
	}
	ses, err := s.Play()
	require.NoError(b, err)
	require.Greater(b, len(ses.Trace.Readings), 900_000)
	ses.Trace.Readings = ses.Trace.Readings[:min(len(ses.Trace.Readings), 1_000_000)]
	return ses.Trace
}

func BenchmarkFindingsOfAMillionReadings(b *testing.B) {
	for _, name := range []string{"lift", "lift and angle", "on two rows"} {
		b.Run(name, func(b *testing.B) {
			tr := million(b, name != "lift")
			if name == "on two rows" {
				var rows []measure.Reading
				for _, r := range tr.Readings {
					rows = append(rows, measure.Reading{At: r.At, Lift: r.Lift, Has: measure.HasLift}, measure.Reading{At: r.At, Angle: r.Angle, Has: measure.HasAngle})
				}
				tr.Readings = rows
			}
			before := processor(b)
			for b.Loop() {
				f, err := lift.Analyse(tr, lift.Options{})
				if err != nil || len(f.Openings) < 50 {
					b.Fatal(len(f.Openings), err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(tr.Readings)), "ns/reading")
			b.ReportMetric(float64(processor(b)-before)/float64(b.N)/float64(len(tr.Readings)), "cpu-ns/reading")
		})
	}
}

// Ten thousand openings in one trace, a hundred and twenty-five readings each, cost what
// a thousand do, each.
func BenchmarkFindingsOfManyOpenings(b *testing.B) {
	for _, n := range []int{1000, 3000, 10_000} {
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			trace := lobes(n * 5000)
			for i := range trace.Readings[:n*125] {
				trace.Readings[i] = trace.Readings[40*i]
			}
			trace.Readings = trace.Readings[:n*125]
			for b.Loop() {
				f, err := lift.Analyse(trace, lift.Options{})
				if err != nil || len(f.Openings) != n {
					b.Fatal(len(f.Openings), err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/opening")
		})
	}
}
