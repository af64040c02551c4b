package coverage

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/capture/coverage/model"
	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// driveRows are turns by somebody who goes back after each stroke, with play on
// either side of the crank and an indicator whose port is late.
func driveRows() []row {
	type seen struct {
		model.Ratchet
		d *lift.Drive
	}
	draw := func(t *testing.T, r *rand.Rand) seen {
		s := seen{Ratchet: model.Ratchet{
			Lobe: model.Lobe{Height: between(r, 8, 14), Centre: 200, Half: between(r, 120, 150), Skew: between(r, -0.1, 0.1)},
			Late: between(r, -0.05, 0.06), Step: 0.01, Count: []float64{0.1, 0.15, 0.25}[r.IntN(3)], Turns: 5,
		}}
		if r.IntN(2) == 0 {
			s.ValvePlay = between(r, 0, 1)
		} else {
			s.EncoderPlay = between(r, 0, 1)
		}
		var trace measure.Trace
		for _, p := range s.Play(r) {
			trace.Readings = append(trace.Readings, measure.Reading{At: measure.Stamp(p.Seconds * 1e6), Has: measure.HasLift | measure.HasAngle, Lift: mm(p.Lift), Angle: deg(p.Angle)})
		}
		f, err := lift.Analyse(trace, lift.Options{})
		require.NoError(t, err)
		require.NotNil(t, f.Drive)
		require.NotNil(t, f.Drive.Slack)
		s.d = f.Drive
		return s
	}
	return each(180, "short strokes, each with one back"+few, draw, []figure[seen]{
		{"findings.delay_u_s", func(_ *testing.T, s seen) (off, u float64) {
			return s.d.Delay.Seconds() - s.Late, s.d.DelayU.Seconds()
		}, "it holds what the flank of a lobe that is no polynomial, a spindle that is slow to come home and an encoder's count leave of a delay; the model has none of these"},
		{"findings.slack_u_deg", func(_ *testing.T, s seen) (off, u float64) {
			return s.d.Slack.Degrees() - (s.ValvePlay - s.EncoderPlay), s.d.SlackU.Degrees()
		}, ""},
	})
}
