//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os/exec"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// An indicator and an encoder, each on a tty of its own and each found by listening:
// whole openings with the lift of the engine that was turned and its crank angles, or
// the sentence that says which key is missing, with the lift all the same.
func TestRecordFindsBoth(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		indicator, encoder simulator.Format
		key                string // of the encoder's address
		asks               string // what it says of an encoder without the key
	}{
		"degrees behind a name": {indicator: simulator.Format{Layout: "{lift} {unit}"},
			encoder: simulator.Format{Layout: "Angle: {angle} deg", AngleDecimals: 2}},
		"bare degrees": {indicator: simulator.Format{Layout: "dial={lift}{unit}", End: "\n"},
			encoder: simulator.Format{Layout: "{angle}", AngleDecimals: 3, End: "\n"}},
		"counts with the key": {indicator: simulator.Format{Layout: "{lift} {unit}"}, encoder: simulator.CountOnly(), key: "&counts=2400"},
		"counts without":      {indicator: simulator.Format{Layout: "{lift} {unit}"}, encoder: simulator.CountOnly(), asks: "counts="},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			session, err := simulator.Scenario{
				Seed: 11, Valve: simulator.BenchMule().Valves[0], Openings: 5,
				Hand:      simulator.Hand{Style: simulator.Smooth, Speed: 240 * measure.Degree},
				Indicator: simulator.Indicator{Rate: 100, Format: c.indicator, Wire: simulator.Wire{Baud: 115200}},
				Encoder:   &simulator.Encoder{Format: c.encoder, Wire: simulator.Wire{Baud: 115200}},
			}.Play()
			require.NoError(t, err)
			indicator, encoder := openTTY(t, "baud=115200&format=auto"), openTTY(t, "baud=115200&format=auto")
			ctx, stop := context.WithCancel(t.Context())
			var playing sync.WaitGroup
			playing.Go(func() {
				for ctx.Err() == nil { // both begin again together
					var both sync.WaitGroup
					both.Go(func() { _ = simulator.PlayBytes(ctx, session.Indicator, indicator, 1) })
					both.Go(func() { _ = simulator.PlayBytes(ctx, session.Encoder, encoder, 1) })
					both.Wait()
				}
			})
			defer playing.Wait()
			defer stop()

			name, err := builtBinary()
			require.NoError(t, err)
			cmd := exec.CommandContext(ctx, name, "record", "--openings", "2", "--json",
				"--indicator", indicator.Address(), "--encoder", encoder.Address()+c.key)
			var out, says bytes.Buffer
			cmd.Stdout, cmd.Stderr = &out, &says
			require.NoError(t, cmd.Run(), "%s", &says)
			var f lift.Findings
			require.NoError(t, json.Unmarshal(out.Bytes(), &f), "%s", &out)
			require.GreaterOrEqual(t, len(f.Openings), 2)
			truth := session.Truth
			for _, o := range f.Openings {
				// As in TestRecordFindsWhatTheSimulatorTurned: what falls between two
				// readings at 240 degrees a second.
				assert.InDelta(t, truth.MaxLift.Millimetres(), o.MaxLift.Millimetres(), max(0.03, o.MaxLiftU.Millimetres()))
				if c.asks != "" {
					assert.Nil(t, o.NoseAngle, "no angle is made of counts")
					continue
				}
				require.NotNil(t, o.OpeningHalf.Angle, "%s", &says)
				width := (*o.ClosingHalf.Angle - *o.OpeningHalf.Angle).Degrees()
				// A busy machine brings the two ports' readings at odds; the angles' U says by
				// how much.
				require.NotNil(t, o.OpeningHalf.AngleU)
				require.NotNil(t, o.ClosingHalf.AngleU)
				u := math.Hypot(o.OpeningHalf.AngleU.Degrees(), o.ClosingHalf.AngleU.Degrees())
				assert.InDelta(t, (truth.HalfOpeningWidth + truth.HalfClosingWidth).Degrees(), width, max(1.5, u), "%s", &says)
			}
			assert.Contains(t, says.String(), c.asks)
		})
	}
}
