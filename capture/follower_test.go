package capture

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/simulator"
)

// Whatever the live follower calls an opening, the findings of the finished
// trace call one too, and their max lifts differ by no more than their
// uncertainties.
func TestFollowerAgreesWithFindings(t *testing.T) {
	for _, style := range simulator.Styles() {
		for seed := range uint64(5) {
			ses, err := simulator.Scenario{Seed: seed, Hand: simulator.Hand{Style: style}, Indicator: simulator.Indicator{SpindleIn: seed%2 == 0}}.Play()
			require.NoError(t, err)
			f := NewFollower(FollowerOptions{})
			var msgs []Message
			for _, r := range ses.Trace.Readings {
				msgs = f.Step(msgs, r)
			}
			found, err := lift.Analyse(ses.Trace, lift.Options{})
			require.NoError(t, err)
			var live []lift.Opening
			for _, m := range msgs {
				if o, ok := m.(Opened); ok {
					live = append(live, o.Opening)
				}
			}
			require.Len(t, live, len(found.Openings), "%v %d", style, seed)
			for i, o := range live {
				assert.InDelta(t, float64(found.Openings[i].MaxLift), float64(o.MaxLift), float64(found.Openings[i].MaxLiftU+o.MaxLiftU))
			}
		}
	}
}
