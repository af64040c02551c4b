package lift_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/capture/prove"
	"lobescribe/capture/workshop"
	"lobescribe/device/measure"
)

// Where the indicator's stops are known a nose that was cut off and a spindle that
// hung free are told in every session, whatever the hand and the lobe; and a sound
// set-up is told of neither. The stops are the session's own: the highest and
// lowest readings of one at fault, and far from both for a sound one.
func TestProvedStops(t *testing.T) {
	for _, c := range []struct {
		kind string
		want lift.FaultKind
	}{{"cut nose", lift.TravelEnd}, {"hangs free", lift.NoContact}, {"sound", ""}} {
		told, sessions := 0, 0
		for seed := range uint64(60) {
			s := workshop.Make(c.kind, seed, workshop.Options{Rate: workshop.Rates()[seed%4]})
			low, high := s.Trace.Readings[0].Lift, s.Trace.Readings[0].Lift
			for _, r := range s.Trace.Readings {
				low, high = min(low, r.Lift), max(high, r.Lift)
			}
			p := prove.Proof{Low: low - 10*measure.Millimetre, High: high + 10*measure.Millimetre, StopU: 2 * s.Step, When: time.Unix(1, 0)}
			f, err := lift.Analyse(s.Trace, lift.Options{})
			require.NoError(t, err)
			// The nose lies at the high readings where they grow as the valve opens.
			switch grows := f.Sign >= 0; {
			case c.want == lift.TravelEnd && grows, c.want == lift.NoContact && !grows:
				p.High = high
			case c.want != "":
				p.Low = low
			}
			f, err = lift.Analyse(s.Trace, lift.Options{Proof: p})
			require.NoError(t, err)
			if len(f.Openings) == 0 {
				continue
			}
			sessions++
			for _, x := range f.Faults {
				if x.Kind == c.want {
					told++
				}
				if x.Kind == lift.TravelEnd || x.Kind == lift.NoContact {
					assert.Equal(t, c.want, x.Kind, "%s, seed %d: %s", c.kind, seed, x.Says)
				}
			}
		}
		require.Greater(t, sessions, 50)
		t.Logf("%s: told in %d of %d", c.kind, told, sessions)
		if c.want != "" {
			assert.Equal(t, sessions, told, c.kind)
		}
	}
}
